"""The contract of the kinds as checks that a plugin's own tests run against its driver, whatever test runner.

With pytest, all of it is four lines; ``rig`` is a fixture that the plugin writes, giving a Rig::

    @pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
    def test_contract(check, rig):
        check(rig)

Each check takes a fresh Rig and raises ContractViolation, saying in one line which promise was broken and how.
"""

from __future__ import annotations

import contextlib
import gc
import math
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

from wakerail_kit.errors import ContractViolation, DeviceRefused, DeviceUnavailable, OutOfSync, WakerailError
from wakerail_kit.event_data import EventData
from wakerail_kit.kinds import Instrument, Kind
from wakerail_kit.messages import Identity

CYCLES = 20
_PATIENCE_S = 5.0


class Rig(Protocol):
    """A driver's far end, simulated or real, in the hands of a test.

    ``kind`` is the driver's. The far end answers when a check starts, and its output is off.
    """

    kind: Kind

    def driver(self) -> Instrument:
        """Return a fresh driver for the far end, not opened."""
        ...

    def energised(self) -> bool:
        """Return whether the far end itself has its output or heater on; False for a kind that has none."""
        ...

    def cut(self) -> None:
        """Break the link and refuse new ones, as if the plug were pulled from the far end's interface."""
        ...

    def garble(self) -> None:
        """Make answers on links that are open now come garbled, from the next one on; links opened later are sound.

        Where a driver does not ask at each ``read``, its clock in the rig must make it do so.
        """
        ...

    def restore(self) -> None:
        """Let the far end be reached again after ``cut``."""
        ...


def opening_identifies_and_energises_nothing(rig: Rig) -> None:
    """``open`` returns who the instrument is, and leaves it off."""
    with _opened(rig) as (_, identity):
        _demand(isinstance(identity, Identity), f"open returned {identity!r}, not an Identity")
        _demand(bool(identity.text), "open returned an identity without text")
        _demand(not rig.energised(), "open switched the instrument on")


def reading_gives_the_signals_of_the_kind(rig: Rig) -> None:
    """``read`` gives samples of the kind's signals, all of one length, each a finite number or None."""
    with _opened(rig) as (driver, _):
        for _ in range(3):
            reading = driver.read()
            if reading.signals:
                names, wanted = set(reading.signals), set(rig.kind.signals)
                _demand(names == wanted, f"read gave the signals {sorted(names)}, the kind has {sorted(wanted)}")
            lengths = {len(samples) for samples in reading.signals.values()}
            _demand(len(lengths) <= 1, f"read gave signals of different lengths {sorted(lengths)}")
            if reading.spacing_s is None:
                _demand(lengths <= {1}, "read gave several samples but no spacing_s")
            for name, samples in reading.signals.items():
                wrong = [value for value in samples if value is not None and not _is_number(value)]
                _demand(not wrong, f"the samples of {name} are neither finite numbers nor None: {wrong[:3]!r}")


def a_test_tells_what_it_found(rig: Rig) -> None:
    """Each test of the kind gives an event about the instrument, or is refused; numbers in it are finite."""
    with _opened(rig) as (driver, _):
        for name, method in rig.kind.tests.items():
            try:
                found = getattr(driver, method)()
            except DeviceRefused:
                continue  # this sort of instrument has no such function
            _demand(isinstance(found, EventData), f"{method} returned {found!r}, not what happened")
            value = getattr(found, "value", None)
            _demand(value is None or _is_number(value), f"{method} told {value!r} for the {name}, no finite number")


def making_safe_works_in_any_state(rig: Rig) -> None:
    """``make_safe`` switches off a driver that is open, closed, never opened, or out of step."""
    for state in ("open", "closed", "never opened", "out of step"):
        user = rig.driver()
        user.open()
        _energise(user, rig)
        driver = user
        if state == "closed":
            user.close()
        elif state == "never opened":
            user.close()
            driver = rig.driver()
        elif state == "out of step":
            rig.garble()
            _expect(user, "read", OutOfSync, DeviceUnavailable)
        try:
            driver.make_safe()
            _demand(_eventually(lambda: not rig.energised()), f"make_safe left it on: the driver was {state}")
        finally:
            driver.close()


def closing_twice_is_allowed(rig: Rig) -> None:
    """``close`` never raises: before ``open``, twice, or with the far end gone."""
    driver = rig.driver()
    _close(driver)
    driver.open()
    _close(driver)
    _close(driver)
    driver.open()
    rig.cut()
    _close(driver)
    _close(driver)


def a_dead_link_is_told(rig: Rig) -> None:
    """With the far end gone, ``read`` and ``open`` raise DeviceUnavailable or OutOfSync, again and again."""
    with _opened(rig) as (driver, _):
        rig.cut()
        for _ in range(2):
            _expect(driver, "read", OutOfSync, DeviceUnavailable)
        for _ in range(2):
            _expect(driver, "open", OutOfSync, DeviceUnavailable)
        _expect(driver, "read", OutOfSync, DeviceUnavailable)


