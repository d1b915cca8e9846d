"""How long to watch, and what charging and a checklist come to."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.assurance import upper_bound, window_says
from wakerail.analysis.cadence import Regularity, cadence_of
from wakerail.analysis.proving import CHOICES, Answered, judge_charging, judge_checklist, proving_time
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.proving import Charging

REGULAR = cadence_of([3.2 * number for number in range(8)], 0.01)
IRREGULAR = cadence_of([0.0, 2.0, 50.0, 53.0, 160.0, 161.0, 220.0, 300.0], 0.01)
CHARGING = Charging(5.0, 1.5, 0.3, 1.1, 4.75, "made for this test")


def test_without_an_earlier_cadence_the_least_will_do():
    assert proving_time(60.0, 900.0, None).window_s == 60.0


def test_a_regular_loop_must_miss_three_rounds():
    assert REGULAR.regularity is Regularity.REGULAR
    long = proving_time(5.0, 900.0, REGULAR)
    assert long.window_s == pytest.approx(9.6, abs=0.1)
    assert "3 rounds" in long.says
    assert "the regular loop is gone" in window_says(long.window_s, REGULAR).says
    assert proving_time(60.0, 900.0, REGULAR).window_s == 60.0


def test_a_fault_that_comes_and_goes_must_stay_away_for_29_intervals():
    """As many clean trials as bring the exact bound below 10 %: 1 - 0.05 ** (1 / 29) = 9.8 %."""
    assert IRREGULAR.regularity is Regularity.IRREGULAR
    time = proving_time(60.0, 1e6, IRREGULAR)
    assert time.window_s == pytest.approx(29 * IRREGULAR.median_s)
    assert upper_bound(0, int(time.window_s / IRREGULAR.median_s)) < 0.1


def test_what_the_longest_leaves_open_is_said():
    time = proving_time(60.0, 600.0, IRREGULAR)
    assert time.window_s == 600.0
    assert "the most that was allowed" in time.says


@given(st.floats(1, 1e4), st.floats(1, 1e5), st.sampled_from([None, REGULAR, IRREGULAR]))
@settings(max_examples=60)
def test_the_time_lies_between_least_and_longest(least_s, more_s, cadence):
    assert least_s <= proving_time(least_s, least_s + more_s, cadence).window_s <= least_s + more_s


@pytest.mark.parametrize(
    ("current_a", "lowest_v", "limiting", "says"),
    [
        (0.85, 4.98, False, ""),
        (0.02, 5.0, False, "less than the 300 mA wanted"),
        (1.3, 4.9, False, "more than the 1.1 A allowed"),
        (1.5, 4.9, True, "held by the supply's limit"),
        (0.85, 4.2, False, "the voltage sags to 4.2 V"),
    ],
)
def test_charging_is_held_to_its_limits(current_a, lowest_v, limiting, says):
    proof = judge_charging(CHARGING, current_a, lowest_v, limiting=limiting)
    assert (proof.outcome == Outcome.FAILED, proof.finding == Finding.CHARGE_FAULT) == (bool(says), bool(says))
    assert says in proof.says
    assert (Outcome.FAILED in {one.outcome for one in proof.measurements}) == bool(says)


answers = st.lists(st.builds(Answered, st.text("abc", min_size=1), st.sampled_from([*CHOICES, ""])), min_size=1)


@given(answers)
@settings(max_examples=80)
def test_a_checklist_passes_only_if_somebody_looked_at_everything_and_all_works(answers):
    proof = judge_checklist(answers)
    said = [one.choice for one in answers]
    if "no" in said:
        assert (proof.outcome, proof.finding) == (Outcome.FAILED, Finding.FUNCTION_FAILED)
    elif "" in said or "yes" not in said:
        assert (proof.outcome, proof.finding) == (Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA)
    else:
        assert (proof.outcome, proof.finding) == (Outcome.PASSED, None)
    assert len(proof.measurements) == said.count("yes") + said.count("no")


def test_a_no_is_named_with_its_note():
    says = judge_checklist([Answered("scanner", "no", "only up close"), Answered("radio", "not there")]).says
    assert says == "1 of 1 functions failed: scanner (only up close). Not on this device: radio."
