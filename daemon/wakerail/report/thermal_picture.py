"""The picture of a heat: the plate's trace, what the board is reckoned to be at, the set points, the limits, and below
them the figures.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wakerail.analysis.thermal.figures import Figure
from wakerail.analysis.thermal.profile import Level, ThermalLimits
from wakerail.report.drawing import (
    BLUE,
    GREEN,
    GREY,
    INK,
    VERMILION,
    check_suffix,
    plain_axes,
    save,
    text_colour,
    time_unit,
)
from wakerail.report.thermal_table import draw_table
from wakerail.report.traces import Floats, drawable
from wakerail_kit.units import human

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Sheet

_WIDTH_IN, _PLOT_IN, _HEADING_IN, _LEGEND_IN, _ROW_IN, _DPI = 10.0, 4.2, 1.1, 0.95, 0.235, 150
_LEFT = 0.075
_COLUMNS = 1200
_NAME_APART = 0.045  # of the plot's height; nearer, two names would touch
_HOT: dict[str, Any] = {"facecolor": "#FBE6D980", "edgecolor": VERMILION, "hatch": "///", "linewidth": 0, "zorder": 1.8}
_BAND: dict[str, Any] = {"facecolor": "#D7EAE3", "edgecolor": GREEN, "linewidth": 0.7, "linestyle": ":", "zorder": 1.0}


@dataclass(frozen=True, slots=True, eq=False)
class BoardTrace:
    """What the board is reckoned to be at, by sample: likely, and between which; NaN where nobody knows."""

    likely_c: Floats
    low_c: Floats
    high_c: Floats


def draw_heat(
    t_s: npt.ArrayLike,
    temperature_c: Sequence[float | None] | npt.ArrayLike,
    limits: ThermalLimits,
    figures: Iterable[Figure],
    *,
    believed: npt.ArrayLike | None = None,
    setpoint_c: Sequence[float | None] | npt.ArrayLike | None = None,
    board: BoardTrace | None = None,
    title: str,
    subtitle: str,
    out: Path,
) -> None:
    """Draw a heat into ``out``, as SVG or PNG by its suffix.

    Columns are of one length, on any scale of seconds that ascends; the picture's time begins with the first sample.
    None and NaN are no data; samples that are not ``believed`` are shown as crosses and never widen the picture.
    ``setpoint_c`` is None or 0 while nothing was to be held. Figures with neither value nor limit are left out. Same
    data give the same file, byte for byte. Raises ValueError for another suffix.
    """
    check_suffix(out)
    rows = [figure for figure in figures if figure.value is not None or figure.limit is not None]
    sheet = heat_sheet(
        t_s,
        temperature_c,
        limits,
        believed=believed,
        setpoint_c=setpoint_c,
        board=board,
        heading=(title, subtitle),
        table_in=_ROW_IN * (len(rows) + 1.4),
    )
    draw_table(sheet, rows, _ROW_IN * (len(rows) + 1.4) / sheet.get_figheight())
    save(sheet, out)


def heat_sheet(
    t_s: npt.ArrayLike,
    temperature_c: Sequence[float | None] | npt.ArrayLike,
    limits: ThermalLimits,
    *,
    believed: npt.ArrayLike | None = None,
    setpoint_c: Sequence[float | None] | npt.ArrayLike | None = None,
    board: BoardTrace | None = None,
    heading: tuple[str, str] | None = None,
    size_in: tuple[float, float] = (_WIDTH_IN, _PLOT_IN),
    table_in: float = 0.0,
) -> Sheet:
    """Return the picture of a heat, drawn as ``draw_heat`` says, without its table; ``table_in`` is left free for it.

    ``size_in`` is the width of the sheet and the height of the plot. Without a ``heading`` it has neither title nor
    subtitle, for a page that says both in its own words.
    """
    from matplotlib.figure import Figure as Sheet  # noqa: PLC0415  slow to import, and most commands draw nothing

    width_in, plot_in = size_in
    heading_in = _HEADING_IN if heading is not None else 0.1
    legend_in = _LEGEND_IN + (0.18 if width_in < _WIDTH_IN else 0.0)  # a narrow legend has two rows
    height_in = heading_in + plot_in + legend_in + table_in
    sheet = Sheet(figsize=(width_in, height_in), dpi=_DPI, facecolor="white")
    if heading is not None:
        _draw_title(sheet, *heading, height_in)
    left, right = 0.75 / width_in, 1 - 1.7 / width_in  # the names of the lines are right of the plot
    axes = sheet.add_axes((left, (table_in + legend_in) / height_in, right - left, plot_in / height_in))
    plain_axes(axes)

    times, levels, setpoints = np.asarray(t_s, dtype=float), _numbers(temperature_c), _setpoints(setpoint_c)
    scale, unit = time_unit(times)
    times = (times - times[0]) * scale if times.size else times
    trusted = np.ones(times.shape, dtype=bool) if believed is None else np.asarray(believed, dtype=bool)
    shown = np.where(trusted, levels, np.nan)

    _set_extent(axes, times, shown, setpoints, limits)
    _draw_limits(axes, limits)
    if board is not None:
        _draw_board(axes, times, board)
    if setpoints.size:
        axes.step(*_changes(times, setpoints), where="post", label="set point", color=INK, linewidth=1.2, linestyle=":")
    _draw_hot(axes, times, shown, limits.liquidus.at_c)
    axes.plot(*drawable(times, shown, _COLUMNS), label="plate, measured", color=BLUE, linewidth=1.5)
    _draw_unbelieved(axes, times, levels, trusted)
    _draw_peak(axes, times, shown)
    axes.set_xlabel(f"time ({unit})", fontsize=10, color=INK)
    axes.set_ylabel("temperature (°C)", fontsize=10, color=INK)
    _draw_legend(axes, 6 if width_in >= _WIDTH_IN else 3)
    return sheet


def _numbers(values: Sequence[float | None] | npt.ArrayLike) -> Floats:
    return np.array([np.nan if value is None else value for value in np.asarray(values).tolist()], dtype=float)


def _setpoints(given: Sequence[float | None] | npt.ArrayLike | None) -> Floats:
    """Return the set points, NaN for none; nothing at all if there was never one."""
    setpoints = np.empty(0) if given is None else _numbers(given)
    setpoints[setpoints <= 0] = np.nan
    return setpoints if np.isfinite(setpoints).any() else setpoints[:0]


def _changes(times: Floats, setpoints: Floats) -> tuple[Floats, Floats]:
    """Return the first sample of each set point, and the last sample of all."""
    here = np.nan_to_num(setpoints, nan=-1.0)
    at = np.flatnonzero(np.concatenate(([True], here[1:] != here[:-1])))
    at = np.append(at, setpoints.size - 1)
    return times[at], setpoints[at]


def _thin(*columns: Floats) -> tuple[Floats, ...]:
    """Return few enough samples of some columns for an area."""
    every = max(1, columns[0].size // _COLUMNS)
    return tuple(column[::every] for column in columns)


def _draw_title(sheet: Sheet, title: str, subtitle: str, height_in: float) -> None:
    sheet.text(_LEFT, 1 - 0.18 / height_in, title, size=14, weight="bold", color=INK, va="top")
    lines = "\n".join(textwrap.wrap(subtitle, 118, max_lines=3, placeholder=" ..."))
    sheet.text(_LEFT, 1 - 0.5 / height_in, lines, size=10, color=INK, va="top", linespacing=1.3)


def _set_extent(axes: Axes, times: Floats, shown: Floats, setpoints: Floats, limits: ThermalLimits) -> None:
    marks = [level.at_c for level in (limits.liquidus, limits.touch, limits.ceiling) if level is not None]
    highest = max(float(np.nanmax(shown, initial=0.0)), float(np.nanmax(setpoints, initial=0.0)), *marks)
    lowest = min(float(np.nanmin(shown, initial=20.0)), 20.0)
    axes.set_ylim(lowest - 0.03 * (highest - lowest), highest + 0.09 * (highest - lowest))
    axes.set_xlim(0.0, (float(times[-1]) if times.size else 0.0) or 1.0)


def _draw_limits(axes: Axes, limits: ThermalLimits) -> None:
    """Draw a line for each temperature that means something, with its name beside it."""
    lines: list[tuple[Level | None, str, str, Any]] = [
        (limits.ceiling, "ceiling", VERMILION, "solid"),
        (limits.liquidus, "liquidus", VERMILION, (0, (6, 2))),
        (limits.touch, "touch limit", GREY, (0, (2, 2))),
    ]
    if limits.peak_c is not None:
        for bound, name in ((limits.peak_c.high, "peak at most"), (limits.peak_c.low, "peak at least")):
            if bound is not None and (limits.ceiling is None or bound != limits.ceiling.at_c):
                lines.append((Level(bound, limits.peak_c.source), name, INK, (0, (1, 2))))
    named = sorted((level.at_c, name, colour, dash) for level, name, colour, dash in lines if level is not None)
    low, high = axes.get_ylim()
    places = _apart([at_c for at_c, *_ in named], _NAME_APART * (high - low))
    beside = axes.get_yaxis_transform()
    for place, (at_c, name, colour, dash) in zip(places, named, strict=True):
        axes.axhline(at_c, color=colour, linewidth=1.1, linestyle=dash, zorder=1.5)
        arrow = {"arrowstyle": "-", "color": colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0}
        text: dict[str, Any] = {"size": 8.5, "color": text_colour(colour), "va": "center", "annotation_clip": False}
        says = f"{name} {human(at_c, 'Cel')}"
        axes.annotate(says, (1.0, at_c), (1.02, place), xycoords=beside, textcoords=beside, arrowprops=arrow, **text)


def _apart(levels: list[float], apart: float) -> list[float]:
    """Return places as near to ascending levels as they can be that far from each other: groups around their mean."""
    groups: list[list[float]] = []

    def bottom(group: list[float]) -> float:
        return sum(group) / len(group) - apart * (len(group) - 1) / 2

    for level in levels:
        groups.append([level])
        while len(groups) > 1 and bottom(groups[-1]) < bottom(groups[-2]) + apart * len(groups[-2]):
            groups[-2:] = [groups[-2] + groups[-1]]
    return [bottom(group) + apart * place for group in groups for place in range(len(group))]


def _draw_board(axes: Axes, times: Floats, board: BoardTrace) -> None:
    moments, low_c, high_c = _thin(times, board.low_c, board.high_c)
    axes.fill_between(moments, low_c, high_c, label="board, its range", **_BAND)
    line = drawable(times, board.likely_c, _COLUMNS)
    axes.plot(*line, label="board, by the model", color=GREEN, linewidth=1.5, linestyle=(0, (5, 1.5)))


def _draw_hot(axes: Axes, times: Floats, shown: Floats, liquidus_c: float) -> None:
    known = np.isfinite(shown)
    moments, levels = _thin(times[known], shown[known]) if known.any() else (times[:0], times[:0])
    hot = levels > liquidus_c
    if hot.any():
        axes.fill_between(moments, liquidus_c, levels, where=hot, interpolate=True, label="above liquidus", **_HOT)


def _draw_unbelieved(axes: Axes, times: Floats, levels: Floats, trusted: npt.NDArray[np.bool_]) -> None:
    doubted = ~trusted & np.isfinite(levels)
    if doubted.any():
        inside = np.clip(levels[doubted], *axes.get_ylim())
        cross: dict[str, Any] = {"color": INK, "markersize": 5, "markeredgewidth": 1.2, "clip_on": False}
        axes.plot(times[doubted], inside, "x", label="not believed", **cross)


def _draw_peak(axes: Axes, times: Floats, shown: Floats) -> None:
    if not np.isfinite(shown).any():
        return
    at = int(np.nanargmax(shown))
    axes.plot(times[at], shown[at], marker="v", color=INK, markersize=5, zorder=4)
    late = times[at] > 0.75 * axes.get_xlim()[1]
    text: dict[str, Any] = {
        "size": 9,
        "weight": "bold",
        "color": INK,
        "va": "bottom",
        "ha": "right" if late else "left",
    }
    text["bbox"] = {"facecolor": "white", "edgecolor": "none", "pad": 0.5}  # it may lie over the lines of limits
    offset = (-7 if late else 7, 5)
    axes.annotate(f"peak {shown[at]:.1f} °C", (times[at], shown[at]), offset, textcoords="offset points", **text)


def _draw_legend(axes: Axes, columns: int) -> None:
    style: dict[str, Any] = {"fontsize": 8.5, "frameon": False, "labelcolor": INK, "handlelength": 2.6}
    below = -0.115 * _PLOT_IN / (axes.bbox.height / axes.figure.dpi)
    axes.legend(
        loc="upper left",
        bbox_to_anchor=(-0.01, below),
        ncols=columns,
        columnspacing=1.4,
        borderaxespad=0.0,
        **style,
    )
