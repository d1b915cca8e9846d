"""The stages of a boot, as a person would part them on a plot."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.stages import MOST_PARTS, MOST_STAGES, stages_of
from wakerail.analysis.ticks import Condenser, Ticks, join

BOOT = ((0.09, 0.35), (0.26, 1.2), (0.65, 2.5))  # rom, loader, kernel: amperes and seconds
OFF_A = 0.0003


def samples(levels, rate_hz, ripple=0.02, seed=7):
    """Return times and currents of (amperes, seconds) one after another, with a ripple of that share."""
    rng = np.random.default_rng(seed)
    ends = np.rint(np.cumsum([for_s for _, for_s in levels]) * rate_hz).astype(int)
    current_a = np.repeat([level_a for level_a, _ in levels], np.diff(ends, prepend=0))
    return np.arange(ends[-1]) / rate_hz, current_a * (1 + ripple * rng.standard_normal(ends[-1]))


def condensed(t_s, current_a, voltage_v=None, max_gap_s=np.inf) -> Ticks:
    condenser = Condenser(max_gap_s)
    return join([condenser.take(t_s, current_a, voltage_v), condenser.finish()])


def starts(stages):
    return [stage.start_s for stage in stages]


@pytest.mark.parametrize("rate_hz", [5, 20, 50, 200, 1000])
@pytest.mark.parametrize("run_s", [54, 900])
def test_a_boot_is_parted_where_its_level_changes(rate_hz, run_s):
    t_s, current_a = samples([(OFF_A, 2), *BOOT, (0.19, run_s)], rate_hz, ripple=0.05)
    stages = stages_of(condensed(t_s, current_a), [2.0])
    assert starts(stages) == pytest.approx([0, 2, 2.35, 3.55, 6.05], abs=max(0.021, 1.01 / rate_hz))
    assert [stage.mean_a for stage in stages] == pytest.approx([OFF_A, 0.09, 0.26, 0.65, 0.19], rel=0.05)
    assert stages[-1].spread_a == pytest.approx(0.05 * 0.19, rel=0.35)


def test_it_is_the_same_boot_in_microseconds_and_in_hours():
    found = []
    for stretch in (1e-5, 1.0, 600.0):
        levels = [(level_a, for_s * stretch) for level_a, for_s in [(OFF_A, 2), *BOOT, (0.19, 54)]]
        found.append(np.array(starts(stages_of(condensed(*samples(levels, 400 / stretch)), [2 * stretch]))) / stretch)
    for other in found:
        assert other == pytest.approx([0, 2, 2.35, 3.55, 6.05], abs=0.051)  # up to 20 samples are a tick


@settings(deadline=None)
@given(factor=st.floats(1e-3, 1e3), shift_s=st.floats(-1e5, 1e5))
def test_neither_the_unit_nor_the_beginning_matters(factor, shift_s):
    t_s, current_a = samples([(OFF_A, 2), *BOOT, (0.19, 20)], 20)
    plain = stages_of(condensed(t_s, current_a), [2.0])
    other = stages_of(condensed(t_s + shift_s, current_a * factor), [2.0 + shift_s])
    assert np.array(starts(other)) - shift_s == pytest.approx(starts(plain), abs=1e-6)
    assert [stage.mean_a for stage in other] == pytest.approx([factor * stage.mean_a for stage in plain])


@given(
    seed=st.integers(0, 999),
    count=st.integers(1, 400),
    breaks_s=st.lists(st.floats(-1, 25), max_size=6),
    gap=st.integers(0, 400),
)
def test_the_charge_of_all_stages_is_that_of_the_trace(seed, count, breaks_s, gap):
    rng = np.random.default_rng(seed)
    t_s = np.arange(count) / 20 + 9.0 * (np.arange(count) > gap)
    current_a = np.abs(np.repeat(rng.normal(0, 0.5, count // 25 + 1), 25)[:count] + 0.01 * rng.standard_normal(count))
    ticks = condensed(t_s, current_a, np.full(count, 3.85), max_gap_s=1.0)
    stages = stages_of(ticks, breaks_s)
    assert sum(stage.charge_ma_s for stage in stages) == pytest.approx(1e3 * ticks.charge_as.sum())
    assert sum(stage.energy_j for stage in stages) == pytest.approx(3.85 * ticks.charge_as.sum())
    assert stages[0].start_s == t_s[0]
    assert stages[-1].end_s == t_s[-1]
    assert max(stage.peak_a for stage in stages) == current_a.max()
    for one, other in itertools.pairwise(stages):
        assert one.start_s < other.start_s
        assert one.end_s <= other.start_s
    lengths = np.array([np.sum((t_s >= stage.start_s) & (t_s < stage.end_s)) for stage in stages])
    if gap >= count:
        lengths[-1] += 1  # the last stage ends with its last sample, the others before the next one's first
        assert float(lengths @ [stage.mean_a for stage in stages]) == pytest.approx(current_a.sum())


def test_without_voltage_there_is_no_energy():
    t_s, current_a = samples([(0.2, 5), (0.5, 5)], 20)
    assert [stage.energy_j for stage in stages_of(condensed(t_s, current_a))] == [None, None]


def test_a_stage_before_a_gap_ends_with_its_last_sample():
    t_s, current_a = samples([(0.2, 5), (0.5, 5)], 20)
    first, second = stages_of(condensed(t_s + 30.0 * (t_s >= 5), current_a))
    assert (first.end_s, second.start_s) == (4.95, 35.0)


def test_a_gap_is_no_age():
    """What comes after a night without samples is read as finely as if they had followed at once."""
    t_s, current_a = samples([(0.2, 5), (0.5, 5), (0.3, 5)], 20)
    stages = stages_of(condensed(t_s + 30_000.0 * (t_s >= 5), current_a))
    assert starts(stages) == pytest.approx([0, 30_005, 30_010], abs=0.06)


def test_bursts_are_part_of_a_stages_spread():
    t_s, current_a = samples([(OFF_A, 2), *BOOT, (0.19, 120)], 1000)
    quiet = stages_of(condensed(t_s, current_a), [2.0])
    current_a[(t_s > 6.05) & ((t_s * 1000).astype(int) % 997 < 10)] *= 2  # 10 ms at twice the level, every second
    bursts = stages_of(condensed(t_s, current_a), [2.0])
    assert starts(bursts) == starts(quiet)
    assert bursts[-1].peak_a > 1.9 * bursts[-1].mean_a
    assert bursts[-1].spread_a > 2 * quiet[-1].spread_a


@pytest.mark.parametrize("times", [12, 40])
@pytest.mark.parametrize("awake_s", [0.5, 1.5, 2.0, 3.0])
def test_waking_up_now_and_then_is_one_stage(times, awake_s):
    t_s, current_a = samples([*BOOT, (0.19, 20), *[(0.012, 28), (0.3, awake_s)] * times, (0.012, 28)], 20)
    stages = stages_of(condensed(t_s, current_a))
    assert starts(stages) == pytest.approx([0, 0.35, 1.55, 4.05, 24.05], abs=0.3)


def test_a_change_that_lasts_late_in_a_long_run_is_a_stage():
    t_s, current_a = samples([*BOOT, (0.19, 2400), (0.34, 100), (0.19, 1100)], 20, ripple=0.1)
    assert starts(stages_of(condensed(t_s, current_a)))[-2:] == pytest.approx([2404.05, 2504.05], abs=0.2)


@pytest.mark.parametrize("rate_hz", [20, 1000])
def test_a_slope_is_one_stage_and_no_stairs(rate_hz):
    t_s, current_a = samples([*BOOT, (1.0, 50)], rate_hz)
    current_a[t_s > 4.05] *= 0.05 + 0.4 * np.exp(-(t_s[t_s > 4.05] - 4.05) / 10)  # charging that dies away
    assert starts(stages_of(condensed(t_s, current_a))) == pytest.approx([0, 0.35, 1.55, 4.05], abs=0.11)


def test_a_slow_rise_from_one_level_to_another_keeps_both():
    t_s, current_a = samples([(0.1, 20), (1.0, 3), (0.3, 20)], 20)
    current_a[(t_s >= 20) & (t_s < 23)] *= np.linspace(0.1, 0.3, 60)
    stages = stages_of(condensed(t_s, current_a))
    assert stages[0].mean_a == pytest.approx(0.1, rel=0.03)
    assert stages[-1].mean_a == pytest.approx(0.3, rel=0.03)
    assert 2 <= len(stages) <= 4


def test_breaks_part_what_is_alike():
    t_s, current_a = samples([(0.2, 20)], 20)
    stages = stages_of(condensed(t_s, current_a), [12.0, 5.0, 5.0, -3.0, 99.0])
    assert starts(stages) == [0.0, 5.0, 12.0]
    assert [stage.end_s for stage in stages] == [5.0, 12.0, t_s[-1]]


def test_a_break_within_a_tick_leaves_it_to_the_likelier_side():
    t_s, current_a = samples([(0.6, 4.015), (OFF_A, 0.39), (0.6, 4)], 1000)
    restart = stages_of(condensed(t_s, current_a), [4.015, 4.405])
    assert starts(restart) == pytest.approx([0.0, 4.02, 4.40], abs=1e-6)
    assert restart[1].peak_a < 2 * OFF_A


def test_each_boot_of_a_loop_is_parted_alike():
    boots = 9
    t_s, current_a = samples([(OFF_A, 2), *[*BOOT, (OFF_A, 0.4)] * boots], 20)
    begun_s = 2 + 4.45 * np.arange(boots)
    stages = stages_of(condensed(t_s, current_a), [*begun_s, *(begun_s + 4.05)])
    expected = [0.0, *(begun_s[:, np.newaxis] + [0, 0.35, 1.55, 4.05]).ravel()]
    assert starts(stages) == pytest.approx(expected, abs=0.06)


def test_of_very_many_boots_the_longest_are_looked_into():
    boots = MOST_PARTS + 40
    t_s, current_a = samples([*[(0.26, 1.2), (0.65, 1.2)] * boots, (0.26, 1.2), (0.65, 60)], 20)
    stages = stages_of(condensed(t_s, current_a), 2.4 * np.arange(1, boots + 1))
    begun = np.array(starts(stages))
    assert len(stages) == boots + 1 + MOST_PARTS
    assert begun[:5] == pytest.approx([0, 1.2, 2.4, 3.6, 4.8])
    assert begun[-4:-2] == pytest.approx([2.4 * (boots - 2), 2.4 * (boots - 1)])
    assert [stage.mean_a for stage in stages[-2:]] == pytest.approx([0.26, 0.65], rel=0.05)


@settings(max_examples=30, deadline=None)  # it may search a dozen times
@given(seed=st.integers(0, 200), each=st.integers(4, 60))
def test_there_are_never_more_than_a_person_reads(seed, each):
    rng = np.random.default_rng(seed)
    current_a = np.repeat(rng.uniform(0.01, 1.0, 3000 // each + 1), each)[:3000]
    assert len(stages_of(condensed(np.arange(3000) / 20, current_a))) <= MOST_STAGES


@pytest.mark.parametrize("current_a", [[], [0.2], [0.0] * 40, [0.2, 0.3], [-0.1] * 30])
def test_next_to_nothing_has_one_stage_at_most(current_a):
    stages = stages_of(condensed(np.arange(len(current_a)) / 20, np.array(current_a)), [0.0])
    assert len(stages) == min(len(current_a), 1)
    for stage in stages:
        assert stage.mean_a == pytest.approx(np.mean(current_a))
