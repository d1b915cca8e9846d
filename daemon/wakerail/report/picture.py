"""The picture of a watch: the current over time, its stages, and the prompt, the onset and every restart marked."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wakerail.report.drawing import (
    BLUE,
    GREEN,
    GREY,
    INK,
    PALE,
    VERMILION,
    check_suffix,
    draw_heading,
    plain_axes,
    save,
    text_colour,
    time_unit,
    width_of,
)
from wakerail.report.traces import Floats, drawable

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_IN, _DPI = (10.0, 5.6), 150
_DOWN: dict[str, Any] = {
    "facecolor": "#FBE6D9",
    "edgecolor": VERMILION,
    "hatch": "///",
    "linewidth": 0,
    "zorder": 0.8,
}
_COLUMNS_AN_INCH = 140  # about the pixels of an inch of the plot's width
_LEGEND_IN = 0.812  # the room below the plots
_HEADROOM = 0.3  # above a low axis, as a share of it
_LABEL_PT, _LETTER_WIDE = 9, 0.62  # an axis' label, and the width of its letters as a share of their height
_FEW_SAMPLES = 150  # so few are shown as dots too, as each was measured by itself
# all as a share of the width of a plot of the usual size
_LETTER = 0.0082  # the room of a letter of a mark's label
_DENSE = 0.006  # nearer than this, single marks cannot be told apart any more
_MEAN_LINE = 1.6  # points; wider than the trace's line, so that print tells them apart
_MOST_STAGES = 60  # more are not read one by one any more
_CERTAIN = 0.995  # a probability that rounds to 100 % is not worth its room
_SURE = 0.9  # a restart below this is drawn hollow


@dataclass(frozen=True, slots=True)
class _Lane:
    """Marks of one sort: each is a line through the plots, and a shape in a row of its own above them.

    ``notes`` go with the marks, "" where there is none; those that are ``unsure`` have a hollow shape.
    """

    name: str
    at: Floats
    notes: tuple[str, ...]
    unsure: tuple[bool, ...]
    colour: str
    shape: str
    dash: Any
    numbered: bool = False

    def labels(self, room: float) -> list[str]:
        """Return what each mark says, as fully as the room between two allows; nothing where no number fits."""
        if not self.numbered:
            return [self.name]
        full = [f"{self.name} {number} {note}".rstrip() for number, note in enumerate(self.notes, 1)]
        short = [f"{number} {note}".rstrip() for number, note in enumerate(self.notes, 1)]
        numbers = [str(number) for number in range(1, len(self.notes) + 1)]
        return next((labels for labels in (full, short, numbers) if _width(labels) <= room), [])


def _width(labels: Sequence[str]) -> float:
    """Return about how wide the widest of some labels is beside its mark, as a share of the plot's width."""
    return _LETTER * max(map(len, labels), default=0) + 0.015


def draw_trace(
    times_s: npt.ArrayLike,
    current_a: npt.ArrayLike,
    *,
    voltage_v: npt.ArrayLike | None = None,
    stages: Sequence[tuple[float, float, float]] = (),
    restarts: Sequence[tuple[float, float]] = (),
    probabilities: Sequence[float] | None = None,
    onset_s: float | None = None,
    prompt_s: float | None = None,
    unit: str = "A",
    title: str,
    subtitle: str,
    out: Path,
) -> None:
    """Draw a trace into ``out``, as SVG or PNG by its suffix.

    ``stages`` are start, end and mean of each, in order; more than 60 are counted in the legend but not drawn.
    ``restarts`` are pairs: when the boot that was running ended and when the next began; ``probabilities``, one for
    each, are shown below 0.995, and the mark is hollow below 0.9. ``unit`` is "A" or, for a trace of power, "W".
    All times are on the scale of ``times_s``, which ascends; samples that are not data are NaN. The same data give
    the same file, byte for byte.
    Raises ValueError for another suffix.
    """
    check_suffix(out)
    sheet = trace_sheet(
        times_s,
        current_a,
        voltage_v=voltage_v,
        stages=stages,
        restarts=restarts,
        probabilities=probabilities,
        onset_s=onset_s,
        prompt_s=prompt_s,
        unit=unit,
        heading=(title, subtitle),
    )
    save(sheet, out)


