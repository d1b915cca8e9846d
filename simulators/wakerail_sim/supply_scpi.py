"""The supply's command language: SCPI-1999 over the world's supply.

``STATus:QUEStionable`` bits: bit 0 set means constant current (the voltage is not regulated), bit 1 set means
constant voltage (the current is not regulated), both 0 means that the output is off.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from wakerail_sim.meter import MAX_SPACING_S, MIN_SPACING_S
from wakerail_sim.noise import Floats
from wakerail_sim.scpi import Commands, ScpiError, block, boolean, none, number, only, plain
from wakerail_sim.scpi_interpreter import Interpreter
from wakerail_sim.scpi_status import Group, Status
from wakerail_sim.supply import MAX_CURRENT_A, MAX_OVER_CURRENT_A, MAX_OVER_VOLTAGE_V, MAX_VOLTAGE_V, Supply, Trip
from wakerail_sim.ticks import STEP_TICKS
from wakerail_sim.world import World

IDENTITY = "Tarnwick,PS-206,SN3307,2.1"
CONSTANT_CURRENT, CONSTANT_VOLTAGE = 1, 2


class SupplyScpi:
    """Executes messages to the supply; every client shares its settings, its status and its sample buffer."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._supply: Supply = world.supply
        self._binary = False
        self._status = Status(
            questionable=Group(self._questionable_condition, self._take_questionable_event),
            operation=Group(lambda: 0, lambda: 0),
        )
        commands = Commands()
        self._add_system(commands)
        self._add_settings(commands)
        self._add_measurements(commands)
        self._interpreter = Interpreter(commands, self._status)

    def execute(self, line: bytes) -> bytes | None:
        """Carry out one message at the present moment; return the answer with its line feed, or None."""
        with self._world.present():
            answer = self._interpreter.execute(line)
        return None if answer is None else answer + b"\n"

    def power_on(self) -> None:
        """Begin as after the mains switch: output off, settings and status of power-on."""
        with self._world.present():
            self._reset()
            self._status.power_on()

    def _add_system(self, commands: Commands) -> None:
        commands.add("*IDN", ask=plain(lambda: IDENTITY))
        commands.add("*RST", tell=plain(self._reset))
        commands.add("*TST", ask=plain(lambda: "0"))

    def _add_settings(self, commands: Commands) -> None:
        supply = self._supply
        volts = "[SOURce]:VOLTage"
        amperes = "[SOURce]:CURRent"
        _add_number(commands, f"{volts}[:LEVel][:IMMediate][:AMPLitude]", (supply, "voltage_v"), "V", MAX_VOLTAGE_V)
        _add_number(
            commands, f"{amperes}[:LEVel][:IMMediate][:AMPLitude]", (supply, "current_limit_a"), "A", MAX_CURRENT_A
        )
        _add_number(commands, f"{volts}:PROTection[:LEVel]", (supply, "over_voltage_v"), "V", MAX_OVER_VOLTAGE_V)
        _add_number(commands, f"{amperes}:PROTection[:LEVel]", (supply, "over_current_a"), "A", MAX_OVER_CURRENT_A)
        commands.add(
            f"{amperes}:PROTection:STATe",
            tell=self._set_over_current_on,
            ask=plain(lambda: _truth(supply.over_current_on)),
        )
        commands.add(f"{volts}:PROTection:TRIPped", ask=plain(lambda: _truth(supply.trip is Trip.OVER_VOLTAGE)))
        commands.add(f"{amperes}:PROTection:TRIPped", ask=plain(lambda: _truth(supply.trip is Trip.OVER_CURRENT)))
        commands.add("OUTPut[:STATe]", tell=self._set_output, ask=plain(lambda: _truth(supply.output_on)))
        commands.add("OUTPut:PROTection:CLEar", tell=plain(self._clear_trip))

    def _add_measurements(self, commands: Commands) -> None:
        commands.add("MEASure[:SCALar]:VOLTage[:DC]", ask=plain(lambda: f"{self._read()[0]:.6E}"))
        commands.add("MEASure[:SCALar]:CURRent[:DC]", ask=plain(lambda: f"{self._read()[1]:.6E}"))
        commands.add(
            "[SENSe]:SWEep:TINTerval",
            tell=self._set_spacing,
            ask=_asks_number(lambda: self._world.meter.spacing_s, "S", MIN_SPACING_S, MAX_SPACING_S),
        )
        commands.add("FORMat[:DATA]", tell=self._set_format, ask=plain(lambda: "REAL,32" if self._binary else "ASC"))
        meter = self._world.meter
        commands.add("FETCh:ARRay:CURRent[:DC]", ask=plain(lambda: self._array(meter.fetch_current_a())))
        commands.add("FETCh:ARRay:VOLTage[:DC]", ask=plain(lambda: self._array(meter.fetched_voltage_v())))

    def _reset(self) -> None:
        self._world.reset_supply()
        self._binary = False

    def _set_output(self, given: Sequence[str]) -> None:
        on = boolean(only(given))
        if on and self._supply.trip is not None:
            raise ScpiError(-221)
        self._world.set_output(on)

    def _clear_trip(self) -> None:
        self._supply.trip = None

    def _set_over_current_on(self, given: Sequence[str]) -> None:
        self._supply.over_current_on = boolean(only(given))

    def _set_spacing(self, given: Sequence[str]) -> None:
        spacing_s = number(only(given), "S", MIN_SPACING_S, MAX_SPACING_S)
        self._world.meter.set_spacing(spacing_s, self._world.now_step * STEP_TICKS)

    def _set_format(self, given: Sequence[str]) -> None:
        name, *length = given or ("",)
        if not name:
            raise ScpiError(-109)
        none(length[1:])
        binary = name.upper() == "REAL"
        if not binary and name.upper() not in {"ASC", "ASCII"}:
            raise ScpiError(-224)
        if length and number(length[0], "", -9e9, 9e9) != (32 if binary else 0):
            raise ScpiError(-224)
        self._binary = binary

    def _read(self) -> tuple[float, float]:
        return self._world.meter.read(self._world.now_step)

    def _array(self, samples: Floats) -> str | bytes:
        if self._binary:
            return block(samples.astype(np.dtype(">f4")).tobytes())
        return ",".join(f"{sample:.6E}" for sample in samples)

    def _questionable_condition(self) -> int:
        if not self._supply.output_on:
            return 0
        return CONSTANT_CURRENT if self._world.flow_now().limiting[0] else CONSTANT_VOLTAGE

    def _take_questionable_event(self) -> int:
        supply = self._supply
        event = (CONSTANT_CURRENT if supply.limiting_event else 0) | (
            CONSTANT_VOLTAGE if supply.regulating_event else 0
        )
        supply.limiting_event = supply.regulating_event = False
        return event


def _truth(value: bool) -> str:
    return "1" if value else "0"


def _asks_number(get: Callable[[], float], unit: str, low: float, high: float) -> Callable[[Sequence[str]], str]:
    """Return the handler of a setting's query, which may ask for its bounds by MIN or MAX."""

    def ask(given: Sequence[str]) -> str:
        if not given:
            return f"{get():.4f}"
        if only(given).upper() not in {"MIN", "MINIMUM", "MAX", "MAXIMUM"}:
            raise ScpiError(-224)
        return f"{number(given[0], unit, low, high):.4f}"

    return ask


def _add_number(commands: Commands, pattern: str, setting: tuple[Supply, str], unit: str, high: float) -> None:
    """Add a numeric setting from 0 to ``high`` that is an attribute of the supply."""
    supply, name = setting

    def tell(given: Sequence[str]) -> None:
        setattr(supply, name, number(only(given), unit, 0.0, high))

    commands.add(pattern, tell=tell, ask=_asks_number(lambda: float(getattr(supply, name)), unit, 0.0, high))
