"""Restarts that nobody could see are said to be so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wakerail_sim.held_out.readings import Readings
from wakerail_sim.held_out.telling import Happened, Span, seen_restarts
from wakerail_sim.noise import Floats

RATE_HZ, ERROR_A = 100.0, 0.004
T_S = np.arange(4000) / RATE_HZ
EVEN_A = np.random.default_rng(1).normal(0.2, ERROR_A, len(T_S))
RESTART = Span(20.0, 20.0)


def with_level(from_s: float, to_s: float, current_a: float) -> Floats:
    start, end = np.searchsorted(T_S, [from_s, to_s])
    changed_a = EVEN_A.copy()
    changed_a[start:end] += current_a - 0.2
    return changed_a


def seen(current_a: Floats, *restarts: Span, boot_s: float = 2.0, held: int = 1, **more: tuple[Span, ...]) -> bool:
    restarts = restarts or (RESTART,)
    ends_s = tuple(restart.end_s + boot_s for restart in restarts)
    happened = replace(Happened(0.0, restarts, ends_s, ()), **more)  # type: ignore[arg-type]
    return seen_restarts(Readings(T_S, current_a, held, ERROR_A), RATE_HZ, happened)[-1]


def test_a_restart_after_which_all_goes_on_as_before_cannot_be_seen() -> None:
    assert not seen(EVEN_A)


@pytest.mark.parametrize(
    ("current_a", "restart"),
    [
        (with_level(20.0, 22.0, 0.3), RESTART),
        (with_level(20.0, 20.5, 0.15), RESTART),
        (with_level(20.0, 20.3, 0.0), Span(20.0, 20.3)),
        (with_level(20.0, 22.0, 0.203), RESTART),
    ],
)
def test_a_level_of_the_boot_a_step_or_a_gap_shows_it(current_a: Floats, restart: Span) -> None:
    assert seen(current_a, restart)


def test_too_few_samples_of_the_boot_or_of_the_run_before_do_not() -> None:
    booting_a = with_level(20.0, 22.0, 0.3)
    assert not seen(booting_a, boot_s=0.1)
    assert not seen(booting_a, held=20)
    assert not seen(booting_a, Span(0.02, 0.02), replace(RESTART, begin_s=0.04, end_s=20.0), boot_s=0.01)


def test_a_boot_that_is_like_another_one_is_seen_where_the_load_varies_as_much() -> None:
    chance = np.random.default_rng(2)
    noisy_a = np.repeat(chance.uniform(0.1, 0.4, 400), 10)
    boot_a = np.repeat(chance.uniform(0.1, 0.4, 40), 10)
    noisy_a[500:900] = noisy_a[2000:2400] = boot_a
    example = Span(5.0, 9.0)
    assert not seen(noisy_a, boot_s=4.0)
    assert seen(noisy_a, boot_s=4.0, examples=(example,))
    noisy_a[500:900] = np.repeat(chance.uniform(0.1, 0.4, 40), 10)
    assert not seen(noisy_a, boot_s=4.0, examples=(example,))
