"""Bounds and the sequential test against scipy.stats and published examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from wakerail.analysis.assurance import (
    Repair,
    SequentialTest,
    clean_boots_owed,
    clean_trials_needed,
    clopper_pearson,
    rule_of_three,
    upper_bound,
    watching_time_s,
)


@given(st.integers(1, 500), st.floats(0.0, 1.0), st.floats(0.5, 0.999))
def test_the_exact_interval_is_scipys(trials, share, confidence):
    events = round(share * trials)
    theirs = stats.binomtest(events, trials).proportion_ci(confidence, method="exact")
    assert clopper_pearson(events, trials, confidence) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    one_sided = stats.binomtest(events, trials, alternative="less").proportion_ci(confidence, method="exact")
    assert upper_bound(events, trials, confidence) == pytest.approx(one_sided.high, abs=1e-9)


@pytest.mark.parametrize(
    ("events", "trials", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_newcombes_table(events, trials, low, high):
    """R. G. Newcombe, Stat. Med. 17, 1998, 857-872, table I, exact method."""
    assert clopper_pearson(events, trials) == pytest.approx((low, high), abs=5.1e-5)


def test_the_handbooks_interval():
    """NIST/SEMATECH e-Handbook 7.2.4.1: 4 of 20 at 90 %."""
    assert clopper_pearson(4, 20, 0.9) == pytest.approx((0.071354, 0.401029), abs=1.5e-6)


@pytest.mark.parametrize(
    ("trials", "exact"),
    [
        (3, 0.6316),
        (5, 0.4507),
        (10, 0.2589),
        (20, 0.1391),
        (30, 0.0950),
        (50, 0.0582),
        (100, 0.0295),
        (300, 0.0099),
        (1000, 0.0030),
    ],
)
def test_nothing_seen_in_so_many_trials(trials, exact):
    """1 - 0.05^(1/n) and 3/n: J. A. Hanley and A. Lippman-Hand, JAMA 249, 1983, 1743-1745."""
    assert upper_bound(0, trials) == pytest.approx(exact, abs=5.1e-5)
    assert rule_of_three(trials) == pytest.approx(3 / trials)


@pytest.mark.parametrize(("trials", "share"), [(50, 0.06), (1000, 0.003)])
def test_the_rules_own_examples(trials, share):
    """JAMA 274, 1995, 1013: none in 50 is up to 6 %, none in 1000 up to 0.3 %."""
    assert rule_of_three(trials) == pytest.approx(share)


@pytest.mark.parametrize(("reliability", "trials"), [(0.90, 29), (0.95, 59), (0.99, 299)])
def test_the_success_run(reliability, trials):
    """ln 0.05 / ln R, the success-run theorem at 95 % confidence."""
    assert clean_trials_needed(1 - reliability) == trials


@pytest.mark.parametrize(("confidence", "numerator"), [(0.97, 3.51), (0.99, 4.61), (0.995, 5.30)])
def test_other_confidences_have_other_numerators(confidence, numerator):
    """-ln(1 - confidence) in place of 3 (the same letter's generalisation); the bound tends to it over n."""
    assert 10_000 * upper_bound(0, 10_000, confidence) == pytest.approx(numerator, abs=0.006)


# NIST/SEMATECH e-Handbook 6.2.6, Wald's plan for p1 0.01, p2 0.10, alpha 0.05, beta 0.10
HANDBOOK = SequentialTest(p_fixed=0.01, p_faulty=0.10, alpha=0.05, beta=0.10)


def test_the_handbooks_lines():
    """h1 0.939, h2 1.205, s 0.0397."""
    lines = (HANDBOOK.accept_at, HANDBOOK.reject_at, HANDBOOK.slope)
    assert lines == pytest.approx((0.939, 1.205, 0.0397), abs=5.1e-4)


def test_the_handbooks_reject_counts():
    """2 up to n = 19, 3 for 21 to 45, 4 from 46 on (20 is a rounding edge and left out)."""
    counts = {
        boots: next((bad for bad in range(boots + 1) if HANDBOOK.state(bad, boots) is Repair.NOT_FIXED), None)
        for boots in range(1, 51)
    }
    assert counts[1] is None
    assert {counts[boots] for boots in range(2, 20)} == {2}
    assert {counts[boots] for boots in range(21, 46)} == {3}
    assert {counts[boots] for boots in range(46, 51)} == {4}


def test_the_handbooks_accept_counts():
    """None before n = 24, 0 for 24 to 48, 1 from 49, 3 at 100 (2 from about 74, a rounding edge, so from 75)."""
    counts = {
        boots: max((bad for bad in range(boots + 1) if HANDBOOK.state(bad, boots) is Repair.FIXED), default=None)
        for boots in range(1, 101)
    }
    assert {counts[boots] for boots in range(1, 24)} == {None}
    assert {counts[boots] for boots in range(24, 49)} == {0}
    assert {counts[boots] for boots in range(49, 74)} == {1}
    assert {counts[boots] for boots in range(75, 99)} == {2}
    assert counts[100] == 3
    assert clean_boots_owed(0, 0, HANDBOOK).clean_boots == 24
    assert clean_boots_owed(1, 1, HANDBOOK).clean_boots == 48


@pytest.mark.parametrize(
    ("alpha", "beta", "log_reject", "log_accept"),
    [
        (0.05, 0.10, 2.8904, -2.2513),
        (0.05, 0.05, 2.9444, -2.9444),
        (0.01, 0.05, 4.5539, -2.9857),
        (0.1, 0.1, 2.1972, -2.1972),
    ],
)
def test_walds_stop_limits(alpha, beta, log_reject, log_accept):
    """A. Wald, Ann. Math. Stat. 16, 1945: ln A and ln B; a restart weighs ln(p2 (1 - p1) / (p1 (1 - p2))) more."""
    plan = SequentialTest(0.01, 0.10, alpha, beta)
    weight = math.log(0.10 * 0.99 / (0.01 * 0.90))
    assert plan.reject_at * weight == pytest.approx(log_reject, abs=5.1e-5)
    assert -plan.accept_at * weight == pytest.approx(log_accept, abs=5.1e-5)


def test_the_time_to_watch_a_three_minute_loop():
    """T, 2T and 3T for one, two and three restarts, whatever the phase (arithmetic)."""
    assert [watching_time_s(180.0, restarts) for restarts in (1, 2, 3)] == [180.0, 360.0, 540.0]
