"""The device's board without power, as a meter's leads find it at the pins of its connectors.

Each line hangs on ground by a junction or a resistance, as the device family says of a known-good board. A fault puts
a short, a leak or a bridge beside it, or cuts it. A dead short of the battery rail is on the family's first rail.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from wakerail_kit.connectors import Connector, Known, Pin
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import DeviceFamily
from wakerail_kit.hints import nearest
from wakerail_sim.faults import FaultList
from wakerail_sim.junction import Junction, voltage_over
from wakerail_sim.noise import Noise
from wakerail_sim.ticks import STEP_S

#: The meter's test current in its diode function, and the highest voltage that it can read there.
DIODE_TEST_A, DIODE_MOST_V = 1e-3, 2.5
RESISTANCE_MOST_OHM = 50e6
LEADS_OHM = 0.15
SHORT_OHM, LEAK_OHM, BRIDGE_OHM = 0.3, 180.0, 0.5
_JUNCTION_PARALLEL_OHM = 470e3  # what else hangs on a line with a junction
_LIVE_V = 1.8  # on the lines of a board that has power
_SETTLES_S = 0.15  # capacitors charge through the meter
_STREAM, _NOISE_V, _NOISE_SHARE = 41, 0.2e-3, 2e-4

GROUND = "ground"
TOGETHER = "together"


@dataclass(frozen=True, slots=True)
class Leads:
    """Where the meter's leads are: places like ``display.3`` or ``ground``; empty in the air, equal if they touch."""

    red: str = ""
    black: str = ""
    since_step: int = 0