def an_answer_out_of_step_stops_all_use(rig: Rig) -> None:
    """After a garbled answer ``read`` is refused until ``open``; then it works."""
    with _opened(rig) as (driver, _):
        rig.garble()
        for _ in range(2):
            _expect(driver, "read", OutOfSync, DeviceUnavailable)
        driver.open()
        driver.read()


def reopening_works(rig: Rig) -> None:
    """After the far end was gone and is back, ``open`` and ``read`` work on the same driver."""
    with _opened(rig) as (driver, identity):
        rig.cut()
        _expect(driver, "read", OutOfSync, DeviceUnavailable)
        rig.restore()
        again = driver.open()
        _demand(again == identity, f"reopened, it identified as {again!r}, before as {identity!r}")
        driver.read()


def only_the_kits_errors_leave_a_driver(rig: Rig) -> None:
    """Every method, on a driver never opened, cut off, and closed, returns or raises one of the kit's errors."""
    for state in ("never opened", "cut off", "closed"):
        driver = rig.driver()
        if state != "never opened":
            driver.open()
        if state == "closed":
            driver.close()
        if state == "cut off":
            rig.cut()
        for method, arguments in _calls(rig.kind):
            try:
                getattr(driver, method)(*arguments)
            except (DeviceUnavailable, DeviceRefused, OutOfSync) as told:
                _demand("\n" not in str(told), f"{method} raised more than one line: {told}")
            except Exception as leaked:
                kind = type(leaked).__name__
                raise ContractViolation(f"{method}, {state}, let out a foreign {kind}: {leaked}") from leaked
        driver.close()
        rig.restore()


def opening_and_closing_leaks_nothing(rig: Rig) -> None:
    """Opening and closing many times leaves no descriptor and no thread behind."""
    driver = rig.driver()
    driver.open()
    driver.read()
    driver.close()
    gc.collect()
    descriptors, threads = _descriptors(), threading.active_count()
    for _ in range(CYCLES):
        driver.open()
        driver.read()
        driver.close()
    gc.collect()
    settled = _eventually(lambda: _descriptors() <= descriptors and threading.active_count() <= threads)
    _demand(
        settled,
        f"{CYCLES} times open and close left {_descriptors() - descriptors} descriptors and "
        f"{threading.active_count() - threads} threads behind",
    )


CHECKS: tuple[Callable[[Rig], None], ...] = (
    opening_identifies_and_energises_nothing,
    reading_gives_the_signals_of_the_kind,
    a_test_tells_what_it_found,
    making_safe_works_in_any_state,
    closing_twice_is_allowed,
    a_dead_link_is_told,
    an_answer_out_of_step_stops_all_use,
    reopening_works,
    only_the_kits_errors_leave_a_driver,
    opening_and_closing_leaks_nothing,
)


def _is_number(value: object) -> bool:
    return isinstance(value, float) and math.isfinite(value)


def _demand(kept: bool, says: str) -> None:
    if not kept:
        raise ContractViolation(says)


def _expect(driver: Instrument, method: str, *errors: type[WakerailError]) -> None:
    """Demand one of ``errors`` from the very first call: one answer passed on that is none is a false measurement."""
    try:
        getattr(driver, method)()
    except errors:
        return
    except Exception as other:
        raise ContractViolation(f"{method} raised {type(other).__name__}: {other}") from other
    names = " or ".join(error.__name__ for error in errors)
    raise ContractViolation(f"{method} went on as if nothing had happened; {names} was due")


def _close(driver: Instrument) -> None:
    try:
        driver.close()
    except Exception as raised:
        raise ContractViolation(f"close raised {type(raised).__name__}: {raised}") from raised


@contextlib.contextmanager
def _opened(rig: Rig) -> Iterator[tuple[Instrument, Identity]]:
    driver = rig.driver()
    identity = driver.open()
    try:
        yield driver, identity
    finally:
        driver.close()


def _energise(driver: Instrument, rig: Rig) -> None:
    for name in rig.kind.must_be_limited:  # a driver may refuse to switch on before these are set
        getattr(driver, rig.kind.settings[name].method)(1.0)
    for setting in rig.kind.settings.values():
        if setting.energises:
            getattr(driver, setting.method)(True)
            _demand(_eventually(rig.energised), f"{setting.method}(True) did not switch the far end on")


def _calls(kind: Kind) -> list[tuple[str, tuple[Any, ...]]]:
    sets = [(setting.method, (1.0 if setting.unit else False,)) for setting in kind.settings.values()]
    tests = [(method, ()) for method in kind.tests.values()]
    return [("read", ()), *sets, *tests, ("faults", ()), ("make_safe", ())]


def _eventually(condition: Callable[[], bool]) -> bool:
    """Wait for what the far end does in a thread or process of its own."""
    nap = threading.Event()
    for _ in range(int(_PATIENCE_S / 0.01)):
        if condition():
            return True
        nap.wait(0.01)
    return condition()


def _descriptors() -> int:
    """Return how many descriptors this process has open; 0 where the system does not tell."""
    return 0 if sys.platform == "win32" else sum(1 for _ in Path("/dev/fd").iterdir())
