"""What a whole reading does not depend on, for clean loops of a few shapes (2 % ripple) at 20 samples a second.

The finding and the number of restarts stay, and each of their times within two samples, when

- the trace begins at any other time, up to 1e6 s;
- all currents are 0.3 to 3 times as large (below 0.7 times what runs moves by less than 10 mA, which may be the meter's
  own steps, so that there the restarts alone must stay);
- up to 1 mA, or up to 20 % of the standing level, is added to all;
- it is sampled 50 times a second in place of 20 (two samples of the slower);
- up to three gaps of up to 0.25 s are cut out, at least 1 s from each onset, end of a boot and begin of the next
  (together below 5 % of the trace: where more is missing the reader says so and concludes nothing).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_kit.outcome import Finding

RATE_HZ = 20.0
TWO_SAMPLES_S = 2 / RATE_HZ + 1e-6
STANDING_A = 0.0003
MOVES_FROM = 0.7  # times the currents: from there on what runs visibly moves
# each: the stages (amperes, seconds) of a boot, how many restarts, and how long the device is off between
SHAPES = {
    "three stages": (((0.09, 0.35), (0.26, 1.2), (0.65, 2.5)), 3, 0.4),
    "slow": (((0.3, 2.0), (0.12, 3.0), (0.5, 4.0), (0.2, 3.0)), 2, 1.0),
    "one level": (((0.25, 3.0),), 4, 0.6),
    "none": (((0.1, 1.0), (0.4, 3.0)), 0, 0.0),
}
LAW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SHAPE = st.sampled_from(sorted(SHAPES))


@dataclass
class Loop:
    t_s: np.ndarray
    current_a: np.ndarray
    moments_s: list[float]  # onset, ends and begins of boots


def make(trace, name, rate_hz=RATE_HZ):
    stages, restarts, down_s = SHAPES[name]
    made = trace(rate_hz).then(STANDING_A, 3.0)
    moments_s = [made.end_s]
    for number in range(restarts + 1):
        for level_a, for_s in stages:
            made.then(level_a, for_s)
        if number < restarts:
            moments_s.append(made.end_s)
            made.then(STANDING_A, down_s)
            moments_s.append(made.end_s)
    made.then(0.19, 14.0)
    return Loop(np.array(made.t_s), np.array(made.current_a), moments_s)


def read(t_s, current_a):
    reader = BootReader(ReaderSettings())
    reader.take(t_s, current_a)
    return reader.finish(float(t_s[-1]))


def hold_same(reading, other, shift_s=0.0):
    assert other.finding is reading.finding
    hold_same_restarts(reading, other, shift_s)


def hold_same_restarts(reading, other, shift_s=0.0):
    assert len(other.restarts) == len(reading.restarts)
    for one, same in zip(reading.restarts, other.restarts, strict=True):
        assert same.at_s == pytest.approx(one.at_s + shift_s, abs=TWO_SAMPLES_S)
        assert same.again_s == pytest.approx(one.again_s + shift_s, abs=TWO_SAMPLES_S)


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_the_shapes_themselves_are_read_right(trace, name):
    """Else the laws would hold of a reader that finds nothing."""
    loop, restarts = make(trace, name), SHAPES[name][1]
    reading = read(loop.t_s, loop.current_a)
    assert reading.finding is (Finding.RESTARTING if restarts else Finding.RUNNING)
    begins_s = [restart.again_s for restart in reading.restarts]
    assert begins_s == pytest.approx(loop.moments_s[2::2], abs=TWO_SAMPLES_S)


@LAW
@given(name=SHAPE, shift_s=st.floats(-100.0, 1e6))
def test_shift_in_time(trace, name, shift_s):
    loop = make(trace, name)
    hold_same(read(loop.t_s, loop.current_a), read(loop.t_s + shift_s, loop.current_a), shift_s)


@LAW
@given(name=SHAPE, scale=st.floats(0.3, 3.0))
@example(name="one level", scale=0.75)  # a look came while falls were still open, and took their ends for jumps
def test_scale_of_the_current(trace, name, scale):
    loop = make(trace, name)
    hold = hold_same if SHAPES[name][1] or scale >= MOVES_FROM else hold_same_restarts
    hold(read(loop.t_s, loop.current_a), read(loop.t_s, scale * loop.current_a))


@LAW
@given(name=SHAPE, offset_a=st.one_of(st.floats(0.0, 0.001), st.floats(0.0, 0.2 * STANDING_A)))
def test_offset_of_the_current(trace, name, offset_a):
    loop = make(trace, name)
    hold_same(read(loop.t_s, loop.current_a), read(loop.t_s, loop.current_a + offset_a))


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_resampling(trace, name):
    slow, fast = make(trace, name), make(trace, name, 50.0)
    hold_same(read(slow.t_s, slow.current_a), read(fast.t_s, fast.current_a))


@LAW
@given(name=SHAPE, gaps=st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(0.05, 0.25)), min_size=1, max_size=3))
def test_short_gaps_away_from_restarts(trace, name, gaps):
    loop = make(trace, name)
    kept = np.ones(len(loop.t_s), dtype=bool)
    for share, length_s in gaps:
        from_s = loop.t_s[0] + share * (loop.t_s[-1] - loop.t_s[0] - length_s)
        if all(at_s < from_s - 1.0 or at_s > from_s + length_s + 1.0 for at_s in loop.moments_s):
            kept &= (loop.t_s < from_s) | (loop.t_s > from_s + length_s)
    hold_same(read(loop.t_s, loop.current_a), read(loop.t_s[kept], loop.current_a[kept]))
