"""The port tester's serial protocol: ``ID?`` and ``TEST``; anything else is answered ``ERR 1``."""

from __future__ import annotations

from wakerail_sim.charge_port import Line
from wakerail_sim.world import World

IDENTITY = "Tarnwick,PT-8,SN0077,2.0"


class PortTesterProtocol:
    """Answers the port tester's lines."""

    def __init__(self, world: World) -> None:
        self._world = world

    def answer(self, line: bytes) -> bytes:
        """Return the answer to one line: for ``TEST`` a line for each line of the port, then the result."""
        command = line.strip()
        if command == b"ID?":
            says = [IDENTITY]
        elif command == b"TEST":
            with self._world.present():
                lines = self._world.port.test()
            result = "PASS" if all(line.good for line in lines) else "FAIL"
            says = [*(_words(line) for line in lines), f"RESULT {result}"]
        else:
            says = ["ERR 1"]
        return "".join(f"{words}\r\n" for words in says).encode()


def _words(line: Line) -> str:
    shown = [f"{line.voltage_v:.2f}V"] if line.voltage_v is not None else []
    return " ".join([line.name, "OK" if line.good else "FAIL", *shown, *([line.wrong] if line.wrong else [])])
