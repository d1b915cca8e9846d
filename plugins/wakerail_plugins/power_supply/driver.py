"""Drives a bench supply of any make: every command and answer comes from its dialect file."""

from __future__ import annotations

import contextlib
from collections.abc import Callable

from wakerail_kit.clock import Clock
from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_exchange import Exchange
from wakerail_kit.dialect_talk import Talk
from wakerail_kit.dialect_wording import Value
from wakerail_kit.errors import DeviceRefused, OutOfSync, WakerailError
from wakerail_kit.kinds import Reading
from wakerail_kit.messages import Identity
from wakerail_kit.units import human
from wakerail_plugins.dialect_driver import ClosableWire, DialectDriver
from wakerail_plugins.power_supply.samples import Samples

_FRESH_LINKS = 2
_UNITS = {"voltage": "V", "current": "A", "over_voltage": "V", "over_current": "A"}
#: A setting counts as taken if it is read back within 1 % and 20 mV or 20 mA, whichever is more: the step of a
#: coarse supply's converter.
_RELATIVE_SLACK = 0.01
_ABSOLUTE_SLACK = 0.02
_READBACK_TRIES = 3
_READBACK_PAUSE_S = 0.05


class PowerSupply(DialectDriver):
    """A power source (see the kit's kinds). ``connect`` opens a fresh link, raising DeviceUnavailable.

    After OutOfSync or DeviceUnavailable the link is closed and every method but ``make_safe`` and ``close`` raises the
    same again until ``open``.
    """

    waits = False

    def __init__(self, dialect: Dialect, connect: Callable[[], ClosableWire], clock: Clock) -> None:
        super().__init__(dialect, connect, "the supply")
        self._clock = clock
        self._samples = Samples(dialect)
        #: What the instrument said its settings are, by quantity, when they were last read back.
        self.settings: dict[str, Value] = {}

    # --- the instrument ---

    def open(self) -> Identity:
        self._drop(self._lost)
        try:
            self._join()
            for exchange in self._dialect.open:
                self._run(exchange, {"spacing": self._dialect.spacing_s}, bare=True)
            identity = self._identify()
            self.faults()  # what was wrong before is not about what is asked from now on
            self._read_back_all()
            self._samples = Samples(self._dialect)
            for exchange in self._dialect.reads:
                if exchange.block is not None:
                    self._run(exchange)  # samples from before the opening
            self._forget_limited()
        except WakerailError as lost:
            self._drop(lost)
            raise
        return identity

    def read(self) -> Reading:
        self._check_open()
        for number, exchange in enumerate(self._dialect.reads):
            if not self._samples.due(number, self._clock.monotonic_s()):
                continue
            answer = self._run(exchange)
            try:
                self._samples.take(number, answer, self._clock.monotonic_s())
            except OutOfSync as lost:
                self._drop(lost)
                raise
        return self._samples.reading()

    def make_safe(self) -> None:
        if self._talk is not None:
            with contextlib.suppress(WakerailError):
                self._switch_off()
                return
            self._drop(OutOfSync("the supply did not confirm that its output is off"))
        for attempt in range(_FRESH_LINKS):
            try:
                self._switch_off_on_fresh_link()
                return
            except WakerailError:
                if attempt == _FRESH_LINKS - 1:
                    self._tell_off_unheard()
                    raise

    # --- the power source ---

    def set_voltage_v(self, voltage_v: float) -> None:
        self._set("set_voltage", "voltage", voltage_v)

    def set_current_limit_a(self, current_a: float) -> None:
        self._set("set_current_limit", "current", current_a)

    def set_over_voltage_v(self, voltage_v: float) -> None:
        self._set("set_over_voltage", "over_voltage", voltage_v)

    def set_over_current_a(self, current_a: float) -> None:
        self._set("set_over_current", "over_current", current_a)

    def set_output(self, on: bool) -> None:
        if not on:
            self._switch_off()
            return
        self._samples.refresh()
        for exchange in self._dialect.commands["output_on"]:
            self._run(exchange)
        self._confirm("output", 1.0)
        self._forget_limited()

    # --- how it is done ---

    def _read_back_all(self) -> None:
        for quantity in ("voltage", "current", "output"):
            if (reader := self._dialect.reader_of(quantity)) is not None:
                self.settings[quantity] = self._run(reader).values.get(quantity)

    def _switch_off(self) -> None:
        self._samples.refresh()
        refusal: DeviceRefused | None = None
        for exchange in self._dialect.commands["output_off"]:
            try:
                self._run(exchange)
            except DeviceRefused as no:
                refusal = refusal or no
        if self._confirm("output", 0.0):
            return
        if refusal is not None:
            raise refusal
        if not any(exchange.answer for exchange in self._dialect.commands["output_off"]):
            self._identify()  # an answer to anything shows that the instrument is there and heard what came before

    def _switch_off_on_fresh_link(self) -> None:
        """Switch off and let go again: what else the instrument is set to is only known after ``open``."""
        self._join()
        try:
            for exchange in self._dialect.open:
                with contextlib.suppress(DeviceRefused):
                    self._run(exchange, {"spacing": self._dialect.spacing_s}, bare=True)
            self._switch_off()
        finally:
            self._drop(OutOfSync("the supply was made safe over a link of its own; it must be opened again"))

    def _tell_off_unheard(self) -> None:
        """Send what switches off without waiting for an answer: it may be only the answers that get lost."""
        spacing = {"spacing": self._dialect.spacing_s}
        with contextlib.suppress(WakerailError):
            wire = self._connect()
            with contextlib.closing(wire):
                talk = Talk(self._dialect, wire)
                for exchange in (*self._dialect.open, *self._dialect.before, *self._dialect.commands["output_off"]):
                    talk.tell(exchange, spacing)

    def _set(self, command: str, quantity: str, value: float) -> None:
        exchanges = self._dialect.commands.get(command)
        if exchanges is None:
            raise DeviceRefused(
                f"this supply has no {quantity.replace('_', '-')} setting "
                f"(its dialect {self._dialect.name!r} has no {command})"
            )
        self._samples.refresh()
        value, step = float(value), 0.0
        for exchange in exchanges:
            self._run(exchange, {quantity: value})
            if quantity in exchange.send.fields:
                step = max(step, exchange.send.fields[quantity].resolution)
        self._confirm(quantity, value, step)
        self._forget_limited()

    def _forget_limited(self) -> None:
        """Let the supply forget that it limited, before the opening or because of a setting.

        Charging what is at its output takes the whole current for a moment, which says nothing about the device.
        """
        for number, exchange in enumerate(self._dialect.reads):
            if "limited" in exchange.gives:
                self._samples.take(number, self._run(exchange), self._clock.monotonic_s())
        self._samples.forget_limited()

    def _confirm(self, quantity: str, wanted: float, step: float = 0.0) -> bool:
        """Read a setting back; False if the instrument cannot tell. Raises DeviceRefused if it is another."""
        reader = self._dialect.reader_of(quantity)
        if reader is None:
            return False
        slack = max(_RELATIVE_SLACK * abs(wanted), _ABSOLUTE_SLACK, step, *(_steps(reader, quantity)))
        for attempt in range(_READBACK_TRIES):
            if attempt and self._wire is not None:
                self._wire.pause(_READBACK_PAUSE_S)
            value = self._run(reader).values.get(quantity)
            self.settings[quantity] = value
            if isinstance(value, float) and abs(value - wanted) <= slack:
                return True
        why = "".join(f"; it says {fault.code}, {fault.text}" for fault in self.faults())
        raise DeviceRefused(
            f"{quantity.replace('_', '-')} was to be {_shown(quantity, wanted)}, "
            f"but reads back as {_shown(quantity, value)}{why}"
        )


def _steps(reader: Exchange, quantity: str) -> list[float]:
    return [wording.fields[quantity].resolution for wording in reader.answer if quantity in wording.fields]


def _shown(quantity: str, value: Value) -> str:
    if not isinstance(value, float):
        return "not data"
    if quantity == "output":
        return "on" if value else "off"
    return human(value, _UNITS[quantity])
