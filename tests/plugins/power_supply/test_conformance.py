"""The kit's conformance checks find a driver that breaks its promises; each mutant here breaks one."""

from __future__ import annotations

import math
import threading

import pytest

from wakerail_kit import conformance
from wakerail_kit.errors import ContractViolation, OutOfSync, WakerailError
from wakerail_kit.kinds import Reading


class Mutant:
    """A sound driver with some of its methods replaced."""

    waits = False

    def __init__(self, inner, **replaced) -> None:
        self._inner = inner
        self._replaced = replaced

    def __getattr__(self, name):
        if name in self._replaced:
            return lambda *arguments: self._replaced[name](self._inner, *arguments)
        return getattr(self._inner, name)


def energising_open(inner):
    identity = inner.open()
    inner.set_output(True)
    return identity


def trusting_read(inner):
    try:
        return inner.read()
    except OutOfSync:
        return Reading({name: [0.0] for name in ("voltage", "current", "limiting", "output")})


def once_trusting_read():
    """Passes one garbled answer on as data, and is out of step from then on."""
    trusted = []

    def read(inner):
        try:
            return inner.read()
        except OutOfSync:
            if trusted:
                raise
            trusted.append(True)
            return Reading({name: [0.0] for name in ("voltage", "current", "limiting", "output")})

    return read


def odd_read(value):
    return lambda inner: Reading({**inner.read().signals, "current": [value]})


def foreign_read(inner):
    raise OSError("device not configured")


def leaking_open(inner):
    threading.Thread(target=threading.Event().wait, args=(2.0,), daemon=True).start()
    return inner.open()


def raising_close(inner):
    inner.faults()
    inner.close()


def forgetful_make_safe(inner):
    """Does nothing where the link is broken."""
    try:
        inner.faults()
    except WakerailError:
        return
    inner.make_safe()


@pytest.mark.parametrize(
    ("check", "replaced", "says"),
    [
        ("opening_identifies_and_energises_nothing", {"open": energising_open}, "switched the instrument on"),
        ("opening_identifies_and_energises_nothing", {"open": lambda inner: None}, "not an Identity"),
        (
            "reading_gives_the_signals_of_the_kind",
            {"read": lambda inner: Reading({"voltage": [1.0]})},
            r"gave the signals \['voltage'\]",
        ),
        (
            "reading_gives_the_signals_of_the_kind",
            {"read": lambda inner: Reading({**inner.read().signals, "current": [1.0, 2.0]})},
            "different lengths",
        ),
        ("reading_gives_the_signals_of_the_kind", {"read": odd_read(math.nan)}, r"nor None: \[nan\]"),
        ("reading_gives_the_signals_of_the_kind", {"read": odd_read(-math.inf)}, r"nor None: \[-inf\]"),
        ("reading_gives_the_signals_of_the_kind", {"read": odd_read("0.1")}, r"nor None: \['0.1'\]"),
        ("making_safe_works_in_any_state", {"make_safe": forgetful_make_safe}, "left it on: the driver was closed"),
        ("closing_twice_is_allowed", {"close": raising_close}, "close raised DeviceUnavailable"),
        ("a_dead_link_is_told", {"read": foreign_read}, "read raised OSError: device not configured"),
        ("an_answer_out_of_step_stops_all_use", {"read": trusting_read}, "went on as if nothing had happened"),
        ("an_answer_out_of_step_stops_all_use", {"read": once_trusting_read()}, "went on as if nothing had happened"),
        ("only_the_kits_errors_leave_a_driver", {"read": foreign_read}, "let out a foreign OSError"),
        ("opening_and_closing_leaks_nothing", {"open": leaking_open}, "20 threads behind"),
    ],
)
def test_a_broken_promise_is_found(rig, monkeypatch, check, replaced, says):
    monkeypatch.setattr(conformance, "_PATIENCE_S", 0.2)
    sound = rig.driver
    rig.driver = lambda: Mutant(sound(), **replaced)
    with pytest.raises(ContractViolation, match=says):
        getattr(conformance, check)(rig)
