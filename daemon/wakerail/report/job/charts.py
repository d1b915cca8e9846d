"""The charts of a report, each with what it shows in words and numbers for those who cannot see it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from wakerail.planning.telling import listed
from wakerail.report.drawing import rendered
from wakerail.report.heat_record import HeatSeen
from wakerail.report.job.material import Material, RunSeen
from wakerail.report.run_trace import WatchSeen
from wakerail_kit.job_report import ChartReported
from wakerail_kit.units import human

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_WATCH_IN, _HEAT_IN = (7.0, 3.2), (7.0, 2.6)  # as wide as the text on paper, so that its letters keep their size
_DPI = 220
_MOST_TOLD = 12


@dataclass(frozen=True)
class Chart:
    """A chart: what is told of it, and how it is drawn."""

    told: ChartReported
    draw: Callable[[], Figure]

    @cached_property
    def sheet(self) -> Figure:
        """The chart as it was drawn."""
        return self.draw()

    @property
    def size_in(self) -> tuple[float, float]:
        """Width and height in inches."""
        width_in, height_in = self.sheet.get_size_inches().tolist()
        return width_in, height_in

    def svg(self) -> bytes:
        """Return the chart as an SVG file."""
        return rendered(self.sheet, "svg")

    def png(self) -> bytes:
        """Return the chart as a PNG file that prints well."""
        return rendered(self.sheet, "png", _DPI)


def charts_of(material: Material) -> list[Chart]:
    """Return the boot before and the boot after, then the heats in their order."""
    before, after = material.before, material.after
    first = "The boot that showed the fault" if before and before.shows_fault else "The first boot that was watched"
    boots = [(run, title) for run, title in ((before, first), (after, "The newest boot")) if run is not None]
    watches = [(run, material.watches.get(run.summary.run), title) for run, title in boots]
    heats = [(run, material.heats.get(run.summary.run)) for run in material.runs]
    highest_a = max((np.nanmax(one.current_a, initial=0.0) for _, one, _ in watches if one is not None), default=0.0)
    charts = [_watch(run, watch, title, float(highest_a)) for run, watch, title in watches if watch is not None]
    return charts + [_heat(run, heat) for run, heat in heats if heat is not None]


def _watch(run: RunSeen, seen: WatchSeen, title: str, up_to_a: float) -> Chart:
    def draw() -> Figure:
        from wakerail.report.picture import trace_sheet  # noqa: PLC0415  matplotlib is slow to import

        return trace_sheet(
            seen.times_s,
            seen.current_a,
            voltage_v=seen.voltage_v,
            stages=seen.stages,
            restarts=seen.restarts,
            probabilities=seen.probabilities,
            onset_s=seen.onset_s,
            prompt_s=seen.prompt_s,
            up_to_a=up_to_a,
            size_in=_WATCH_IN,
        )

    told = ChartReported(name=f"boot-{run.summary.run}", run=run.summary.run, title=title, says=watch_says(seen))
    return Chart(told, draw)


def watch_says(seen: WatchSeen) -> str:
    """Return what the chart of a boot shows."""
    length_s = float(seen.times_s[-1] - seen.times_s[0])
    says = [f"Current over {_s(length_s)}, at most {human(_places(np.nanmax(seen.current_a, initial=0.0)), 'A')}."]
    if seen.onset_s is not None:
        says.append(f"It began to draw at {_s(seen.onset_s)}.")
    falls = [_s(fell_s) for fell_s, _ in seen.restarts]
    if not falls:
        says.append("No restart.")
    else:
        told = listed(falls[:_MOST_TOLD]) + ("" if len(falls) <= _MOST_TOLD else " and later")
        says.append(f"{len(falls)} restart{'' if len(falls) == 1 else 's'}, at {told}.")
    if seen.voltage_v is not None:
        low, high = np.nanmin(seen.voltage_v), np.nanmax(seen.voltage_v)
        says.append(f"Voltage from {human(_places(low), 'V')} to {human(_places(high), 'V')}.")
    return " ".join(says)


def _heat(run: RunSeen, seen: HeatSeen) -> Chart:
    def draw() -> Figure:
        from wakerail.report.thermal_picture import heat_sheet  # noqa: PLC0415  matplotlib is slow to import

        return heat_sheet(
            seen.t_s,
            seen.temperature_c,
            seen.limits,
            believed=seen.believed,
            setpoint_c=seen.setpoint_c,
            board=seen.board,
            size_in=_HEAT_IN,
        )

    title = f"The plate's temperature: {run.summary.sequence}"
    told = ChartReported(name=f"heat-{run.summary.run}", run=run.summary.run, title=title, says=heat_says(seen))
    return Chart(told, draw)


def heat_says(seen: HeatSeen) -> str:
    """Return what the chart of a heat shows."""
    known = [c for c, believed in zip(seen.temperature_c, seen.believed, strict=True) if believed and c is not None]
    says = [f"Temperature of the plate over {_s(seen.t_s[-1] - seen.t_s[0])}"]
    if known:
        says[0] += f", from {human(round(known[0], 1), 'Cel')} to a peak of {human(round(max(known), 1), 'Cel')}"
        says[0] += f" and down to {human(round(known[-1], 1), 'Cel')}."
    levels = [("Liquidus", seen.limits.liquidus), ("ceiling", seen.limits.ceiling), ("touch limit", seen.limits.touch)]
    says.append(", ".join(f"{name} {human(at.at_c, 'Cel')}" for name, at in levels if at is not None) + ".")
    doubted = len(seen.believed) - sum(seen.believed)
    if doubted:
        says.append(f"{doubted} reading{'' if doubted == 1 else 's'} not believed.")
    changes = [at for at, _ in itertools.groupby(seen.setpoint_c) if at]
    if changes:
        says.append(f"Set point {listed([human(at, 'Cel') for at in changes])}.")
    return " ".join(says)


def _s(time_s: float) -> str:
    """Return a time to a tenth of a second, in minutes from ten of them on."""
    return human(round(time_s, 1), "s") if time_s < 600 else f"{time_s / 60:.1f} min"


def _places(value: float) -> float:
    return float(f"{float(value):.3g}")
