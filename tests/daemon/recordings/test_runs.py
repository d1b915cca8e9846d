"""Runs out of a real journal, as recordings."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from wakerail.journal import Journal, JournalReader, export
from wakerail.recordings.files import open_file
from wakerail.recordings.headings import Wishes
from wakerail.recordings.runs import open_run
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import (
    RunStarted,
    SettingApplied,
    StepFinished,
    StepStarted,
    UsbAttached,
    UsbDetached,
    make_event,
)
from wakerail_kit.messages import Frame, Measurement
from wakerail_kit.outcome import Outcome

BENCH, RUN = "bench-1", "0193aaaa-0001"
START_S = 500.0  # of the daemon's clock, when the run began


class Bench:
    """A bench that writes a run into a journal; moments count from the start of the run."""

    def __init__(self, path):
        self.path = path
        self.clock = SimulatedClock(datetime(2026, 11, 25, 9, 30, tzinfo=UTC))
        self.frames = 0

    async def __aenter__(self):
        self.journal = await Journal.open(self.path, bench=BENCH, clock=self.clock)
        self.begun_s = self.clock.monotonic_s()
        return self

    async def __aexit__(self, *_):
        await self.journal.close()

    def at(self, since_s):
        self.clock.advance(since_s - (self.clock.monotonic_s() - self.begun_s))

    async def happens(self, data, owner="sequence"):
        event = make_event(data, clock=self.clock, bench=BENCH, owner=owner, run=RUN)
        await self.journal.append(topics.run(BENCH, RUN, "event"), event)

    async def step(self, number, verb, at_s, until_s, samples=(), measurements=()):
        """Do a step, with samples of the supply as (moment, current, voltage, limiting, output)."""
        self.at(at_s)
        await self.happens(StepStarted(run=RUN, number=number, verb=verb, title=verb, at_s=START_S + at_s))
        for moment, current, voltage, limiting, output in samples:
            self.at(moment)
            self.frames += 1
            signals = {"current": [current], "voltage": [voltage], "limiting": [limiting], "output": [output]}
            frame = Frame(
                bench=BENCH, instrument="psu-1", number=self.frames, start=rfc3339(self.clock.now()),
                t_s=[START_S + moment], half_width_s=[0.001], signals=signals,
                units={"current": "A", "voltage": "V", "limiting": "1", "output": "1"},
            )  # fmt: skip
            self.journal.append_frame(frame, RUN)
        self.at(until_s)
        await self.happens(
            StepFinished(
                run=RUN, number=number, verb=verb, title=verb, outcome=Outcome.PASSED, measurements=list(measurements)
            )
        )


def on(moments, current=0.1):
    return [(moment, current + moment / 100, 3.85, 0.0, 1.0) for moment in moments]


@pytest.fixture(name="watched")
async def _watched(tmp_path):
    """A boot watch: standing draw measured, prompt raised at 3 s, watch from 5 s until 9 s, then off."""
    async with Bench(tmp_path / "bench.sqlite") as bench:
        roles = {"supply": "psu-1", "usb": "usb-1"}
        started = RunStarted(run=RUN, sequence="boot-watch", inputs={}, roles=roles, cautions=[], at_s=START_S)
        await bench.happens(started)
        for setting, value, unit in (("volts", 3.85, "V"), ("limit", 2.0, "A"), ("output", 1.0, "1")):
            await bench.happens(SettingApplied(instrument="psu-1", setting=setting, value=value, unit=unit), "psu-1")
        standing = Measurement(name="supply.current mean", value=0.0012, unit="A", high=0.004, outcome=Outcome.PASSED)
        await bench.step(1, "measure", 1.0, 3.0, on([1.0, 1.5, 2.0], 0.0), [standing])
        await bench.happens(
            UsbDetached(instrument="usb-1", at_s=START_S + 2.5, path="1-2"), "usb-1"
        )  # before the prompt: of another boot
        await bench.step(2, "prompt", 3.0, 5.0, on([3.5, 4.0, 4.5]))
        ids = {"vendor_id": 0x1209, "product_id": 1, "device_class": 0}
        await bench.happens(UsbAttached(instrument="usb-1", at_s=START_S + 4.2, path="1-2", **ids), "usb-1")
        watch = [*on([5.5, 6.0]), (6.5, None, None, None, 1.0), (7.0, 0.5, 3.0, 1.0, 1.0), (8.0, 0.0, 0.0, 0.0, 0.0)]
        await bench.step(3, "watch", 5.0, 9.0, watch)
        await bench.happens(UsbDetached(instrument="usb-1", at_s=START_S + 9.5, path="1-2"), "usb-1")
        await bench.step(4, "supply", 9.5, 10.0, [(9.7, 0.3, 3.85, 0.0, 1.0)])
    return bench.path


def test_a_watch_is_read_from_its_prompt_to_its_end_in_seconds_of_the_run(watched):
    with JournalReader(watched) as reader:
        recording = open_run(reader, "last")
        pieces = list(recording.pieces)
    times = np.concatenate([piece.t_s for piece in pieces])
    # without the sample that the supply could not give, and without what was measured with the output off
    np.testing.assert_allclose(times, [3.5, 4.0, 4.5, 5.5, 6.0, 7.0], atol=1e-9)
    assert np.concatenate([piece.current_a for piece in pieces])[-1] == 0.5
    assert np.concatenate([piece.limiting for piece in pieces]).tolist() == [0, 0, 0, 0, 0, 1]
    assert np.concatenate([piece.voltage_v for piece in pieces])[-1] == 3.0
    assert recording.notes() == ["1 row without a sample left out"]
    assert recording.read_as == (
        f"run {RUN}, its watch from when its prompt was raised; current of 'psu-1' in A, time from the start of the run"
    )


def test_what_the_run_knew_of_the_device_is_known_again(watched):
    with JournalReader(watched) as reader:
        recording = open_run(reader, RUN[-6:])
    known = recording.known
    assert (known.prompted_s, known.limit_a, known.set_v) == (3.0, 2.0, 3.85)
    assert (known.standing_a, known.standing_max_a) == (0.0012, 0.004)
    assert [(type(event), event.at_s) for event in recording.usb] == [(UsbAttached, pytest.approx(4.2))]


async def test_a_run_without_a_watch_is_read_whole(tmp_path):
    async with Bench(tmp_path / "bench.sqlite") as bench:
        await bench.happens(RunStarted(run=RUN, sequence="rail-check", inputs={}, roles={}, cautions=[], at_s=START_S))
        await bench.step(1, "measure", 1.0, 3.0, on([1.0, 1.5, 2.0]))
    with JournalReader(bench.path) as reader:
        recording = open_run(reader, "last")
        assert sum(len(piece.t_s) for piece in recording.pieces) == 3
    assert "all of it, as it has no watch" in recording.read_as
    assert recording.known.prompted_s is None


async def test_a_run_without_a_current_is_refused(tmp_path):
    async with Bench(tmp_path / "bench.sqlite") as bench:
        await bench.happens(RunStarted(run=RUN, sequence="port-check", inputs={}, roles={}, cautions=[]))
    with JournalReader(bench.path) as reader, pytest.raises(ConfigInvalid, match="recorded no current"):
        open_run(reader, "last")


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_what_the_journal_exports_is_read_as_it_was(watched, tmp_path, form):
    out = tmp_path / f"run.{form}"
    with JournalReader(watched) as reader:
        export(reader, out, run=RUN, frames=True)
    recording = open_file(out, Wishes())
    pieces = list(recording.pieces)
    assert "time from 't_s' in s, current from 'current (A)' in A, voltage from 'voltage (V)' in V" in recording.read_as
    times = np.concatenate([piece.t_s for piece in pieces]) - START_S
    np.testing.assert_allclose(times, [1, 1.5, 2, 3.5, 4, 4.5, 5.5, 6, 7, 8, 9.7], atol=1e-9)
    assert np.concatenate([piece.limiting for piece in pieces]).tolist() == [0] * 8 + [1, 0, 0]
    assert recording.notes() == ["1 row without a sample left out"]
