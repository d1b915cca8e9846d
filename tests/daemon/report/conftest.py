"""A finished run and its messages, and terminals to show them on."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from rich.console import Console, RenderableType

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import EventData, make_event
from wakerail_kit.messages import (
    Event,
    Evidence,
    Frame,
    Identity,
    InstrumentUsed,
    Measurement,
    SequenceRef,
    StepResult,
    Verdict,
)
from wakerail_kit.outcome import Finding, Outcome

REASON = "It restarted 3 times in 18 s, every 4.45 s; each time after about 4.05 s up."


@pytest.fixture(name="verdict")
def _verdict() -> Verdict:
    steps = [
        StepResult(number=1, verb="supply", title="Power the board", outcome=Outcome.PASSED, duration_s=1.03),
        StepResult(number=2, verb="watch", title="Watch the boot", outcome=Outcome.FAILED, says=REASON, duration_s=18),
        StepResult(number=3, verb="supply", title="Output off", outcome=None),
    ]
    evidence = [
        Evidence(
            event_id=f"e{second}",
            type="wakerail.restart-seen.v1",
            time=f"2026-11-25T10:15:{second}.500000Z",
            says="After 4.05 s up the current fell to near nothing (0.3 mA) and rose again 0.4 s later.",
            journal_row=4700 + second,
        )
        for second in (10, 14, 18)
    ]
    return Verdict(
        id="01990000-0000-7000-8000-000000000001",
        bench="bench-1",
        run="01990000-0000-7000-8000-000000000002",
        job="j-1042",
        sequence=SequenceRef(name="boot-watch", sha256="0" * 64),
        inputs={"volts": "3.85 V", "limit": "3 A"},
        started="2026-11-25T10:15:00.000000Z",
        ended="2026-11-25T10:15:25.300000Z",
        outcome=Outcome.FAILED,
        finding=Finding.RESTARTING,
        reason=REASON,
        steps=steps,
        measurements=[
            Measurement(name="standing-current", value=0.0003, unit="A", high=0.005, outcome=Outcome.PASSED),
            Measurement(name="supply.voltage", value=3.85, unit="V", low=1.925, outcome=Outcome.PASSED),
            Measurement(name="rail", value=3.3, unit="V", low=3.2, high=3.4, outcome=Outcome.PASSED),
            Measurement(name="restart-interval", value=4.45, unit="s", uncertainty=0.07, outcome=Outcome.PASSED),
            Measurement(name="restarts", value=3, unit="1", high=0, outcome=Outcome.FAILED),
            Measurement(name="port", value=None, unit="V", outcome=Outcome.INCONCLUSIVE),
        ],
        evidence=evidence,
        instruments=[
            InstrumentUsed(
                role="supply",
                instrument="psu-1",
                kind="power-source",
                driver="scpi",
                dialect="stonebridge-30",
                identity=Identity(text="x", maker="Stonebridge", model="SB-305", serial="0042", firmware="1.3"),
            ),
            InstrumentUsed(role="usb", instrument="usb", kind="usb-watcher", driver="usb"),
        ],
        operator="ina",
        software_version="0.1.0",
    )


@pytest.fixture(name="show")
def _show() -> Callable[..., list[str]]:
    def show(shown: RenderableType, width: int = 80, height: int = 24, encoding: str = "utf-8") -> list[str]:
        """Return the lines that a terminal of that size shows."""
        file = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        console = Console(record=True, width=width, height=height, file=file, force_terminal=True, _environ={})
        console.print(shown)
        return [line.rstrip() for line in console.export_text().splitlines()]

    return show


@pytest.fixture(name="event")
def _event() -> Callable[..., Event]:
    clock = SimulatedClock()

    def event(data: EventData, owner: str = "sequence") -> Event:
        return make_event(data, clock=clock, bench="bench-1", owner=owner, run="r")

    return event


@pytest.fixture(name="frame")
def _frame() -> Callable[..., Frame]:
    def frame(start_s: float, current_a: list[float | None], rate_hz: float = 20, instrument: str = "psu-1") -> Frame:
        count = len(current_a)
        return Frame(
            bench="bench-1",
            instrument=instrument,
            number=1,
            start="2026-11-25T10:15:00.000000Z",
            t_s=[start_s + index / rate_hz for index in range(count)],
            half_width_s=[0.001] * count,
            signals={"current": current_a, "voltage": [3.85] * count, "limiting": [0.0] * count},
            units={"current": "A", "voltage": "V"},
        )

    return frame
