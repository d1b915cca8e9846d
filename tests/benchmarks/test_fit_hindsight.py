"""Which moments the fit takes for restarts."""

import fit_hindsight
import numpy as np
import pytest
from _corpora import LIFELIKE
from fit_hindsight import describe, describe_again, describe_together, fit, were_restarts

from wakerail.analysis.hindsight.moments import Moments
from wakerail_sim.corpus import Truth, draw_faulty

TRUTH = Truth(1.0, ((10.0, 10.4), (20.0, 20.4), (30.0, 30.4)), (), ())


def moments(*times):
    at_s, again_s = np.array(times, dtype=np.float64).T
    counts = np.zeros(len(at_s), dtype=np.int64)
    return Moments(counts, counts, at_s, again_s, *[np.full(len(at_s), np.nan)] * 7)


def test_a_moment_is_a_restart_that_begins_with_one_or_dips_with_it():
    drawn = moments((10.0, 10.4), (20.0, 20.6), (30.2, 30.42), (20.6, 20.6), (15.0, 15.5))
    # the second's begin was hidden by the meter; the fourth is the same moment, but no dip
    assert were_restarts(drawn, TRUTH, 0.02).tolist() == [True, True, True, False, False]


def test_without_restarts_no_moment_is_one():
    assert not were_restarts(moments((1.0, 2.0)), Truth(None, (), (), ()), 0.02).any()


def test_a_recording_is_described_with_its_truth():
    *earlier, at_end = describe((43018, draw_faulty(43018, 20.0)))
    assert len(earlier) == 2
    assert all(one.look.length_s < at_end.look.length_s for one in earlier)
    for one in (*earlier, at_end):
        assert len(one.were_restarts) == len(one.look.moments)
    assert 0 < at_end.were_restarts.sum() <= 3 * len(at_end.truth.restarts)


def test_what_does_not_tell_is_not_learnt_from():
    seed = next(seed for seed in range(8) if not LIFELIKE.make(seed, "cold-once").telling)
    assert describe((seed, (LIFELIKE, "cold-once"))) == []


@pytest.mark.usefixtures("ensemble")
def test_forests_grown_on_some_recordings_tell_the_restarts_of_others(monkeypatch):
    monkeypatch.setattr(fit_hindsight, "TREES_ALONE", 120)
    monkeypatch.setattr(fit_hindsight, "TREES_TOGETHER", 80)
    scenes = [(LIFELIKE, "loop-fixed"), (LIFELIKE, "sleep-wake"), (LIFELIKE, "loop-same-stage")]
    learnt, others = (
        [made for seed in seeds for scene in scenes if (made := describe((seed, scene)))]
        for seeds in (range(8), range(8, 12))
    )
    forests = fit(learnt)
    said, truth = [], []
    for *_, one in others:
        alone = forests.alone.log_odds(one.look.columns)
        some = describe_together(one, alone)
        assert some is not None
        again = describe_again(one, alone, some, forests.together)
        said += (forests.again.log_odds(again.columns) > 0).tolist()
        truth += some.were_restarts.tolist()
    right = np.array(said) == np.array(truth)
    assert np.mean(right[truth]) > 0.6
    assert np.mean(right[~np.array(truth)]) > 0.95
