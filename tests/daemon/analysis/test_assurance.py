"""How sure a clean watch makes: bounds, the clean boots still owed, and what a window says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wakerail.analysis.assurance import (
    Repair,
    SequentialTest,
    clean_boots_owed,
    clean_trials_needed,
    clopper_pearson,
    rule_of_three,
    upper_bound,
    watching_time_s,
    window_says,
)
from wakerail.analysis.cadence import cadence_of

PLAN = SequentialTest(p_fixed=0.01, p_faulty=0.1, alpha=0.05, beta=0.1)
CONFIDENCES = st.floats(0.5, 0.999)


@st.composite
def counts(draw, least=0):
    trials = draw(st.integers(least, 400))
    return draw(st.integers(0, trials)), trials


@st.composite
def plans(draw):
    p_fixed = draw(st.floats(1e-4, 0.4))
    return SequentialTest(
        p_fixed, p_fixed + draw(st.floats(0.01, 0.5)), draw(st.floats(0.001, 0.3)), draw(st.floats(0.001, 0.3))
    )


# --- bounds ---


@given(counts(least=1), CONFIDENCES)
def test_the_interval_holds_the_share_that_was_seen(seen, confidence):
    events, trials = seen
    low, high = clopper_pearson(events, trials, confidence)
    assert 0.0 <= low <= events / trials <= high <= 1.0
    assert (low == 0.0) == (events == 0)
    assert (high == 1.0) == (events == trials)


@given(counts(), CONFIDENCES)
def test_the_interval_of_what_did_not_happen_is_the_mirror(seen, confidence):
    events, trials = seen
    low, high = clopper_pearson(events, trials, confidence)
    assert clopper_pearson(trials - events, trials, confidence) == pytest.approx((1 - high, 1 - low))


@given(counts(), CONFIDENCES, CONFIDENCES)
def test_more_confidence_is_a_wider_interval(seen, one, other):
    low, high = clopper_pearson(*seen, min(one, other))
    wider_low, wider_high = clopper_pearson(*seen, max(one, other))
    assert wider_low <= low + 1e-12
    assert wider_high >= high - 1e-12


@given(counts(), CONFIDENCES)
def test_a_clean_trial_more_lowers_the_bound_and_a_restart_more_raises_it(seen, confidence):
    events, trials = seen
    bound = upper_bound(events, trials, confidence)
    assert upper_bound(events, trials + 1, confidence) <= bound <= upper_bound(events + 1, trials + 1, confidence)


@pytest.mark.parametrize("trials", [1, 2, 5, 12, 30])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_the_coverage_counted_out_is_never_less_than_promised(trials, confidence):
    """Over a grid of true chances, sum the chances of the outcomes whose interval holds the true one."""
    chances = np.linspace(0.001, 0.999, 333)
    two_sided, one_sided = np.zeros_like(chances), np.zeros_like(chances)
    for events in range(trials + 1):
        outcome = math.comb(trials, events) * chances**events * (1 - chances) ** (trials - events)
        low, high = clopper_pearson(events, trials, confidence)
        two_sided += outcome * ((low <= chances) & (chances <= high))
        one_sided += outcome * (chances <= upper_bound(events, trials, confidence))
    assert two_sided.min() >= confidence - 1e-9
    assert one_sided.min() >= confidence - 1e-9


@given(st.integers(1, 5000))
def test_the_rule_of_three_is_above_the_exact_bound_and_near_it_from_thirty_on(trials):
    exact = upper_bound(0, trials)
    assert exact < rule_of_three(trials)
    assert trials < 30 or rule_of_three(trials) / exact < 1.06


@given(st.floats(0.001, 0.99), CONFIDENCES)
def test_the_trials_needed_are_just_enough(bound, confidence):
    needed = clean_trials_needed(bound, confidence)
    assert upper_bound(0, needed, confidence) <= bound * (1 + 1e-9)
    assert needed == 1 or upper_bound(0, needed - 1, confidence) >= bound * (1 - 1e-9)


def test_no_trial_shows_nothing():
    assert clopper_pearson(0, 0) == (0.0, 1.0)
    assert upper_bound(0, 0) == 1.0


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda: rule_of_three(0), "needs a trial"),
        (lambda: upper_bound(3, 2), "3 events do not go with 2 trials"),
        (lambda: clopper_pearson(-1, 2), "-1 events do not go with 2 trials"),
        (lambda: upper_bound(0, 2, 1.0), "confidence 1.0 must lie between 0 and 1"),
        (lambda: clean_trials_needed(0.0), "bound 0.0"),
        (lambda: SequentialTest(0.1, 0.1, 0.05, 0.05), "must ascend"),
        (lambda: SequentialTest(0.0, 0.1, 0.05, 0.05), "must ascend"),
        (lambda: SequentialTest(0.01, 0.1, 0.5, 0.5), "together below 1"),
        (lambda: window_says(-1.0, None), "must not be negative"),
    ],
)
def test_counts_that_cannot_be(ask, says):
    with pytest.raises(ValueError, match=says):
        ask()


# --- the sequential test ---


@given(plans(), st.integers(0, 400), st.data())
def test_the_lines_are_walds_likelihood_ratio(plan, boots, data):
    restarts = data.draw(st.integers(0, boots))
    ratio = restarts * math.log(plan.p_faulty / plan.p_fixed) + (boots - restarts) * math.log(
        (1 - plan.p_faulty) / (1 - plan.p_fixed)
    )
    accept, reject = math.log(plan.beta / (1 - plan.alpha)), math.log((1 - plan.beta) / plan.alpha)
    assume(min(abs(ratio - accept), abs(ratio - reject)) > 1e-9)
    wanted = Repair.FIXED if ratio < accept else Repair.NOT_FIXED if ratio > reject else Repair.GO_ON
    assert plan.state(restarts, boots) is wanted


@given(plans(), st.integers(0, 200), st.data())
def test_the_boots_owed_are_just_enough(plan, boots, data):
    restarts = data.draw(st.integers(0, boots))
    owed = clean_boots_owed(restarts, boots, plan)
    assert owed.state is plan.state(restarts, boots)
    if owed.state is Repair.NOT_FIXED:
        assert owed.clean_boots is None
        return
    assert plan.state(restarts, boots + owed.clean_boots) is Repair.FIXED
    assert (owed.clean_boots == 0) == (owed.state is Repair.FIXED)
    if owed.clean_boots:
        assert plan.state(restarts, boots + owed.clean_boots - 1) is not Repair.FIXED


@given(plans(), st.integers(0, 100))
def test_a_clean_boot_lowers_what_is_owed_by_one_and_a_restart_raises_it(plan, boots):
    owed = clean_boots_owed(0, boots, plan).clean_boots
    assert clean_boots_owed(0, boots + 1, plan).clean_boots == max(owed - 1, 0)
    after = clean_boots_owed(1, boots + 1, plan)
    assert after.clean_boots is None or after.clean_boots >= owed - 1


@pytest.mark.parametrize("is_fixed", [True, False])
def test_the_errors_stay_near_what_was_asked(is_fixed):
    """Boots by lot until the first decision; Wald bounds the error by alpha / (1 - beta) and beta / (1 - alpha)."""
    rng = np.random.default_rng(11)
    wrong = 0
    for _ in range(600):
        restarts = boots = 0
        while (state := PLAN.state(restarts, boots)) is Repair.GO_ON:
            boots += 1
            restarts += int(rng.random() < (PLAN.p_fixed if is_fixed else PLAN.p_faulty))
        wrong += state is not (Repair.FIXED if is_fixed else Repair.NOT_FIXED)
    bound = PLAN.alpha / (1 - PLAN.beta) if is_fixed else PLAN.beta / (1 - PLAN.alpha)
    assert 0 < wrong / 600 < bound + 4 * math.sqrt(bound / 600)


@pytest.mark.parametrize(
    ("restarts", "boots", "says"),
    [
        (0, 0, "Go on: no restarts in no boots; 24 more clean boots in a row to call it fixed."),
        (0, 23, "Go on: no restarts in 23 boots; 1 more clean boot in a row to call it fixed."),
        (
            0,
            24,
            (
                "Fixed: no restarts in 24 boots; a device that restarts in 10 % of its boots would pass for fixed "
                "with a chance of about 10 %."
            ),
        ),
        (
            2,
            10,
            (
                "Not fixed: 2 restarts in 10 boots; a fixed device, with restarts in 1 % of its boots, would come to "
                "this with a chance of about 5 %."
            ),
        ),
    ],
)
def test_what_the_technician_is_told(restarts, boots, says):
    assert clean_boots_owed(restarts, boots, PLAN).says == says


# --- a clean window ---


def cadence(*intervals_s):
    return cadence_of(np.cumsum([100.0, *intervals_s]), 0.0)


LOOP = cadence(180.0, 181.0, 179.0, 180.0)
ANY_TIME = cadence(9.0, 140.0, 30.0, 15.0, 77.0)


def test_a_window_without_an_earlier_cadence_is_one_boot():
    said = window_says(60.0, None)
    assert (said.intervals, said.bound) == (None, pytest.approx(0.95))
    assert said.says == (
        "One clean boot of 60 s: with 95 % confidence it restarts in less than 95 % of its boots, which says little. "
        "29 clean boots would bring that below 10 %."
    )


def test_a_window_shorter_than_the_earlier_interval_says_nothing():
    said = window_says(60.0, LOOP)
    assert (said.intervals, said.bound, said.enough_s) == (0, 1.0, 181.0)
    assert said.says == (
        "Before, it restarted about every 180 s; a window of 60 s is shorter than that and says nothing. "
        "Watch for more than 181 s, better three times as long."
    )


def test_a_regular_loop_is_gone_after_two_of_its_intervals():
    assert "gone" not in window_says(361.0, LOOP).says
    said = window_says(600.0, LOOP)
    assert said.intervals == 3
    assert said.bound == pytest.approx(1 - 0.05 ** (1 / 3))
    assert said.says == (
        "Before, it restarted about every 180 s; now 3 such intervals went by without a restart: the regular loop is "
        "gone. With 95 % confidence the chance of a restart is below 63 % for each."
    )


def test_restarts_at_any_time_need_many_clean_intervals():
    said = window_says(305.0, ANY_TIME)
    assert said.intervals == 10
    assert said.says == (
        "Before, it restarted about every 30 s; now 10 such intervals went by without a restart. With 95 % confidence "
        "the chance of a restart is below 26 % for each, and 14.5 min clean would bring that below 10 %."
    )
    assert "would" not in window_says(870.0, ANY_TIME).says


@given(st.floats(0.0, 1e5), st.floats(0.0, 1e5), st.sampled_from([LOOP, ANY_TIME, None]))
def test_a_longer_window_never_says_less(one_s, other_s, before):
    short, long = (window_says(window_s, before) for window_s in sorted((one_s, other_s)))
    assert long.bound <= short.bound
    assert before is None or long.intervals >= short.intervals


@given(st.floats(0.1, 1000.0), st.integers(1, 5), st.floats(0.0, 1.0))
def test_so_many_restarts_of_a_loop_fall_into_the_watching_time(period_s, restarts, phase):
    """A loop met at any phase: the first restart comes within a period, the others a period later each."""
    first_s = period_s * (1 - phase)
    assert first_s + (restarts - 1) * period_s <= watching_time_s(period_s, restarts) * (1 + 1e-12)
