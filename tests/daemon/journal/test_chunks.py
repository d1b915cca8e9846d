"""Frames through chunks and back: every value, time and gap."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from itertools import groupby

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.journal import Journal, JournalReader
from wakerail.journal.chunks import pack, unpack
from wakerail.journal.gathering import hold
from wakerail_kit.clock import rfc3339
from wakerail_kit.messages import Frame

BOUNDS = {"min_value": datetime.fromisoformat("2020-01-01"), "max_value": datetime.fromisoformat("2060-01-01")}
UNITS = {"voltage": "V", "current": "A", "temperature": "Cel"}


@st.composite
def frames(draw: st.DrawFn) -> Frame:
    count = draw(st.integers(1, 6))
    names = draw(st.lists(st.sampled_from(sorted(UNITS)), unique=True, min_size=0, max_size=3))
    seconds = st.floats(0, 1e6)
    values = st.none() | st.floats(allow_nan=False)
    start = draw(st.datetimes(timezones=st.just(UTC), **BOUNDS))
    return Frame(
        bench="bench-1",
        instrument=draw(st.sampled_from(["supply", "plate"])),
        number=draw(st.integers(1, 4)),
        start=rfc3339(start),
        t_s=draw(st.lists(seconds, min_size=count, max_size=count)),
        half_width_s=draw(st.lists(seconds, min_size=count, max_size=count)),
        signals={name: draw(st.lists(values, min_size=count, max_size=count)) for name in names},
        units={name: UNITS[name] for name in names},
    )


def through_chunks(held):
    columns = ["bench", "instrument", "run", "first_time", "first_number", "last_number", "samples", "units", "packed"]
    return [unpack([row, *(packed[name] for name in columns)]) for row, packed in enumerate(pack(held), start=1)]


def none_for_nan(values):
    return [None if math.isnan(value) else value for value in values.tolist()]


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(frames(), st.sampled_from([None, "run-1"])), max_size=12))
def test_every_sample_comes_back_with_its_run_signal_and_unit(given_frames):
    """Per instrument, the chunks one after another are the frames one after another: same samples, bit for bit."""
    chunks = through_chunks([hold(frame, run) for frame, run in given_frames])
    for instrument in ("supply", "plate"):
        there = [
            (chunk.run, name, unit, t_s, half_width_s, value)
            for chunk in chunks
            if chunk.instrument == instrument
            for name, unit in chunk.units.items()
            for t_s, half_width_s, value in zip(
                chunk.t_s.tolist(), chunk.half_width_s.tolist(), none_for_nan(chunk.signals[name]), strict=True
            )
        ]
        given = [
            (run, name, unit, t_s, half_width_s, value)
            for frame, run in given_frames
            if frame.instrument == instrument
            for name, unit in frame.units.items()
            for t_s, half_width_s, value in zip(frame.t_s, frame.half_width_s, frame.signals[name], strict=True)
        ]
        key = lambda item: tuple(map(repr, item))  # noqa: E731  a chunk is read signal by signal, frames frame by frame
        assert sorted(there, key=key) == sorted(given, key=key)
        assert sum(len(chunk) for chunk in chunks if chunk.instrument == instrument) == sum(
            len(frame.t_s) for frame, _ in given_frames if frame.instrument == instrument
        )


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(frames(), st.sampled_from([None, "run-1"])), max_size=12))
def test_a_chunk_holds_only_what_belongs_together(given_frames):
    """One chunk for each stretch of frames of one run, with the same signals and numbers without a gap."""
    chunks = through_chunks([hold(frame, run) for frame, run in given_frames])
    for instrument in ("supply", "plate"):
        mine = [(frame, run) for frame, run in given_frames if frame.instrument == instrument]
        stretches = groupby(
            enumerate(mine), lambda item: (item[1][1], tuple(item[1][0].units), item[1][0].number - item[0])
        )
        expected = []
        for _, stretch in stretches:
            numbers = [frame.number for _, (frame, _) in stretch]
            expected.append((numbers[0], numbers[-1]))
        mine_packed = [(chunk.first_number, chunk.last_number) for chunk in chunks if chunk.instrument == instrument]
        assert mine_packed == expected


@settings(deadline=None, max_examples=50)
@given(frames())
def test_civil_times_are_the_frames_start_and_the_seconds_since(frame):
    (chunk,) = through_chunks([hold(frame, None)])
    start = datetime.fromisoformat(frame.start)
    for time, t_s in zip(chunk.times().tolist(), frame.t_s, strict=True):
        exact = start + timedelta(seconds=t_s - frame.t_s[0])
        assert abs(time.replace(tzinfo=UTC) - exact) <= timedelta(microseconds=1)


def test_a_chunk_grows_only_so_long(samples):
    held = [hold(samples.frame(number, count=1000), None) for number in range(1, 41)]
    chunks = through_chunks(held)
    assert sum(map(len, chunks)) == 40_000
    assert max(map(len, chunks)) <= 16_384
    assert np.all(np.diff(np.concatenate([chunk.t_s for chunk in chunks])) > 0)


async def test_samples_come_back_from_the_database(url, clock, samples):
    given_frames = [samples.frame(number) for number in range(1, 6)]
    async with await Journal.open(url, bench="bench-1", clock=clock) as journal:
        for frame in given_frames:
            journal.append_frame(frame, "run-1")
    with JournalReader(url) as reader:
        (chunk,) = reader.frames()
    assert chunk.units == {"voltage": "V", "current": "A"}
    assert none_for_nan(chunk.signals["current"]) == [v for frame in given_frames for v in frame.signals["current"]]
    assert chunk.t_s.tolist() == [t for frame in given_frames for t in frame.t_s]
    assert rfc3339(chunk.start) == given_frames[0].start
