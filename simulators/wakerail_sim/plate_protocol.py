"""The plate's serial protocol, a line for a line: identity, temperature, set point and heater.

    ID?  Tarnwick,HP-3,SN1042,1.3      SP?     SP=230.0      H?        H=1
    T?   T=231.4 or T=OPEN             SP 230  OK            H 1, H 0  OK

Anything else is answered ``ERR 1``, a value out of range ``ERR 2``.
"""

from __future__ import annotations

import re

from wakerail_sim.plate import MAX_SETPOINT_C
from wakerail_sim.world import World

IDENTITY = "Tarnwick,HP-3,SN1042,1.3"
_UNKNOWN, _OUT_OF_RANGE = "ERR 1", "ERR 2"
_SET = re.compile(r"(?P<what>SP|H) (?P<value>[+-]?\d+(?:\.\d+)?)")


class PlateProtocol:
    """Answers the plate's lines."""

    def __init__(self, world: World) -> None:
        self._world = world

    def answer(self, line: bytes) -> bytes:
        """Return the answer to one line, with its end."""
        with self._world.present():
            return f"{self._answer(line.decode('latin-1').strip())}\r\n".encode()

    def _answer(self, line: str) -> str:
        plate = self._world.plate
        if line == "ID?":
            return IDENTITY
        if line == "T?":
            shown_c = plate.shown_c(self._world.now_step)
            return "T=OPEN" if shown_c is None else f"T={shown_c:.1f}"
        if line == "SP?":
            return f"SP={plate.setpoint_c:.1f}"
        if line == "H?":
            return f"H={int(plate.heater_on)}"
        match = _SET.fullmatch(line)
        return _UNKNOWN if match is None else self._set(match["what"], float(match["value"]))

    def _set(self, what: str, value: float) -> str:
        plate = self._world.plate
        if what == "SP" and 0 <= value <= MAX_SETPOINT_C:
            plate.setpoint_c = round(value, 1)
        elif what == "H" and value in {0, 1}:
            plate.heater_on = bool(value)
        else:
            return _OUT_OF_RANGE
        return "OK"
