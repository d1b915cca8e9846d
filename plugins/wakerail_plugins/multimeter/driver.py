"""Drives a multimeter of any make: every command and answer comes from its dialect file."""

from __future__ import annotations

import math
from collections.abc import Callable

from wakerail_kit.clock import Clock
from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_exchange import Exchange
from wakerail_kit.dialect_talk import Answer
from wakerail_kit.dialect_wording import Value, Values
from wakerail_kit.errors import DeviceRefused, OutOfSync, WakerailError
from wakerail_kit.events import MeterRead
from wakerail_kit.kinds import Reading
from wakerail_kit.messages import Identity
from wakerail_plugins.dialect_driver import ClosableWire, DialectDriver

_LIVENESS_S = 2.0
#: SCPI-1999 vol. 1, 7.2.1.5: this stands for not-a-number. 9.9E37 beside it (7.2.1.4) stands for infinity.
_NOT_A_NUMBER = 9.91e37
_NEAR = 1e-4


class Meter(DialectDriver):
    """A multimeter (see the kit's kinds). ``connect`` opens a fresh link, raising DeviceUnavailable.

    After OutOfSync or DeviceUnavailable the link is closed, and every method but ``make_safe`` and ``close`` raises the
    same again until ``open``.
    """

    waits = False

    def __init__(self, dialect: Dialect, connect: Callable[[], ClosableWire], instrument: str, clock: Clock) -> None:
        super().__init__(dialect, connect, "the meter")
        self._instrument = instrument
        self._clock = clock
        self._identity: Identity | None = None
        self._heard_s = -math.inf

    # --- the instrument ---

    def open(self) -> Identity:
        self._drop(self._lost)
        try:
            self._join()
            for exchange in self._dialect.open:
                self._run(exchange, bare=True)
            self._identity = self._identify()
            self.faults()  # what was wrong before is not about what is asked from now on
        except WakerailError as lost:
            self._drop(lost)
            raise
        return self._identity

    def read(self) -> Reading:
        """Give no signals; ask at most every 2 s whether the same meter still answers."""
        self._check_open()
        if self._clock.monotonic_s() - self._heard_s >= _LIVENESS_S:
            identity = self._identify()
            if identity != self._identity:
                lost = OutOfSync(f"another meter answers than the one that was opened: {identity.text}")
                self._drop(lost)
                raise lost
        return Reading()

    def make_safe(self) -> None:
        """Do nothing: a meter only measures."""

    # --- the multimeter ---

    def measure_voltage(self) -> MeterRead:
        return self._measure("voltage", "voltage", "V")

    def measure_resistance(self) -> MeterRead:
        return self._measure("resistance", "resistance", "Ohm")

    def measure_diode(self) -> MeterRead:
        return self._measure("diode", "voltage", "V")

    # --- how it is done ---

    def _measure(self, quantity: str, told: str, unit: str) -> MeterRead:
        self._check_open()
        exchanges = self._dialect.commands.get(f"measure_{quantity}")
        if exchanges is None:
            raise DeviceRefused(
                f"this meter cannot measure a {quantity} (its dialect {self._dialect.name!r} has no measure_{quantity})"
            )
        values: dict[str, Value] = {}
        raw = ""
        for exchange in exchanges:
            answer = self._run(exchange)
            values |= answer.values
            raw = answer.text if told in answer.values else raw
        value = values.get(told)
        if isinstance(value, float):
            return MeterRead(instrument=self._instrument, quantity=quantity, value=value, unit=unit, raw=raw)
        return MeterRead(
            instrument=self._instrument, quantity=quantity, value=None, unit=unit, overload=_is_overload(raw), raw=raw
        )

    def _run(self, exchange: Exchange, values: Values | None = None, *, bare: bool = False) -> Answer:
        answer = super()._run(exchange, values, bare=bare)
        self._heard_s = self._clock.monotonic_s()
        return answer


def _is_overload(raw: str) -> bool:
    """Tell whether an answer without a number means "beyond the range": any that is not SCPI's not-a-number."""
    try:
        number = float(raw)
    except ValueError:
        return True  # a word of the dialect's for it
    return not math.isnan(number) and not math.isclose(abs(number), _NOT_A_NUMBER, rel_tol=_NEAR)
