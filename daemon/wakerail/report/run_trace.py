"""Keeps what a run shows, followed or read from the journal, and writes its verdict and its picture into a folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
from msgspec import Struct

from wakerail.report.heat_record import HeatRecord
from wakerail.report.traces import Floats
from wakerail_kit.events import (
    OnsetSeen,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StageLevel,
    StagesRead,
    StepStarted,
    read_event,
)
from wakerail_kit.messages import Event, Frame, Verdict


@dataclass(frozen=True, slots=True, eq=False)
class WatchSeen:
    """What a run's current shows, in seconds from the run's first step.

    ``restarts`` are pairs: when a boot ended and when the next began; ``probabilities`` say how sure each is.
    ``stages`` are start, end and mean in A. Samples that are no data are NaN.
    """

    times_s: Floats
    current_a: Floats
    voltage_v: Floats | None
    restarts: list[tuple[float, float]]
    probabilities: list[float]
    stages: list[tuple[float, float, float]]
    onset_s: float | None
    prompt_s: float | None


class RunTrace:
    """The current trace of a run and what was seen in it, gathered while it goes by."""

    def __init__(self) -> None:
        self._start_s: float | None = None
        self._prompt_s: float | None = None
        self._onset_s: float | None = None
        self._restarts: dict[int, RestartSeen] = {}
        self._taken_back: set[int] = set()
        self._stages: list[StageLevel] = []
        self._frames: list[Frame] = []
        self._instruments: frozenset[str] = frozenset()
        self.heat = HeatRecord()

    def take(self, message: Struct) -> None:
        """Take a message of the run or a frame of the bench."""
        self.heat.take(message)
        if isinstance(message, Frame) and "current" in message.signals:
            self._frames.append(message)
        elif isinstance(message, Event):
            if (started := read_event(message, RunStarted)) is not None:
                self._instruments = frozenset(started.roles.values())
            elif (step := read_event(message, StepStarted)) is not None:
                self._start_s = step.at_s if self._start_s is None else self._start_s
                if step.verb == "watch":
                    self._prompt_s = step.at_s
            elif (onset := read_event(message, OnsetSeen)) is not None:
                self._onset_s = onset.at_s
            elif (restart := read_event(message, RestartSeen)) is not None:
                self._restarts[restart.number] = restart
            elif (revised := read_event(message, RestartRevised)) is not None:
                self._revise(revised)
            elif (stages := read_event(message, StagesRead)) is not None:
                self._stages += stages.stages

    def _revise(self, revised: RestartRevised) -> None:
        (self._taken_back.discard if revised.counts else self._taken_back.add)(revised.number)
        if revised.number in self._restarts:
            restart = self._restarts[revised.number]
            self._restarts[revised.number] = msgspec.structs.replace(restart, probability=revised.probability)

    def write(self, verdict: Verdict, folder: Path) -> list[Path]:
        """Write verdict.json, and a picture of the current or the heat that was seen; return the files written."""
        folder.mkdir(parents=True, exist_ok=True)
        written = [folder / "verdict.json"]
        written[0].write_bytes(msgspec.json.format(msgspec.json.encode(verdict), indent=2) + b"\n")
        written += self.heat.draw(verdict, folder)
        seen = self.seen()
        if seen is not None:
            from wakerail.report.picture import draw_trace  # noqa: PLC0415  matplotlib is slow to import

            for suffix in (".svg", ".png"):
                written.append(folder / f"trace{suffix}")
                draw_trace(
                    seen.times_s,
                    seen.current_a,
                    voltage_v=seen.voltage_v,
                    restarts=seen.restarts,
                    probabilities=seen.probabilities,
                    stages=seen.stages,
                    onset_s=seen.onset_s,
                    prompt_s=seen.prompt_s,
                    title=f"{verdict.sequence.name}: {verdict.outcome}, {verdict.finding}",
                    subtitle=verdict.reason,
                    out=written[-1],
                )
        return written

    def seen(self) -> WatchSeen | None:
        """Return what the current shows; None if none was recorded."""
        times_s, current_a, voltage_v = self._columns()
        if not times_s.size:
            return None
        counting = [one for number, one in self._restarts.items() if number not in self._taken_back]
        restarts = sorted(counting, key=lambda one: one.at_s)
        return WatchSeen(
            times_s=times_s,
            current_a=current_a,
            voltage_v=voltage_v,
            restarts=[(self._since(one.at_s), self._since(one.again_s)) for one in restarts],
            probabilities=[1.0 if one.probability is None else one.probability for one in restarts],
            stages=[(self._since(one.start_s), self._since(one.end_s), one.mean_a) for one in self._stages],
            onset_s=None if self._onset_s is None else self._since(self._onset_s),
            prompt_s=None if self._prompt_s is None else self._since(self._prompt_s),
        )

    def _since(self, at_s: float) -> float:
        return at_s - (self._start_s or 0.0)

    def _used(self, instrument: str) -> bool:
        """Tell whether the run used an instrument: others on the bench go on meanwhile."""
        return not self._instruments or instrument in self._instruments

    def _columns(self) -> tuple[Floats, Floats, Floats | None]:
        start_s = self._start_s if self._start_s is not None else float("-inf")
        frames = [frame for frame in self._frames if frame.t_s[-1] >= start_s and self._used(frame.instrument)]
        times_s = np.array([t for frame in frames for t in frame.t_s], dtype=float)

        def column(signal: str) -> Floats:
            values = [frame.signals.get(signal) or [None] * len(frame.t_s) for frame in frames]
            return np.array([np.nan if v is None else v for samples in values for v in samples], dtype=float)

        voltage_v = column("voltage")
        return times_s - (self._start_s or 0.0), column("current"), None if np.isnan(voltage_v).all() else voltage_v
