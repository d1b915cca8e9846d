"""The picture of a watch: the current over time, with the prompt, the onset and every restart marked.

Everything is told apart by shape and dash as well as by colour, so that it reads in print and to colour-blind eyes.
The colours are those of Okabe and Ito, "Color Universal Design" (2008), chosen to stay apart for all of them.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wakerail.report.traces import Floats, drawable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BLUE, _SKY, _VERMILION, _GREEN, _INK, _GREY = "#0072B2", "#56B4E9", "#D55E00", "#009E73", "#1A1A1A", "#767676"
_WIDTH_IN, _HEIGHT_IN, _DPI = 10.0, 5.6, 150
_COLUMNS = 1400  # about the pixels of the plot's width
_FEW_SAMPLES = 150  # so few are shown as dots too, as each was measured by itself
_FULL_LABEL, _SHORT_LABEL = 0.085, 0.03  # the room of "restart 12" and of "12", as a share of the plot's width
_DENSE = 0.006  # nearer than this, as a share of the plot's width, single marks cannot be told apart any more


@dataclass(frozen=True, slots=True)
class _Lane:
    """Marks of one sort: each is a line through the plots, and a shape in a row of its own above them."""

    name: str
    at: Floats
    colour: str
    shape: str
    dash: Any


def draw_trace(
    times_s: npt.ArrayLike,
    current_a: npt.ArrayLike,
    *,
    voltage_v: npt.ArrayLike | None = None,
    restarts: Sequence[tuple[float, float]] = (),
    onset_s: float | None = None,
    prompt_s: float | None = None,
    title: str,
    subtitle: str,
    out: Path,
) -> None:
    """Draw a trace into ``out``, as SVG or PNG by its suffix.

    ``restarts`` are pairs: when the current fell and when it rose again. All times are on the scale of ``times_s``,
    which ascends; samples that are not data are NaN. The same data give the same file, byte for byte.
    Raises ValueError for another suffix.
    """
    if out.suffix not in {".svg", ".png"}:
        raise ValueError(f"{out.name}: a picture is drawn as .svg or .png")
    from matplotlib.figure import Figure  # noqa: PLC0415  slow to import, and most commands draw nothing

    times = np.asarray(times_s, dtype=float)
    scale, unit = _time_unit(times)
    falls = np.array([fell_s for fell_s, _ in restarts], dtype=float) * scale
    rises = np.array([rose_s for _, rose_s in restarts], dtype=float) * scale
    lanes = _lanes(falls, onset_s, prompt_s, scale)
    figure = Figure(figsize=(_WIDTH_IN, _HEIGHT_IN), dpi=_DPI, facecolor="white")
    top = _draw_heading(figure, title, subtitle)
    strip, plots = _lay_out(figure, top, len(lanes), with_voltage=voltage_v is not None)
    strip.set_xlim(*_extent(times * scale, lanes))
    _draw_signal(plots[0], times * scale, current_a, ("current", "A"), _BLUE)
    if voltage_v is not None:
        _draw_signal(plots[1], times * scale, voltage_v, ("voltage", "V"), _GREY)
    for row, lane in enumerate(lanes):
        _draw_lane(strip, plots, lane, len(lanes) - 0.5 - row)
    for axes in plots:
        spans = list(zip(falls, rises - falls, strict=True))
        axes.broken_barh(spans, (0, 1), transform=axes.get_xaxis_transform(), color=_VERMILION, alpha=0.16, linewidth=0)
    plots[-1].set_xlabel(f"time ({unit})")
    _save(figure, out)


def _save(figure: Figure, out: Path) -> None:
    import matplotlib as mpl  # noqa: PLC0415

    metadata = {"Date": None, "Creator": "Wakerail"} if out.suffix == ".svg" else {"Software": "Wakerail"}
    with mpl.rc_context({"svg.hashsalt": "wakerail", "svg.fonttype": "none", "path.simplify": False}):
        figure.savefig(out, format=out.suffix[1:], metadata=metadata)


def _time_unit(times: Floats) -> tuple[float, str]:
    length_s = float(np.nanmax(times) - np.nanmin(times)) if times.size else 0.0
    if length_s > 3 * 3600:
        return 1 / 3600, "h"
    if length_s > 10 * 60:
        return 1 / 60, "min"
    return (1.0, "s") if length_s > 1 else (1e3, "ms")


def _extent(times: Floats, lanes: Sequence[_Lane]) -> tuple[float, float]:
    moments = np.concatenate([times[np.isfinite(times)], *(lane.at for lane in lanes)])
    if not moments.size:
        return 0.0, 1.0
    low, high = float(moments.min()), float(moments.max())
    margin = 0.015 * (high - low) or 0.5
    return low - margin, high + margin


def _draw_heading(figure: Figure, title: str, subtitle: str) -> float:
    """Write title and subtitle; return the height that is left below, as a share of the figure."""
    lines = textwrap.wrap(subtitle, 118, max_lines=3, placeholder=" ...")
    figure.text(0.08, 0.965, title, size=14, weight="bold", color=_INK, va="top")
    figure.text(0.08, 0.905, "\n".join(lines), size=10, color=_INK, va="top", linespacing=1.35)
    return 0.895 - 0.04 * len(lines)


def _lay_out(figure: Figure, top: float, lanes: int, *, with_voltage: bool) -> tuple[Axes, list[Axes]]:
    heights = [0.055 * max(lanes, 1), 1.0, *([0.28] if with_voltage else [])]
    grid = figure.add_gridspec(
        len(heights), 1, height_ratios=heights, left=0.08, right=0.98, top=top, bottom=0.095, hspace=0.06
    )
    strip = figure.add_subplot(grid[0])
    plots = [figure.add_subplot(grid[row], sharex=strip) for row in range(1, len(heights))]
    strip.set_axis_off()
    strip.set_ylim(0, max(lanes, 1))
    for axes in plots:
        axes.grid(visible=True, color="#E3E3E3", linewidth=0.6)
        axes.set_axisbelow(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            axes.spines[side].set_color(_GREY)
        axes.tick_params(colors=_INK, labelsize=9, labelbottom=axes is plots[-1])
    return strip, plots


def _draw_signal(axes: Axes, times: Floats, values: npt.ArrayLike, name_unit: tuple[str, str], colour: str) -> None:
    name, unit = name_unit
    levels = np.asarray(values, dtype=float)
    if np.nanmax(np.abs(levels), initial=0.0) < 1.0:
        levels, unit = levels * 1e3, f"m{unit}"
    x, y = drawable(times, levels, _COLUMNS)
    dot = "o" if x.size <= _FEW_SAMPLES else ""
    axes.plot(x, y, color=colour, linewidth=1.0, solid_joinstyle="round", marker=dot, markersize=2.2)
    axes.set_ylabel(f"{name} ({unit})", fontsize=10, color=_INK)
    low, high = float(np.nanmin(y, initial=0.0)), float(np.nanmax(y, initial=0.0))
    axes.set_ylim(low, high + 0.08 * (high - low) if high > low else low + 1.0)


def _lanes(falls: Floats, onset_s: float | None, prompt_s: float | None, scale: float) -> list[_Lane]:
    lanes = []
    if prompt_s is not None:
        lanes.append(_Lane("prompt", np.array([prompt_s * scale]), _INK, "D", (0, (1, 2))))
    if onset_s is not None:
        lanes.append(_Lane("onset", np.array([onset_s * scale]), _GREEN, "o", (0, (6, 2, 1, 2))))
    if falls.size:
        lanes.append(_Lane("restart", falls, _VERMILION, "v", (0, (5, 2))))
    return lanes


def _draw_lane(strip: Axes, plots: Sequence[Axes], lane: _Lane, height: float) -> None:
    """Draw a lane's marks; number them as fully as the room between them allows."""
    low, high = strip.get_xlim()
    room = float(np.min(np.diff(lane.at), initial=high - low)) / (high - low)
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
    shape = "|" if dense else lane.shape
    strip.plot(lane.at, np.full(lane.at.size, height), linestyle="", marker=shape, color=lane.colour, markersize=5.5)
    text: dict[str, Any] = {"size": 8.5, "color": lane.colour, "va": "center_baseline", "annotation_clip": False}
    for number, at in enumerate(lane.at.tolist(), 1):
        label = f"{lane.name} {number}" if lane.name == "restart" else lane.name
        if room < _FULL_LABEL:
            label = str(number)
        if room >= _SHORT_LABEL:
            strip.annotate(label, (at, height), xytext=(6, 0), textcoords="offset points", **text)
    if room < _FULL_LABEL:
        strip.annotate(f"{lane.name}s", (low, height), xytext=(-6, 0), textcoords="offset points", ha="right", **text)
