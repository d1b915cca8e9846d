"""A heat as its messages tell it, gathered while they go by or read from the journal, and drawn at its end."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from wakerail.report.traces import Floats
from wakerail_kit.events import CoolingAsked, HeatEstimated, HeatStageStarted, HeatStarted, read_event
from wakerail_kit.messages import Event, Frame, Verdict

if TYPE_CHECKING:
    from wakerail.analysis.thermal.figures import Figures
    from wakerail.analysis.thermal.profile import ThermalLimits
    from wakerail.report.thermal_picture import BoardTrace


@dataclass(frozen=True, slots=True, eq=False)
class HeatSeen:
    """What a plate showed from the first heat to the end of the run, with its limits and figures; see ``draw_heat``."""

    t_s: list[float]
    temperature_c: list[float | None]
    believed: list[bool]
    setpoint_c: list[float | None]
    limits: ThermalLimits
    figures: Figures
    board: BoardTrace | None


class HeatRecord:
    """The heat of one run."""

    def __init__(self) -> None:
        self._heat: HeatStarted | None = None
        self._stages: list[HeatStageStarted] = []
        self._estimates: list[HeatEstimated] = []
        self._cooled_early = False
        self._frames: list[Frame] = []

    def take(self, message: Struct) -> None:
        """Take a message of the run or a frame of the bench."""
        if isinstance(message, Frame):
            if "temperature" in message.signals:
                self._frames.append(message)
        elif isinstance(message, Event):
            if (heat := read_event(message, HeatStarted)) is not None:
                self._heat = heat
            elif (stage := read_event(message, HeatStageStarted)) is not None:
                self._stages.append(stage)
            elif (estimate := read_event(message, HeatEstimated)) is not None:
                self._estimates.append(estimate)
            elif read_event(message, CoolingAsked) is not None:
                self._cooled_early = True

    def draw(self, verdict: Verdict, folder: Path) -> list[Path]:
        """Draw heat.svg and heat.png into a folder; return them, nothing if nothing was heated."""
        seen = self.seen()
        if seen is None:
            return []
        from wakerail.report.thermal_picture import draw_heat  # noqa: PLC0415  matplotlib is slow to import

        files = [folder / f"heat{suffix}" for suffix in (".svg", ".png")]
        for file in files:
            draw_heat(
                seen.t_s,
                seen.temperature_c,
                seen.limits,
                seen.figures,
                believed=seen.believed,
                setpoint_c=seen.setpoint_c,
                board=seen.board,
                title=f"{verdict.sequence.name}: {verdict.outcome}, {verdict.finding}",
                subtitle=verdict.reason,
                out=file,
            )
        return files

    def seen(self) -> HeatSeen | None:
        """Return what the heat showed; None if nothing was heated."""
        heat = self._heat
        if heat is None:
            return None
        from wakerail.sequences.heating.figures import figures_of, limits_of  # noqa: PLC0415
        from wakerail.sequences.heating.trace import HeatTrace  # noqa: PLC0415

        trace = HeatTrace()
        for frame in self._frames:
            if frame.instrument == heat.instrument and frame.t_s[-1] >= heat.at_s:
                trace.take(frame, self._asked_c)
        if not trace.t_s:
            return None
        return HeatSeen(
            t_s=trace.t_s,
            temperature_c=trace.temperature_c,
            believed=trace.believed,
            setpoint_c=trace.setpoint_c,
            limits=limits_of(heat, cooled_early=self._cooled_early),
            figures=figures_of(heat, trace, cooled_early=self._cooled_early),
            board=self._board(np.array(trace.t_s)),
        )

    def _asked_c(self, at_s: float) -> float | None:
        """Return the set point that the run asked for at a moment, None while it asked for none."""
        stage = next((one for one in reversed(self._stages) if one.at_s <= at_s), None)
        return None if stage is None or stage.kind == "cool" else stage.temperature_c

    def _board(self, t_s: Floats) -> BoardTrace | None:
        """Return the board as it was reckoned, between what was told every few seconds."""
        from wakerail.report.thermal_picture import BoardTrace  # noqa: PLC0415

        told = [
            (one.at_s, one.board_c, one.board_low_c, one.board_high_c)
            for one in self._estimates
            if None not in {one.board_c, one.board_low_c, one.board_high_c}
        ]
        if len(told) < 2:
            return None
        at_s, likely, low, high = np.array(told, dtype=float).T
        columns = (np.interp(t_s, at_s, column, left=np.nan, right=np.nan) for column in (likely, low, high))
        return BoardTrace(*columns)
