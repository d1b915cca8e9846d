"""Which moments count as restarts, given the verdicts and what stood before."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from wakerail.analysis.hindsight.deciding import nearest_of, restarts_of, stand_for
from wakerail.analysis.hindsight.look import Verdict
from wakerail.analysis.sorts import Sort

SPACING_S = 0.02


@dataclass
class Stood:
    at_s: float
    again_s: float


def verdict(at_s, again_s, log_odds=3.0):
    return Verdict(Sort.DIP, at_s, again_s, 0.01, 5.0, dipped=False, log_odds=log_odds)


def verdicts(*log_odds):
    """Return verdicts ten seconds apart."""
    return [verdict(10.0 * place, 10.0 * place + 0.5, each) for place, each in enumerate(log_odds)]


@pytest.mark.parametrize(
    ("log_odds", "count"),
    [
        ((2.0, 2.0, 2.0), [0, 1, 2]),
        ((2.0, 2.0, -1.0), [0, 1, 2]),  # in doubt
        ((2.0, 2.0, -4.0), [0, 1]),  # refuted
        ((-4.0, -1.0, -4.0), []),  # where most is refuted, what is in doubt falls with it
        ((-1.0, -1.5, -0.5), [0, 1, 2]),  # in doubt, all of it
    ],
)
def test_what_stood_stays_where_it_is_in_doubt_and_goes_where_it_is_refuted(log_odds, count):
    given = verdicts(*log_odds)
    restarts = restarts_of(given, [Stood(one.at_s, one.again_s) for one in given], SPACING_S)
    assert sorted(given.index(one) for one in restarts) == count


def test_what_did_not_stand_has_to_be_sure():
    given = verdicts(2.0, -0.1, 0.1)
    assert restarts_of(given, [Stood(0.0, 0.5)], SPACING_S) == [given[0], given[2]]


def test_where_nothing_stood_there_has_to_be_more_than_a_likeness():
    assert restarts_of(verdicts(0.7, 0.3), [], SPACING_S) == []
    assert len(restarts_of(verdicts(0.9, 0.3), [], SPACING_S)) == 2


def test_of_two_that_stand_for_one_restart_the_nearer_does():
    stood = [Stood(1.0, 1.4), Stood(1.0, 1.51), Stood(5.0, 5.2), Stood(9.0, 9.4)]
    assert stand_for(stood, [verdict(1.0, 1.5), verdict(9.0, 9.41)], SPACING_S) == [False, True, False, True]


def test_two_restarts_may_each_be_stood_for():
    stood = [Stood(1.0, 1.4), Stood(1.5, 1.8)]
    assert stand_for(stood, [verdict(1.0, 1.4), verdict(1.5, 1.8)], SPACING_S) == [True, True]
    assert stand_for([], [verdict(1.0, 1.4)], SPACING_S) == []


def test_the_nearest_of_those_that_stand_for_the_same_is_found():
    stood = [Stood(1.0, 1.4), Stood(1.0, 1.51), Stood(5.0, 5.2)]
    assert nearest_of(verdict(1.0, 1.5), stood, SPACING_S) == 1
    assert nearest_of(verdict(3.0, 3.5), stood, SPACING_S) is None
    assert nearest_of(verdict(3.0, 3.5), [], SPACING_S) is None
