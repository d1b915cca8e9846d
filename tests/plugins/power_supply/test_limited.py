"""A supply that remembers a moment of limiting: when the driver asks for it, and what it takes for none."""

from __future__ import annotations

import re

import pytest

from wakerail_kit.clock import SimulatedClock

#: As seldom as any shipped dialect asks again for what a supply remembers.
ASKED_AGAIN_S = 0.5
LATCH = re.compile(r"STAT:QUES(:INST:ISUM\d)?\?")


@pytest.fixture
def clock():
    return SimulatedClock()


@pytest.fixture
def supply(far, make, clock):
    driver = make(clock=clock)
    driver.open()
    driver.set_output(True)
    return driver


@pytest.fixture
def limiting(supply, clock):
    """Return a function giving what the next poll tells, that time later."""

    def limiting(after_s: float = 0.0):
        clock.advance(after_s)
        return supply.read().signals["limiting"]

    return limiting


def test_a_moment_between_two_polls_is_told_once(far, limiting):
    assert limiting() == [0.0]
    far.latched = "1"
    assert limiting(ASKED_AGAIN_S) == [1.0]
    assert limiting() == [0.0]
    assert limiting(ASKED_AGAIN_S) == [0.0]
    far.latched = "1"
    assert limiting(ASKED_AGAIN_S) == [1.0]


def test_a_supply_that_still_limits_says_so_in_every_poll(far, limiting):
    limiting()
    far.condition = far.latched = "1"
    assert [limiting(ASKED_AGAIN_S), limiting(), limiting(ASKED_AGAIN_S)] == [[1.0]] * 3
    far.condition = "0"
    assert limiting(ASKED_AGAIN_S) == [0.0]


@pytest.mark.parametrize("dialect", ["scpi-1999", "scpi-1999-channels", "scpi-1999-buffered"])
def test_what_was_before_the_opening_does_not_count(far, make, block, dialect):
    far.latched = "1"
    far.instead |= {f"{question} (@1)": b"0\n" for question in ("VOLT?", "CURR?", "OUTP?", "MEAS:VOLT?", "MEAS:CURR?")}
    far.instead["STAT:QUES:INST:ISUM1:COND?"] = b"0\n"
    driver = make(f"dialect: {dialect}")
    driver.open()
    assert far.latched == "0"
    far.blocks = {"CURR": [block(0.1)], "VOLT": [block(3.85)]}
    assert driver.read().signals["limiting"] == [0.0]


def test_charging_what_is_at_the_output_does_not_count(far, make, clock):
    """Not when it is switched on, and not when its voltage goes up."""
    far.inrush = "1"
    driver = make(clock=clock)
    driver.open()
    driver.set_output(True)
    assert driver.read().signals["limiting"] == [0.0]
    far.latched = "1"
    driver.set_voltage_v(4.2)
    assert driver.read().signals["limiting"] == [0.0]
    clock.advance(ASKED_AGAIN_S)
    assert driver.read().signals["limiting"] == [0.0]


def test_right_after_a_setting_only_what_is_so_now_is_asked(far, supply):
    """A voltage that still rises must never be told beside a limit that has passed: together they look like a short."""
    far.asked.clear()
    supply.read()
    assert "STAT:QUES:COND?" in far.asked
    assert not any(LATCH.fullmatch(question) for question in far.asked)


def test_of_a_block_the_last_sample_is_the_limited_one(far, make, clock, block):
    driver = make("dialect: scpi-1999-buffered", clock=clock)
    driver.open()
    driver.set_output(True)
    clock.advance(ASKED_AGAIN_S)
    far.latched = "1"
    assert driver.read().signals == {}  # nothing was sampled yet that could be told with it
    far.blocks = {"CURR": [block(0.1, 0.2, 0.3), block(0.4)], "VOLT": [block(3.85, 3.8, 3.85), block(3.85)]}
    clock.advance(ASKED_AGAIN_S)
    assert [driver.read().signals["limiting"] for _ in range(2)] == [[0.0, 0.0, 1.0], [0.0]]
