"""Kinds: what an instrument is able to do. Sequences ask for a kind, never for a make.

A driver is a plain blocking object that lives in one I/O thread; the host calls nothing of it from anywhere else.
Every method may raise DeviceUnavailable (gone), DeviceRefused (it said no) or OutOfSync (an answer was late,
lost or garbled); foreign exceptions, OSError and termios.error included, are translated by the driver. Its words do
not name the instrument: the host does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from wakerail_kit.events import EventData, MeterRead, PortTested
from wakerail_kit.messages import Identity


@dataclass(frozen=True, slots=True)
class Reading:
    """What one poll gave. ``signals`` maps a signal of the kind to its samples, all of one length.

    With ``spacing_s`` None there is one sample, taken between query and answer. Otherwise it is a block of
    buffered samples ``spacing_s`` apart, the last one taken when the instrument was asked. A sample that is
    not data (SCPI's not-a-number) is None. ``events`` is what happened besides; ``signals`` may then be empty.
    """

    signals: Mapping[str, Sequence[float | None]] = field(default_factory=dict)
    spacing_s: float | None = None
    events: Sequence[EventData] = ()


@dataclass(frozen=True, slots=True)
class InstrumentFault:
    """One entry of an instrument's error queue, as SCPI-1999 21.8 numbers and words them."""

    code: int
    text: str


class Instrument(Protocol):
    """What every driver offers, whatever its kind."""

    #: True if ``read`` itself waits (a short while, under 0.3 s) for something to happen, so that it is not paced.
    waits: bool

    def open(self) -> Identity:
        """Connect, identify, and bring the instrument under remote control without energising anything."""
        ...

    def read(self) -> Reading:
        """Poll once."""
        ...

    def make_safe(self) -> None:
        """Switch off whatever can hurt (output, heater), whatever state the link is in."""
        ...

    def faults(self) -> Sequence[InstrumentFault]:
        """Read the error queue until it is empty; empty for an instrument that has none."""
        ...

    def close(self) -> None:
        """Let go of the link. Never raises; may be called twice."""
        ...


class PowerSource(Instrument, Protocol):
    """A bench supply. Signals: voltage (V), current (A), limiting (1 in constant current), output (1 on).

    A supply may remember that it limited between two readings; the next one then says limiting, once.
    """

    def set_voltage_v(self, voltage_v: float) -> None: ...
    def set_current_limit_a(self, current_a: float) -> None: ...
    def set_over_voltage_v(self, voltage_v: float) -> None: ...
    def set_over_current_a(self, current_a: float) -> None: ...
    def set_output(self, on: bool) -> None: ...


class HeatSource(Instrument, Protocol):
    """A heating plate. Signals: temperature (Cel, None when the sensor is lost), setpoint (Cel), heater (1 on)."""

    def set_temperature_c(self, temperature_c: float) -> None: ...
    def set_heater(self, on: bool) -> None: ...


class PortTester(Instrument, Protocol):
    """A charge-port tester. It has no signals; ``test_port`` asks it for one test of all lines."""

    def test_port(self) -> PortTested: ...


class Multimeter(Instrument, Protocol):
    """A multimeter. It has no signals; each method takes one reading when asked.

    A diode reading is the voltage that the meter's own small current drops: over a junction the junction voltage.
    """

    def measure_voltage(self) -> MeterRead: ...
    def measure_resistance(self) -> MeterRead: ...
    def measure_diode(self) -> MeterRead: ...


class UsbWatcher(Instrument, Protocol):
    """Watches what the host sees on USB; ``read`` gives UsbAttached, UsbDetached and UsbEnumerationFailed."""


@dataclass(frozen=True, slots=True)
class Setting:
    """Something a sequence can set. ``unit`` is UCUM, or None for on and off; ``method`` is the driver's.

    ``energises`` marks the setting that, on, lets power through: it comes last when on and first when off.
    """

    name: str
    method: str
    unit: str | None
    energises: bool = False


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind as sequences and hosts see it: its settings, signals (name to UCUM unit) and tests (name to method).

    ``must_be_limited`` are the settings for which a bench must state the highest value ever allowed.
    """

    name: str
    protocol: type[Any]
    settings: Mapping[str, Setting] = field(default_factory=dict)
    signals: Mapping[str, str] = field(default_factory=dict)
    tests: Mapping[str, str] = field(default_factory=dict)
    must_be_limited: tuple[str, ...] = ()

    @property
    def can_hurt(self) -> bool:
        """True if an instrument of this kind can let power through, and so has a safe state."""
        return any(setting.energises for setting in self.settings.values())

    def safe_order(self, wanted: Mapping[str, float | bool]) -> list[str]:
        """Return the names of ``wanted`` in the order to apply them: off first, on last, as declared between."""

        def rank(name: str) -> int:
            if not self.settings[name].energises:
                return 1
            return 2 if wanted[name] else 0

        declared = list(self.settings)
        return sorted(wanted, key=lambda name: (rank(name), declared.index(name)))


def _settings(*settings: Setting) -> dict[str, Setting]:
    return {setting.name: setting for setting in settings}


POWER_SOURCE = Kind(
    name="power-source",
    protocol=PowerSource,
    settings=_settings(
        Setting("volts", "set_voltage_v", "V"),
        Setting("limit", "set_current_limit_a", "A"),
        Setting("over-voltage", "set_over_voltage_v", "V"),
        Setting("over-current", "set_over_current_a", "A"),
        Setting("output", "set_output", None, energises=True),
    ),
    signals={"voltage": "V", "current": "A", "limiting": "1", "output": "1"},
    must_be_limited=("volts", "limit"),
)
HEAT_SOURCE = Kind(
    name="heat-source",
    protocol=HeatSource,
    settings=_settings(
        Setting("temperature", "set_temperature_c", "Cel"),
        Setting("heater", "set_heater", None, energises=True),
    ),
    signals={"temperature": "Cel", "setpoint": "Cel", "heater": "1"},
    must_be_limited=("temperature",),
)
PORT_TESTER = Kind(name="port-tester", protocol=PortTester, tests={"lines": "test_port"})
MULTIMETER = Kind(
    name="multimeter",
    protocol=Multimeter,
    tests={"voltage": "measure_voltage", "resistance": "measure_resistance", "diode": "measure_diode"},
)
USB_WATCHER = Kind(name="usb-watcher", protocol=UsbWatcher)

KINDS: dict[str, Kind] = {kind.name: kind for kind in (POWER_SOURCE, HEAT_SOURCE, PORT_TESTER, MULTIMETER, USB_WATCHER)}
