"""Frames keep the order of time and lose no sample, however readings come."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.bench.frames import FrameMaker, data_of
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.kinds import Reading

UNITS = {"voltage": "V", "current": "A"}


def reading(count: int, spacing_s: float | None = None, first: float = 0.0) -> Reading:
    values = [first + index for index in range(count)]
    return Reading(signals={"voltage": values, "current": values}, spacing_s=spacing_s)


def test_a_single_sample_lies_between_question_and_answer() -> None:
    maker = FrameMaker("bench-1", "supply", UNITS, SimulatedClock())
    maker.add(reading(1), 1.0, 1.2)
    frame = maker.make()
    assert frame is not None
    assert frame.t_s == [pytest.approx(1.1)]
    assert frame.half_width_s == [pytest.approx(0.1)]
    assert frame.units == UNITS
    assert maker.make() is None


@given(
    blocks=st.lists(st.integers(min_value=0, max_value=40), min_size=1, max_size=20),
    jitter_s=st.lists(st.floats(min_value=0, max_value=0.02), min_size=20, max_size=20),
    made_after=st.lists(st.booleans(), min_size=20, max_size=20),
)
def test_times_ascend_and_no_sample_is_lost(blocks: list[int], jitter_s: list[float], made_after: list[bool]) -> None:
    maker = FrameMaker("bench-1", "supply", UNITS, SimulatedClock())
    frames, at_s, sent = [], 0.0, 0
    for count, late_s, make in zip(blocks, jitter_s, made_after, strict=False):
        at_s += 0.05
        maker.add(reading(count, 0.001, first=sent), at_s, at_s + late_s)
        sent += count
        frames += [frame for frame in [maker.make() if make else None] if frame]
    frames += [frame for frame in [maker.make()] if frame]
    times_s = [t for frame in frames for t in frame.t_s]
    assert all(later > earlier for earlier, later in itertools.pairwise(times_s))
    assert [value for frame in frames for value in frame.signals["voltage"]] == [float(n) for n in range(sent)]
    assert [frame.number for frame in frames] == list(range(1, len(frames) + 1))


def test_blocks_that_follow_on_each_other_keep_the_instruments_spacing() -> None:
    maker = FrameMaker("bench-1", "supply", UNITS, SimulatedClock())
    maker.add(reading(10, 0.002), 1.000, 1.001)
    maker.add(reading(10, 0.002), 1.027, 1.028)  # asked 7 ms late
    frame = maker.make()
    assert frame is not None
    steps_s = [later - earlier for earlier, later in itertools.pairwise(frame.t_s)]
    assert steps_s == [pytest.approx(0.002)] * 19


def test_a_gap_between_blocks_stays_a_gap() -> None:
    maker = FrameMaker("bench-1", "supply", UNITS, SimulatedClock())
    maker.add(reading(5, 0.002), 1.0, 1.0)
    maker.add(reading(5, 0.002), 3.0, 3.0)
    frame = maker.make()
    assert frame is not None
    assert frame.t_s[5] - frame.t_s[4] == pytest.approx(3.0 - 0.008 - 1.0)


def test_what_is_no_number_is_no_data() -> None:
    taken = data_of(Reading(signals={"voltage": [1.0, float("nan"), None, float("-inf")]}, spacing_s=0.1))
    assert taken.signals == {"voltage": [1.0, None, None, None]}
    assert taken.spacing_s == 0.1
