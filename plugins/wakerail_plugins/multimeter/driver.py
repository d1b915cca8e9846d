"""Drives a multimeter of any make: every command and answer comes from its dialect file."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from typing import Protocol

from wakerail_kit.clock import Clock
from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_exchange import Exchange
from wakerail_kit.dialect_talk import Answer, Talk, Wire
from wakerail_kit.dialect_wording import Value
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync, WakerailError
from wakerail_kit.events import MeterRead
from wakerail_kit.kinds import InstrumentFault, Reading
from wakerail_kit.messages import Identity

_LIVENESS_S = 2.0
_MOST_FAULTS = 64
#: SCPI-1999 vol. 1, 7.2.1.5: this stands for not-a-number. 9.9E37 beside it (7.2.1.4) stands for infinity.
_NOT_A_NUMBER = 9.91e37
_NEAR = 1e-4


class ClosableWire(Wire, Protocol):
    """A wire that can be let go; ``close`` never raises."""

    def close(self) -> None: ...


class Meter:
    """A multimeter (see the kit's kinds). ``connect`` opens a fresh link, raising DeviceUnavailable.

    After OutOfSync or DeviceUnavailable the link is closed, and every method but ``make_safe`` and ``close`` raises the
    same again until ``open``.
    """

    waits = False

    def __init__(self, dialect: Dialect, connect: Callable[[], ClosableWire], instrument: str, clock: Clock) -> None:
        self._dialect = dialect
        self._connect = connect
        self._instrument = instrument
        self._clock = clock
        self._wire: ClosableWire | None = None
        self._talk: Talk | None = None
        self._lost: WakerailError = DeviceUnavailable("the meter is not open")
        self._identity: Identity | None = None
        self._heard_s = -math.inf

    # --- the instrument ---

    def open(self) -> Identity:
        self._drop(self._lost)
        try:
            self._wire = self._connect()
            self._talk = Talk(self._dialect, self._wire)
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

    def faults(self) -> Sequence[InstrumentFault]:
        faults: list[InstrumentFault] = []
        while self._dialect.errors is not None and len(faults) < _MOST_FAULTS:
            said = self._run(self._dialect.errors).values
            code = said.get("code")
            if not isinstance(code, float) or code == 0:
                break
            faults.append(InstrumentFault(int(code), str(said.get("text", "")) or f"error {code:g}"))
        return faults

    def make_safe(self) -> None:
        """Do nothing: a meter only measures."""

    def close(self) -> None:
        if self._talk is not None:
            with contextlib.suppress(WakerailError):
                for exchange in self._dialect.close:
                    self._talk.bare(exchange)
        self._drop(DeviceUnavailable("the meter is not open"))

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

    def _identify(self) -> Identity:
        values: dict[str, Value] = {}
        texts = []
        for exchange in self._dialect.identify:
            answer = self._run(exchange, bare=True)
            values |= answer.values
            texts.append(answer.text.strip())
        return Identity(text=" ".join(texts), **{name: str(value) for name, value in values.items()})

    def _run(self, exchange: Exchange, *, bare: bool = False) -> Answer:
        talk = self._check_open()
        try:
            answer = talk.bare(exchange) if bare else talk.run(exchange)
        except DeviceRefused:
            raise
        except WakerailError as lost:
            self._drop(lost)
            raise
        self._heard_s = self._clock.monotonic_s()
        return answer

    def _check_open(self) -> Talk:
        if self._talk is None:
            raise type(self._lost)(str(self._lost))
        return self._talk

    def _drop(self, lost: WakerailError) -> None:
        """Close the link, if there is one; ``lost`` is what every use raises until ``open``."""
        self._lost = type(lost)(str(lost))  # afresh: the one raised holds on to the dead link's frames
        self._talk = None
        if self._wire is not None:
            self._wire.close()
            self._wire = None


def _is_overload(raw: str) -> bool:
    """Tell whether an answer without a number means "beyond the range": any that is not SCPI's not-a-number."""
    try:
        number = float(raw)
    except ValueError:
        return True  # a word of the dialect's for it
    return not math.isnan(number) and not math.isclose(abs(number), _NOT_A_NUMBER, rel_tol=_NEAR)
