"""Made-up messages and a clock that stands still."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.events import EventData, RestartSeen, RunStarted, make_event
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Event, Evidence, Frame, Prompt, SequenceRef, Verdict
from wakerail_kit.outcome import Finding, Outcome

BENCH = "bench-1"


class Samples:
    """Makes messages of one bench, at the time of its clock."""

    def __init__(self, clock: SimulatedClock) -> None:
        self.clock = clock

    def topic(self, run: str, leaf: str = "event") -> str:
        return topics.run(BENCH, run, leaf)

    def event(self, run: str = "run-1", data: EventData | None = None) -> Event:
        data = data or RestartSeen(run=run, at_s=1.5, again_s=2.0, number=1, evidence=["current"], says="it fell")
        return make_event(data, clock=self.clock, bench=BENCH, owner="sequence", run=run)

    def started(self, run: str = "run-1", sequence: str = "boot-watch") -> Event:
        data = RunStarted(run=run, sequence=sequence, inputs={"volts": "3.85 V"}, roles={}, cautions=[], job="J-1")
        return self.event(run, data)

    def prompt(self, run: str = "run-1") -> Prompt:
        now = self.clock.now()
        return Prompt(id=new_id(now), bench=BENCH, run=run, step=3, text="Bridge the pads.", time=rfc3339(now))

    def verdict(self, run: str = "run-1", **changes: Any) -> Verdict:
        now = self.clock.now()
        fields: dict[str, Any] = {
            "id": new_id(now),
            "bench": BENCH,
            "run": run,
            "sequence": SequenceRef(name="boot-watch", sha256="0" * 64),
            "inputs": {"volts": "3.85 V"},
            "started": rfc3339(now),
            "ended": rfc3339(now),
            "outcome": Outcome.FAILED,
            "finding": Finding.RESTARTING,
            "reason": "it restarts every 9.5 s",
            "steps": [],
            "measurements": [],
            "evidence": [Evidence(event_id="e", type="t", time=rfc3339(now), says="current fell", journal_row=7)],
            "instruments": [],
            "operator": "mara",
            "software_version": "0.1.0",
        }
        return Verdict(**fields | changes)

    def frame(self, number: int, count: int = 4, instrument: str = "supply", **changes: Any) -> Frame:
        """A frame of a 20 Hz instrument, whose samples carry on from those of frame ``number - 1``."""
        first_s = (number - 1) * count * 0.05
        t_s = [first_s + index * 0.05 for index in range(count)]
        fields: dict[str, Any] = {
            "bench": BENCH,
            "instrument": instrument,
            "number": number,
            "start": rfc3339(datetime.fromtimestamp(1_795_000_000 + first_s, UTC)),
            "t_s": t_s,
            "half_width_s": [0.001] * count,
            "signals": {"voltage": [3.85] * count, "current": [None, *(at * 0.1 for at in t_s[1:])]},
            "units": {"voltage": "V", "current": "A"},
        }
        return Frame(**fields | changes)


@pytest.fixture
def clock() -> SimulatedClock:
    return SimulatedClock(datetime(2026, 11, 25, 9, 30, tzinfo=UTC))


@pytest.fixture
def samples(clock: SimulatedClock) -> Samples:
    return Samples(clock)