class Board:
    """What the leads read. Raises ConfigInvalid for a fault of a pin that the family's board has not."""

    def __init__(
        self, family: DeviceFamily, faults: FaultList, noise: Noise, dead_short_ohm: Callable[[], float | None]
    ) -> None:
        self._family = family
        self._faults = faults
        self._noise = noise
        self._readings = 0
        self._shorted = faults.names("line-shorted")
        self._cut = faults.names("line-open")
        self._leaking = faults.names("line-leaks")
        self._bridges = [frozenset(name.split("+")) for name in faults.names("lines-bridged")]
        self._dead_short_ohm = dead_short_ohm
        rail = next(iter(family.rails.values()), None)
        self._battery_rail = "" if rail is None else f"{rail.connector}.{rail.pin}"
        self.leads = Leads()
        for place in self._shorted | self._cut | self._leaking | {one for bridge in self._bridges for one in bridge}:
            self._pin(place)

    def put_leads(self, red: str, black: str, now_step: int) -> None:
        """Put the leads somewhere. Raises ConfigInvalid for a place that there is not."""
        for place in {red, black} - {"", GROUND, TOGETHER}:
            self._pin(place)
        self.leads = Leads(red, black, now_step)

    def voltage_v(self, *, powered: bool) -> float:
        """Return the voltage from the black lead to the red one."""
        live_v = [
            _LIVE_V if powered and place and place not in {GROUND, TOGETHER} and self._carries(place) else 0.0
            for place in (self.leads.red, self.leads.black)
        ]
        return live_v[0] - live_v[1] + self._noise_v(0.0)

    def diode_v(self, now_step: int, *, powered: bool) -> float | None:
        """Return what the test current drops from the red lead to the black one; None: more than can be read."""
        joined = self._joined()
        if joined is not None:
            return self._noisy(joined * DIODE_TEST_A)
        place = self._against_ground()
        if place is None or powered:
            return None
        junctions: list[Junction] = []
        resistances_ohm: list[float] = []
        for one in self._group(place):
            pin = self._pin(one)
            if pin.known is Known.VOLTS and one not in self._cut:
                junctions.append(Junction.dropping(pin.value, DIODE_TEST_A))
            resistances_ohm += self._resistances_ohm(one)
        voltage_v = voltage_over(junctions, resistances_ohm, DIODE_TEST_A, DIODE_MOST_V)
        return None if voltage_v is None else self._noisy(voltage_v * self._settled(now_step))

    def resistance_ohm(self, now_step: int, *, powered: bool) -> float | None:
        """Return the resistance between the leads; None: more than can be read. Too little voltage for a junction."""
        joined = self._joined()
        if joined is not None:
            return joined * (1 + _NOISE_SHARE * self._next_normal())
        if not self.leads.red or not self.leads.black or powered:
            return None
        total_ohm = LEADS_OHM + sum(
            self._to_ground_ohm(place) for place in (self.leads.red, self.leads.black) if place != GROUND
        )
        if total_ohm > RESISTANCE_MOST_OHM:
            return None
        return total_ohm * self._settled(now_step) * (1 + _NOISE_SHARE * self._next_normal())

    def _joined(self) -> float | None:
        """Return the resistance between leads on one metal: touching, on one line, or on a bridge; else None."""
        red, black = self.leads.red, self.leads.black
        if "meter-lead-open" in self._faults or not red or not black:
            return None
        if red == black:
            return LEADS_OHM
        if GROUND not in {red, black} and black in self._group(red):
            return LEADS_OHM + BRIDGE_OHM
        return None

    def _against_ground(self) -> str | None:
        """Return the place of the black lead while the red one is on ground; the other way round nothing conducts."""
        if self.leads.red != GROUND or "meter-lead-open" in self._faults or not self.leads.black:
            return None
        return self.leads.black

    def _group(self, place: str) -> frozenset[str]:
        """Return a line with all that are bridged to it."""
        group = frozenset({place})
        while (grown := group.union(*(bridge for bridge in self._bridges if bridge & group))) != group:
            group = grown
        return group

    def _resistances_ohm(self, place: str) -> list[float]:
        """Return what hangs between one line and ground, besides a junction."""
        pin = self._pin(place)
        found = [SHORT_OHM] if place in self._shorted else []
        found += [LEAK_OHM] if place in self._leaking else []
        if place in self._cut:
            return [1e12]
        if place == self._battery_rail and (short_ohm := self._dead_short_ohm()) is not None:
            found.append(short_ohm)
        match pin.known:
            case Known.GROUND:
                found.append(0.02)
            case Known.OHMS:
                found.append(pin.value)
            case Known.VOLTS:
                found.append(_JUNCTION_PARALLEL_OHM)
            case Known.OPEN:
                pass
        return found

    def _to_ground_ohm(self, place: str) -> float:
        if "meter-lead-open" in self._faults:
            return math.inf
        conductance_s = sum(1 / ohm for one in self._group(place) for ohm in self._resistances_ohm(one))
        return 1 / conductance_s if conductance_s else math.inf

    def _carries(self, place: str) -> bool:
        return self._pin(place).known in {Known.VOLTS, Known.OHMS} and place not in self._shorted | self._cut

    def _settled(self, now_step: int) -> float:
        return 1 - math.exp(-(now_step - self.leads.since_step) * STEP_S / _SETTLES_S)

    def _noisy(self, voltage_v: float) -> float:
        return voltage_v + self._noise_v(voltage_v)

    def _noise_v(self, voltage_v: float) -> float:
        return (_NOISE_V + _NOISE_SHARE * voltage_v) * self._next_normal()

    def _next_normal(self) -> float:
        self._readings += 1
        return self._noise.one_normal(_STREAM, self._readings)

    def _pin(self, place: str) -> Pin:
        connector, _, name = place.partition(".")
        connectors = self._family.connectors
        if connector not in connectors:
            raise ConfigInvalid(f"{place!r} is no pin: no connector {connector!r}; {nearest(connector, connectors)}")
        pins = {pin.name: pin for pin in connectors[connector].pins}
        if name not in pins:
            raise ConfigInvalid(f"{place!r} is no pin of {_said(connectors[connector])}; it has {', '.join(pins)}")
        return pins[name]


def _said(connector: Connector) -> str:
    return f"{connector.name} ({connector.says})"
