"""The charge port as the port tester finds it."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail_sim.noise import Noise

_STREAM = 40
_SPREAD_V = 0.01
_VBUS_V, _CC_V, _LEAKING_CC_V = 4.98, 0.41, 0.11


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the port: its name, whether it is good, its voltage if the tester shows one, what is wrong."""

    name: str
    good: bool = True
    voltage_v: float | None = None
    wrong: str = ""


class ChargePort:
    """A USB-C port that may be dirty: then CC1 leaks and D- makes no contact."""

    def __init__(self, dirty: bool, noise: Noise) -> None:
        self._noise = noise
        self._tests = 0
        self.dirty = dirty

    def test(self) -> list[Line]:
        """Test every line once."""
        self._tests += 1
        vbus_v, cc1_v, cc2_v = (
            _SPREAD_V * self._noise.one_normal(_STREAM, 3 * self._tests + line) for line in range(3)
        )
        return [
            Line("VBUS", voltage_v=_VBUS_V + vbus_v),
            Line("GND"),
            Line("D+"),
            Line("D-", not self.dirty, wrong="open" if self.dirty else ""),
            Line(
                "CC1", not self.dirty, (_LEAKING_CC_V if self.dirty else _CC_V) + cc1_v, "leaks" if self.dirty else ""
            ),
            Line("CC2", voltage_v=_CC_V + cc2_v),
        ]
