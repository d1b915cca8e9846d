"""Which moments are kin: the same comes after them."""

import numpy as np
import pytest

from wakerail.analysis.hindsight.grid import Grid
from wakerail.analysis.hindsight.kin import NAMES, describe_kin, surroundings
from wakerail.analysis.scale import Scale
from wakerail.analysis.trail import Trail

RATE_HZ, FLOOR_A, COUNT = 50.0, 0.001, 12
BOOT = np.concatenate([np.full(6, 0.5), np.full(9, 0.15), np.full(12, 0.7), np.full(25, 0.3)])
WORK_A = 0.2


def recorded(begins, pieces, chance):
    """Return a grid of a device that works, and does some ``pieces`` at ticks where they begin."""
    level_a = WORK_A * np.exp(chance.normal(0.0, 0.02, 4000))
    for begin, piece in zip(begins, pieces, strict=True):
        level_a[begin : begin + len(piece)] = piece * np.exp(chance.normal(0.0, 0.02, len(piece)))
    trail = Trail()
    for place, each_a in enumerate(level_a.tolist()):
        trail.add(place / RATE_HZ, each_a, 3 / RATE_HZ)
    levels_a = np.asarray(trail.level_a)
    return Grid(trail, levels_a, levels_a, Scale(0.0, FLOOR_A, 0.5), 1 / RATE_HZ)


def described(begins, pieces, log_odds=0.0, seed=5):
    places = np.array(begins)
    grid = recorded(begins, pieces, np.random.default_rng(seed))
    return describe_kin(surroundings(grid, places), places / RATE_HZ, np.full(len(places), log_odds))


def loads(chance, count):
    """Return pieces of work that are all unlike: a level or two, for as long as it takes."""
    return [np.repeat(chance.uniform(0.1, 0.9, 5), chance.integers(4, 16, 5)) for _ in range(count)]


EVEN = 200 + 300 * np.arange(COUNT)


def test_boots_that_come_back_are_kin_and_work_is_not():
    chance = np.random.default_rng(7)
    some = np.arange(COUNT) % 2 == 0
    work = iter(loads(chance, COUNT))
    said = described(EVEN, [BOOT if boots else next(work) for boots in some])
    assert said["kin_best"][some].min() > said["kin_best"][~some].max()
    assert np.expm1(said["kin_count"][some]).min() == pytest.approx(some.sum() - 1)
    assert np.expm1(said["kin_count"][~some]).max() <= 1


def test_an_even_loop_is_told_from_what_comes_when_it_likes():
    chance = np.random.default_rng(2)
    irregular = np.cumsum(chance.integers(80, 500, COUNT))
    even, uneven = (described(begins, [BOOT] * COUNT) for begins in (EVEN, irregular))
    assert even["kin_intervals_vary"].max() < 0.01
    assert uneven["kin_intervals_vary"].min() > 0.1
    assert np.exp(even["kin_interval"]) == pytest.approx(6.0)


def test_what_was_before_tells_the_begin_of_a_boot_from_a_later_part():
    chance = np.random.default_rng(4)
    pieces = [np.concatenate([piece[:20], BOOT]) for piece in loads(chance, COUNT)]
    begins = EVEN + np.array([len(piece) - len(BOOT) for piece in pieces])
    grid = recorded(EVEN, pieces, chance)
    both = np.sort(np.concatenate([begins, begins + 15]))  # the begin, and a later stage
    said = describe_kin(surroundings(grid, both), both / RATE_HZ, np.zeros(len(both)))
    begin = np.isin(both, begins)
    assert np.median(said["kin_same_before"][begin]) < 0.3
    assert np.median(said["kin_same_before"][~begin]) > 0.7


def test_only_what_may_be_a_restart_is_held_against():
    chance = np.random.default_rng(3)
    grid = recorded(EVEN, [BOOT] * COUNT, chance)
    log_odds = np.where(np.arange(COUNT) < 3, 0.0, -8.0)
    said = describe_kin(surroundings(grid, EVEN), EVEN / RATE_HZ, log_odds)
    assert np.expm1(said["kin_count"]) == pytest.approx(np.where(np.arange(COUNT) < 3, 2, 3))


def test_two_are_too_few_to_tell():
    said = described(EVEN[:2], [BOOT] * 2)
    assert tuple(said) == NAMES
    assert all(np.isnan(numbers).all() for numbers in said.values())


def test_what_lasts_at_the_usual_level_is_kin_to_nothing():
    said = described(EVEN, [np.full(130, WORK_A)] * COUNT)
    assert np.abs(said["kin_usually"]).max() < 5.0
    assert described(EVEN, [BOOT] * COUNT)["kin_usually"].min() > 8.0
