"""What moments say together: which stand for different restarts, and how each fits in with the others."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.hindsight.deciding import are_among
from wakerail.analysis.hindsight.kin import NAMES
from wakerail.analysis.hindsight.moments import Moments
from wakerail.analysis.hindsight.together import describe_crowd, describe_together, distinct
from wakerail.analysis.hindsight.weighing import grown

SPACING_S = 0.02
LENGTH_S = 200.0
COUNT = 12


@dataclass
class Times:
    at_s: float
    again_s: float


def moments(times):
    at_s, again_s = np.array(times, dtype=np.float64).reshape(-1, 2).T
    unknown = np.full(len(at_s), np.nan)
    counts = np.zeros(len(at_s), dtype=np.int64)
    return Moments(counts, counts, at_s, again_s, *[unknown] * 7)


TIMES = st.tuples(st.floats(0, 100), st.floats(0, 3)).map(lambda pair: (pair[0], sum(pair)))


@given(st.lists(st.tuples(TIMES, st.floats(-8, 9)), max_size=30))
def test_of_moments_that_stand_for_one_restart_the_likeliest_is_kept(drawn):
    times, log_odds = [one for one, _ in drawn], np.array([odds for _, odds in drawn])
    kept = distinct(moments(times), log_odds, SPACING_S)
    picked = [Times(*times[place]) for place in np.flatnonzero(kept)]
    assert not any(are_among([one], [other for other in picked if other is not one], SPACING_S)[0] for one in picked)
    for place in np.flatnonzero(~kept):
        likelier = [one for one, odds in zip(picked, log_odds[kept], strict=True) if odds >= log_odds[place]]
        assert are_among([Times(*times[place])], likelier, SPACING_S) == [True]


def even(off_s=1.0, every_s=10.0):
    """Return moments of a device that is off for as long each time, and what describes them."""
    begins_s = 5.0 + every_s * np.arange(COUNT)
    columns = {
        "alike_at_best": np.full(COUNT, 12.0),
        "alike_by_the_second_stage": np.full(COUNT, 6.0),
        "opening_level_off": np.full(COUNT, 0.1),
        "level_before": np.full(COUNT, -0.3),
        "told": np.ones(COUNT),
        "share_from_elsewhere": np.zeros(COUNT),
        "dips_by": np.full(COUNT, 0.8),
        "seldom_dips_so": np.full(COUNT, 5.0),
        "times_so_low": np.full(COUNT, np.log1p(COUNT)),
        "times_so_high": np.full(COUNT, np.log1p(3 * COUNT)),
        "alone": np.full(COUNT, 2.0),
    }
    return np.stack([begins_s, begins_s + off_s], axis=1), columns


def together(times, columns, log_odds):
    return describe_together(moments(times), columns, log_odds, SPACING_S, LENGTH_S)


def test_what_comes_back_alike_and_evenly_varies_in_nothing():
    times, columns = even()
    said = together(times, columns, np.full(COUNT, 3.0))
    for name in ("off_varies", "intervals_vary", "opening_varies", "off_unlike_others", "opening_unlike_others"):
        assert said[f"likely_{name}"] == pytest.approx(0.0, abs=1e-9)
    assert said["likely_usually_alike"] == pytest.approx(12.0)
    assert said["how_many_likely"][0] == COUNT
    assert np.isnan(said["likely_interval_unlike_others"][0])  # nothing is before the first
    assert said["likely_interval_unlike_others"][1:] == pytest.approx(0.0, abs=1e-9)
    assert said["likely_times_so_low_for_each"] == pytest.approx(0.0, abs=1e-9)
    assert said["likely_times_so_high_for_each"] == pytest.approx(np.log(3.0), abs=0.1)


def test_one_that_is_unlike_the_others_is_seen_to_be():
    times, columns = even()
    times[4, 0] -= 3.0  # off for longer
    columns["alike_at_best"][4] = 2.0
    said = together(times, columns, np.full(COUNT, 3.0))
    others = np.arange(COUNT) != 4
    assert said["likely_off_unlike_others"][4] > said["likely_off_unlike_others"][others].max() + 1.0
    assert said["likely_more_alike_than_others"][4] < said["likely_more_alike_than_others"][others].min() - 5.0


def test_too_few_others_tell_nothing():
    times, columns = even()
    log_odds = np.full(COUNT, -5.0)
    log_odds[:2] = 3.0
    said = together(times, columns, log_odds)
    assert all(np.isnan(values).all() for name, values in said.items() if name.startswith(("likely", "possible")))
    assert said["so_far"] == pytest.approx(log_odds)


@given(st.lists(st.floats(-8, 8), min_size=COUNT, max_size=COUNT), st.floats(0.0, 1e4))
def test_when_the_recording_began_does_not_matter(log_odds, later_s):
    times, columns = even()
    times = times + np.random.default_rng(1).uniform(0, 0.4, times.shape)
    here, later = (together(moved, columns, np.array(log_odds)) for moved in (times, times + later_s))
    for name, values in here.items():
        assert later[name] == pytest.approx(values, abs=1e-6, nan_ok=True)


def test_several_moments_that_may_be_one_begin_are_counted_together():
    times, _ = even()
    crowded = moments(np.concatenate([times, times[:1] + 0.04, times[:1] + 0.08]))
    crowded.place[:] = np.rint(crowded.again_s / SPACING_S)
    order = np.argsort(crowded.place, kind="stable")
    crowded, alone = crowded.only(order), np.full(COUNT + 2, -1.0)
    said = describe_crowd(crowded, alone, np.arange(COUNT + 2))
    one = 1 / (1 + np.e)
    assert np.exp(said["expected_beside"]) == pytest.approx(np.array([3, 3, 3] + [1] * (COUNT - 1)) * one)
    assert said["share_beside"] == pytest.approx([1 / 3] * 3 + [1] * (COUNT - 1))


def test_the_forest_asks_for_nothing_that_is_not_said():
    times, columns = even()
    said = together(times, columns, np.full(COUNT, 3.0))
    crowd = describe_crowd(moments(times), np.full(COUNT, 3.0), np.arange(COUNT))
    for forest in (grown().together, grown().again):
        assert set(forest.names) == {*said, *crowd, *NAMES}
