"""The walk over the instruments without a daemon: each is reached, whatever the others do."""

from __future__ import annotations

import threading

import pytest

from wakerail.config import InstrumentConfig
from wakerail.serve import safe_state
from wakerail.serve.safe_state import PULL_ITS_PLUG, make_safe, seen_in
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import DeviceUnavailable, OutOfSync
from wakerail_kit.hooks import InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE, POWER_SOURCE, USB_WATCHER, Reading


class Driver:
    """An instrument that does what it is told, after ``fails`` refusals."""

    def __init__(self, kind, fails=0, shows=0.0, look=lambda: None):
        self.kind, self.fails, self.shows, self.look = kind, fails, shows, look
        self.safe = 0

    def make_safe(self):
        self.safe += 1
        if self.safe <= self.fails:
            raise OutOfSync("it is\nout of step")

    def open(self):
        self.look()

    def read(self):
        if self.kind is HEAT_SOURCE:
            return Reading({"temperature": [None, 211.94], "setpoint": [20.0, 20.0], "heater": [1.0, self.shows]})
        return Reading({"voltage": [0.01], "current": [0.0], "limiting": [0.0], "output": [self.shows]})

    def close(self): ...


def gone():
    raise DeviceUnavailable("gone")


def bench(**drivers):
    return [
        InstrumentConfig(name, InstrumentType(name, driver.kind, "", None), driver, "", "", 1.0, {})
        for name, driver in drivers.items()
    ]


def walked(*, tried_for_s=5.0, **drivers):
    states = make_safe(bench(**drivers), RealClock(), tried_for_s=tried_for_s)
    assert [state.instrument for state in states] == list(drivers)
    return [(state.safe, state.says) for state in states]


def test_each_is_switched_off_and_looked_at():
    plate, usb = Driver(HEAT_SOURCE, fails=2), Driver(USB_WATCHER)
    assert walked(supply=Driver(POWER_SOURCE), plate=plate, usb=usb) == [
        (True, "output off, 0 V"),
        (True, "heater off, 211.9 °C"),
        (True, "has nothing to switch off"),
    ]
    assert (plate.safe, usb.safe) == (3, 0)  # tried until it was done; what cannot hurt is let be


def test_what_is_not_seen_safe_is_said_and_what_to_do(monkeypatch):
    monkeypatch.setattr(safe_state, "LAST_CALL_S", 0.3)
    never = threading.Event()
    hangs = Driver(HEAT_SOURCE)
    hangs.make_safe = never.wait
    assert walked(
        tried_for_s=0.2,
        dead=Driver(POWER_SOURCE, fails=99),
        sticks=Driver(HEAT_SOURCE, shows=1.0),
        hangs=hangs,
        breaks=Driver(POWER_SOURCE, look=gone),
        stalls=Driver(POWER_SOURCE, look=never.wait),
        sound=Driver(POWER_SOURCE),
    ) == [
        (False, f"it is out of step; {PULL_ITS_PLUG}"),
        (False, f"it was told to switch off, and shows: heater on, 211.9 °C; {PULL_ITS_PLUG}"),
        (False, f"its driver does not come back; {PULL_ITS_PLUG}"),
        (True, "switched off"),
        (True, "switched off"),
        (True, "output off, 0 V"),
    ]
    never.set()


@pytest.mark.parametrize(
    ("signals", "seen"),
    [
        ({"heater": [0.0], "temperature": [None]}, (True, "heater off")),
        ({"heater": [0.0, 1.0], "temperature": [230.0]}, (False, "heater on, 230 °C")),
        ({"heater": [None], "temperature": [25.0]}, (None, "25 °C")),
        ({}, (None, "")),
    ],
)
def test_a_reading_tells_or_does_not(signals, seen):
    assert seen_in(HEAT_SOURCE, signals) == seen