def trace_sheet(
    times_s: npt.ArrayLike,
    current_a: npt.ArrayLike,
    *,
    voltage_v: npt.ArrayLike | None = None,
    stages: Sequence[tuple[float, float, float]] = (),
    restarts: Sequence[tuple[float, float]] = (),
    probabilities: Sequence[float] | None = None,
    onset_s: float | None = None,
    prompt_s: float | None = None,
    unit: str = "A",
    up_to_a: float = 0.0,
    heading: tuple[str, str] | None = None,
    size_in: tuple[float, float] = _SIZE_IN,
) -> Figure:
    """Return the picture of a trace, drawn as ``draw_trace`` says; without a ``heading`` it has neither title nor
    subtitle, for a page that says both in its own words. ``up_to_a`` is what the axis reaches at least, so that
    pictures side by side can have one scale.
    """
    from matplotlib.figure import Figure  # noqa: PLC0415  slow to import, and most commands draw nothing

    times = np.asarray(times_s, dtype=float)
    scale, unit_of_time = time_unit(times)
    spans = np.array(restarts, dtype=float).reshape(-1, 2) * scale
    steps = np.array(stages, dtype=float).reshape(-1, 3) * [scale, scale, 1.0]
    shown = steps if len(steps) <= _MOST_STAGES else steps[:0]
    lanes = _lanes(spans[:, 0], probabilities, onset_s, prompt_s, scale)
    rows = len(lanes) + bool(len(shown))

    figure = Figure(figsize=size_in, dpi=_DPI, facecolor="white")
    top = draw_heading(figure, *heading) if heading is not None else 1.0 - 0.06 / size_in[1]
    strip, plots = _lay_out(figure, top, rows, with_voltage=voltage_v is not None)
    strip.set_xlim(*_extent(times * scale, lanes))
    name = "power" if unit == "W" else "current"
    factor = _draw_signal(plots[0], times * scale, current_a, (name, unit), BLUE, up_to_a)
    if voltage_v is not None:
        _draw_signal(plots[1], times * scale, voltage_v, ("voltage", "V"), GREY)
        _keep_below(plots[1])
    for row, lane in enumerate(lanes):
        _draw_lane(strip, plots, lane, rows - 0.5 - row)
    if len(shown):
        _draw_stages(strip, plots[0], shown, factor)
    for axes in plots:
        _draw_downs(axes, spans)
    plots[-1].set_xlabel(f"time ({unit_of_time})", fontsize=10, color=INK)
    _draw_legend(figure, name, lanes, spans, (len(shown), len(steps)))
    return figure


def _extent(times: Floats, lanes: Sequence[_Lane]) -> tuple[float, float]:
    moments = np.concatenate([times[np.isfinite(times)], *(lane.at for lane in lanes)])
    if not moments.size:
        return 0.0, 1.0
    low, high = float(moments.min()), float(moments.max())
    margin = 0.015 * (high - low) or 0.5
    return low - margin, high + margin


def _lay_out(figure: Figure, top: float, rows: int, *, with_voltage: bool) -> tuple[Axes, list[Axes]]:
    width_in, height_in = figure.get_size_inches()
    row = 0.06 * _SIZE_IN[1] / height_in  # as high on a sheet of any size
    heights = [row * max(rows, 1), 1.0, *([0.34] if with_voltage else [])]
    edges = {"left": 0.8 / width_in, "right": 1.0 - 0.2 / width_in, "top": top}
    bottom_in = _LEGEND_IN + (0.18 if width_in < _SIZE_IN[0] else 0.0)  # a narrow legend has two rows
    grid = figure.add_gridspec(
        len(heights), 1, height_ratios=heights, **edges, bottom=bottom_in / height_in, hspace=0.06
    )
    strip = figure.add_subplot(grid[0])
    plots = [figure.add_subplot(grid[row], sharex=strip) for row in range(1, len(heights))]
    strip.set_axis_off()
    strip.set_ylim(0, max(rows, 1))
    for axes in plots:
        plain_axes(axes)
        axes.tick_params(labelbottom=axes is plots[-1])
    return strip, plots


