"""The machine's civil clock may be set in the midst of a run: only the monotonic clock counts."""

from __future__ import annotations

import io
from datetime import datetime, timedelta

import msgspec
from rich.console import Console

from wakerail.report.words import verdict_text
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import LineResult

TEXT = """\
sequence: try
purpose: A try.
needs: {supply: power-source, plate: heat-source, port: port-tester}
steps:
  - supply: {volts: 3.85 V, limit: 1 A, output: on}
  - prompt: Bridge the pads.
  - plate: {temperature: 100 degC, heater: on}
  - measure: {signal: supply.current, over: 5 s, max: 1 A}
  - test: {port: lines}
  - watch: {for: 5 s, signals: [supply.current]}
finally:
  - supply: {output: off}
  - plate: {heater: off}
"""
KINDS = {"psu": "power-source", "plate-1": "heat-source", "port-1": "port-tester"}


class SetClock(SimulatedClock):
    """A clock whose civil time somebody sets."""

    set_by = timedelta()

    def now(self) -> datetime:
        return super().now() + self.set_by


async def ran(make_bench, jump: timedelta, at: str):
    bench = make_bench(KINDS, clock=SetClock())
    bench.instruments["port-1"].answers = [[LineResult(line="vbus", passed=True)]]

    def set_clock(point: str) -> None:
        if point.startswith(at):
            bench.clock.set_by = jump

    bench.at = set_clock
    run, task = bench.start(TEXT, operator="Ilse")
    verdict = await bench.verdict(run)
    await task
    assert not bench.anything_on()
    assert bench.verdicts() == [verdict]
    return verdict, bench.event_names(), bench.clock.monotonic_s()


def shown(verdict) -> str:
    """Return a verdict as a terminal shows it."""
    console = Console(width=120, record=True, file=io.StringIO())
    console.print(verdict_text(verdict))
    return console.export_text()


def told(verdict) -> dict[str, object]:
    """Return what a verdict says, but for identities and civil times."""
    plain = msgspec.to_builtins(verdict)
    steps = [{**step, "started": None} for step in plain["steps"]]
    evidence = [{**each, "event_id": None, "time": None} for each in plain["evidence"]]
    return {**plain, "id": None, "run": None, "started": None, "ended": None, "steps": steps, "evidence": evidence}


async def test_a_run_is_not_disturbed(make_bench):
    steady, its_events, took_s = await ran(make_bench, timedelta(), "")
    assert "took 1" in shown(steady)
    for at in ("record_prompt", "apply plate-1 heater True", "test port-1"):
        for days in (-1, 1):
            moved, events, also_took_s = await ran(make_bench, timedelta(days=days), at)
            assert told(moved) == told(steady), (at, days)
            assert (events, also_took_s) == (its_events, took_s), (at, days)
            assert (moved.ended < moved.started) == (days < 0), (at, days)
            assert "took -" not in shown(moved)  # how long it took is not known then; it is not said
