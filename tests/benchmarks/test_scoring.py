"""The figures of the quality report are right: pairs, shares and rates with their intervals."""

from __future__ import annotations

import _scoring as scoring
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson

from wakerail_sim.corpus import Case


def found(*times: tuple[float, float]) -> list[object]:
    return [scoring.Found(at_s, again_s, again_s + 0.2, "") for at_s, again_s in times]


def test_one_near_time_is_enough_to_belong_together() -> None:
    truth = [(10.0, 11.0), (20.0, 21.0), (30.0, 31.0)]
    pairs, missed, invented = scoring.match(truth, found((10.1, 15.0), (5.0, 21.3), (32.0, 33.0)), 0.01)
    assert [(pair.at_off_s, pair.again_off_s) for pair in pairs] == [
        (pytest.approx(0.1), pytest.approx(4.0)),
        (pytest.approx(15.0), pytest.approx(0.3)),
    ]
    assert missed == [(30.0, 31.0)]
    assert [one.at_s for one in invented] == [32.0]


def test_three_samples_are_near_on_a_slow_meter() -> None:
    assert scoring.match([(10.0, 10.0)], found((10.58, 10.58)), 0.01)[0] == []
    assert len(scoring.match([(10.0, 10.0)], found((10.58, 10.58)), 0.2)[0]) == 1


def test_each_true_restart_takes_only_one() -> None:
    pairs, missed, invented = scoring.match([(1.0, 1.0), (1.3, 1.3)], found((1.29, 1.29), (1.0, 1.0), (1.1, 1.1)), 0.01)
    assert len(pairs) == 2
    assert sum(pair.again_off_s for pair in pairs) == pytest.approx(0.01)
    assert missed == []
    assert [one.at_s for one in invented] == [1.1]


def test_latency_counts_from_the_true_begin_of_the_boot() -> None:
    (pair,), _, _ = scoring.match([(10.0, 11.0)], found((10.0, 11.1)), 0.01)
    assert pair.latency_s == pytest.approx(0.3)


@given(total=st.integers(1, 400), data=st.data())
def test_a_share_s_interval_leaves_a_fortieth_on_either_side(total: int, data: st.DataObject) -> None:
    hits = data.draw(st.integers(0, total))
    figure, low, high = scoring.share(hits, total)
    assert low <= figure <= high
    assert hits == 0 or binom.sf(hits - 1, total, low) == pytest.approx(0.025, abs=1e-6)
    assert hits == total or binom.cdf(hits, total, high) == pytest.approx(0.025, abs=1e-6)


@given(count=st.integers(0, 200), hours=st.floats(0.1, 1000))
def test_a_rate_s_interval_leaves_a_fortieth_on_either_side(count: int, hours: float) -> None:
    figure, low, high = scoring.rate(count, hours)
    assert low <= figure <= high
    assert count == 0 or poisson.sf(count - 1, low * hours) == pytest.approx(0.025, abs=1e-6)
    assert poisson.cdf(count, high * hours) == pytest.approx(0.025, abs=1e-6)


def test_nothing_gives_no_figure() -> None:
    assert scoring.share(0, 0) is None
    assert scoring.rate(0, 0.0) is None
    assert scoring.summary([])["recall"] is None


def test_a_summary_keeps_healthy_and_faulty_apart() -> None:
    faulty = Case(20.0, 60.0, "single")
    pair = scoring.Pair(0.1, 0.05, 0.4)
    scores = [
        scoring.Score(1, faulty, (), 60.0, (pair,), ((50.0, 51.0),), (), 1, 2, 0),
        scoring.Score(2, faulty, (), 60.0, (pair, pair), (), (), 0, 1, 0),
        scoring.Score(3, Case(20.0, 3600.0), (), 180_000.0, (), (), tuple(found((5.0, 6.0))), 0, 0, 4),
    ]
    figures = scoring.summary(scores)
    assert figures["recall"][0] == 0.75
    assert figures["precision"][0] == 1.0
    assert figures["false_per_100h"][0] == 2.0
    assert figures["read_without_error"][0] == 0.5
    assert figures["again_off_samples"] == [1.0, 1.0]
    assert figures["latency_s"] == [0.4, 0.4]
    assert figures["taken_back"] == 1
    assert figures["recall_live"][0] == 0.75
    assert figures["false_live"] == 4