def _draw_signal(
    axes: Axes, times: Floats, values: npt.ArrayLike, name_unit: tuple[str, str], colour: str, up_to: float = 0.0
) -> float:
    """Draw a line of samples on an axis ``up_to`` a value at least; return the factor from its unit to the axis'."""
    name, unit = name_unit
    levels = np.asarray(values, dtype=float)
    factor = 1.0
    if np.nanmax(np.abs(levels), initial=up_to) < 1.0:
        factor, unit = 1e3, f"m{unit}"
    x, y = drawable(times, levels * factor, round(_COLUMNS_AN_INCH * width_of(axes)))
    dot = "o" if x.size <= _FEW_SAMPLES else ""
    axes.plot(x, y, color=colour, linewidth=1.0, solid_joinstyle="round", marker=dot, markersize=2.2)
    axes.set_ylabel(_axis_label(axes, name, unit), fontsize=_LABEL_PT, color=INK)
    low, high = float(np.nanmin(y, initial=0.0)), float(np.nanmax(y, initial=up_to * factor))
    axes.set_ylim(low, high + 0.08 * (high - low) if high > low else low + 1.0)
    return factor


def _keep_below(axes: Axes) -> None:
    """Keep the figures of a low axis out of those of the axis above it."""
    low, high = axes.get_ylim()
    axes.set_yticks([tick for tick in axes.get_yticks() if low <= tick <= high])
    axes.set_ylim(low, high + _HEADROOM * (high - low))


def _axis_label(axes: Axes, name: str, unit: str) -> str:
    """Return what an axis shows, in two lines where one would reach into its neighbour's."""
    label = f"{name} ({unit})"
    length_in = len(label) * _LETTER_WIDE * _LABEL_PT / 72.0
    height_in = axes.bbox.height / axes.figure.dpi
    return label if length_in <= height_in else f"{name}\n({unit})"


def _lanes(
    falls: Floats, probabilities: Sequence[float] | None, onset_s: float | None, prompt_s: float | None, scale: float
) -> list[_Lane]:
    lanes = []
    if prompt_s is not None:
        lanes.append(_Lane("prompt", np.array([prompt_s * scale]), ("",), (False,), INK, "D", (0, (1, 2))))
    if onset_s is not None:
        lanes.append(_Lane("onset", np.array([onset_s * scale]), ("",), (False,), GREEN, "o", (0, (6, 2, 1, 2))))
    if falls.size:
        sure = [1.0] * len(falls) if probabilities is None else probabilities
        notes = tuple("" if one >= _CERTAIN else f"({100 * one:.0f} %)" for one in sure)
        unsure = tuple(one < _SURE for one in sure)
        lanes.append(_Lane("restart", falls, notes, unsure, VERMILION, "v", (0, (5, 2)), numbered=True))
    return lanes


def _draw_lane(strip: Axes, plots: Sequence[Axes], lane: _Lane, height: float) -> None:
    """Draw a lane's marks; number them as fully as the room between them allows."""
    low, high = strip.get_xlim()
    stretch = _stretch(strip)
    room = stretch * float(np.min(np.diff(lane.at), initial=high - low)) / (high - low)
    dense = room < _DENSE
    for axes in plots:
        axes.vlines(
            lane.at,
            0,
            1,
            transform=axes.get_xaxis_transform(),
            colors=lane.colour,
            linestyles="solid" if dense else lane.dash,
            linewidth=0.4 if dense else 1.1,
            alpha=0.35 if dense else 0.9,
            zorder=1.5 if dense else 2.5,
        )
    hollow = np.array(lane.unsure)
    for chosen, face in ((~hollow, lane.colour), (hollow, "white")):
        at = lane.at[chosen]
        shape: dict[str, Any] = {"marker": "|" if dense else lane.shape, "color": lane.colour, "markerfacecolor": face}
        strip.plot(at, np.full(at.size, height), linestyle="", markersize=5.5, **shape)
    text: dict[str, Any] = {
        "size": 8.5,
        "color": text_colour(lane.colour),
        "va": "center_baseline",
        "annotation_clip": False,
    }
    labels = lane.labels(room)
    for at, label in zip(lane.at.tolist(), labels or [""] * len(lane.at), strict=True):
        fits = stretch * (high - at) / (high - low) >= _width([label])
        side: dict[str, Any] = {"xytext": (6, 0), "ha": "left"} if fits else {"xytext": (-6, 0), "ha": "right"}
        if fits or room >= 2 * _width([label]):
            strip.annotate(label, (at, height), textcoords="offset points", **side, **text)
    if lane.numbered and not (labels and labels[0].startswith(lane.name)):
        strip.annotate(f"{lane.name}s", (low, height), xytext=(-6, 0), textcoords="offset points", ha="right", **text)


