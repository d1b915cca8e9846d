"""The multimeter's command language: one reading of the board for each question (SCPI-1999 volume 2, MEASure)."""

from __future__ import annotations

from collections.abc import Callable

from wakerail_sim.scpi import Commands, plain
from wakerail_sim.scpi_interpreter import Interpreter
from wakerail_sim.scpi_status import Group, Status
from wakerail_sim.world import World

IDENTITY = "Tarnwick,DM-61,SN0412,1.4"
#: SCPI-1999 volume 1, 7.2.1.4: sent for infinity, and by meters for what is beyond their range.
OVERLOAD = 9.9e37


class MultimeterScpi:
    """Executes messages to the multimeter."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._status = Status(
            questionable=Group(lambda: 0, lambda: 0),
            operation=Group(lambda: 0, lambda: 0),
        )
        commands = Commands()
        commands.add("*IDN", ask=plain(lambda: IDENTITY))
        commands.add("*RST", tell=plain(lambda: None))
        commands.add("*TST", ask=plain(lambda: "0"))
        self._add(commands, "VOLTage[:DC]", world.meter_voltage_v)
        self._add(commands, "RESistance", world.meter_resistance_ohm)
        self._add(commands, "DIODe", world.meter_diode_v)
        self._interpreter = Interpreter(commands, self._status)

    def execute(self, line: bytes) -> bytes | None:
        """Carry out one message at the present moment; return the answer with its line feed, or None."""
        with self._world.present():
            answer = self._interpreter.execute(line)
        return None if answer is None else answer + b"\n"

    def power_on(self) -> None:
        """Begin as after the mains switch."""
        self._status.power_on()

    @staticmethod
    def _add(commands: Commands, function: str, read: Callable[[], float | None]) -> None:
        def ask() -> str:
            value = read()
            return f"{OVERLOAD if value is None else value:+.6E}"

        commands.add(f"MEASure[:SCALar]:{function}", ask=plain(ask))