def _stretch(axes: Axes) -> float:
    """Return how wide a plot is against one of the usual size: letters are as large on either."""
    return width_of(axes) / _SIZE_IN[0]


def _draw_downs(axes: Axes, spans: Floats) -> None:
    """Hatch the time from each boot's end to the next one's beginning."""
    bars = [(float(end), float(again - end)) for end, again in spans]
    axes.broken_barh(bars, (0, 1), transform=axes.get_xaxis_transform(), **_DOWN)


def _draw_stages(strip: Axes, axes: Axes, stages: Floats, factor: float) -> None:
    """Draw each stage as a numbered box in the lowest row of the strip, and its mean over the trace."""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415

    low, high = strip.get_xlim()
    axes.hlines(
        stages[:, 2] * factor,
        stages[:, 0],
        stages[:, 1],
        colors=INK,
        linewidth=_MEAN_LINE,
        zorder=3,
        path_effects=[withStroke(linewidth=_MEAN_LINE + 0.8, foreground="white")],
    )
    for place, (start, end) in enumerate(stages[:, :2].tolist()):
        face = PALE if place % 2 else "white"
        strip.broken_barh([(start, end - start)], (0.12, 0.76), facecolor=face, edgecolor=INK, linewidth=0.6)
    text: dict[str, Any] = {"size": 8, "color": INK, "ha": "center", "va": "center_baseline"}
    for label, start, end in _stage_labels(stages[:, 0], stages[:, 1], (high - low) / _stretch(strip)):
        strip.annotate(label, (0.5 * (start + end), 0.5), **text)
    strip.annotate("stages", (low, 0.5), xytext=(-6, 0), textcoords="offset points", **{**text, "ha": "right"})


def _stage_labels(starts: Floats, ends: Floats, width: float) -> list[tuple[str, float, float]]:
    """Return the numbers that fit into their stages, each with its bounds; narrow neighbours share theirs.

    ``width`` is the time that a plot of the usual size would show.
    """

    def fits(first: int, last: int, label: str) -> bool:
        return bool(ends[last] - starts[first] >= _LETTER * (len(label) + 0.8) * width)

    labels = []
    wide = [fits(place, place, str(place + 1)) for place in range(len(starts))]
    for own, group in itertools.groupby(range(len(starts)), key=wide.__getitem__):
        places = list(group)
        if own:
            labels += [(str(place + 1), float(starts[place]), float(ends[place])) for place in places]
        elif fits(places[0], places[-1], label := f"{places[0] + 1}-{places[-1] + 1}"):
            labels.append((label, float(starts[places[0]]), float(ends[places[-1]])))
    return labels


def _draw_legend(
    figure: Figure, name: str, lanes: Sequence[_Lane], spans: Floats, stages_shown_of: tuple[int, int]
) -> None:
    """Say below the plots what each line, shape and hatching means."""
    from matplotlib.lines import Line2D  # noqa: PLC0415
    from matplotlib.patches import Patch  # noqa: PLC0415

    entries: list[tuple[Artist, str]] = [(Line2D([], [], color=BLUE, linewidth=1.2), name)]
    shown, found = stages_shown_of
    if shown:
        entries.append((Line2D([], [], color=INK, linewidth=_MEAN_LINE), "mean of each stage"))
    for lane in lanes:
        line: dict[str, Any] = {"color": lane.colour, "linestyle": lane.dash, "marker": lane.shape, "markersize": 5.5}
        if not all(lane.unsure):
            entries.append((Line2D([], [], **line), lane.name))
        if any(lane.unsure):
            label = f"{lane.name}, less than {100 * _SURE:.0f} % sure"
            entries.append((Line2D([], [], markerfacecolor="white", **line), label))
    if len(spans):
        entries.append((Patch(**_DOWN), "between two boots"))
    if found > shown:
        entries.append((Line2D([], [], linestyle=""), f"({found} stages not drawn)"))
    handles, labels = zip(*entries, strict=True)
    width_in = figure.get_size_inches()[0]
    columns = len(entries) if width_in >= _SIZE_IN[0] else -(-len(entries) // 2)
    figure.legend(
        handles,
        labels,
        loc="lower left",
        bbox_to_anchor=(0.72 / width_in, 0.0),
        ncols=columns,
        fontsize=8.5,
        frameon=False,
        labelcolor=INK,
        handlelength=2.5,
        columnspacing=1.2,
    )
