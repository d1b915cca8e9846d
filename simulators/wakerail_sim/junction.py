"""Silicon junctions, and what a small current drops over several of them and resistances in parallel.

A junction passes I = Is (exp(V / (n kT/q)) - 1): W. Shockley, Bell System Technical Journal 28, 1949. The thermal
voltage kT/q is 25.85 mV at 300 K, from the constants of the SI.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

BOLTZMANN_J_PER_K = 1.380649e-23
ELEMENTARY_CHARGE_C = 1.602176634e-19
_HALVINGS = 60


def thermal_voltage_v(temperature_k: float = 300.0) -> float:
    """Return kT/q."""
    return BOLTZMANN_J_PER_K * temperature_k / ELEMENTARY_CHARGE_C


@dataclass(frozen=True, slots=True)
class Junction:
    """A junction by its saturation current and ideality n."""

    saturation_a: float
    ideality: float = 1.0

    @classmethod
    def dropping(cls, voltage_v: float, current_a: float, ideality: float = 1.0) -> Junction:
        """Return the junction that drops ``voltage_v`` at ``current_a``."""
        return cls(current_a / math.expm1(voltage_v / (ideality * thermal_voltage_v())), ideality)

    def current_a(self, voltage_v: float) -> float:
        """Return what flows at a forward voltage."""
        return self.saturation_a * math.expm1(voltage_v / (self.ideality * thermal_voltage_v()))


def voltage_over(
    junctions: Sequence[Junction], resistances_ohm: Sequence[float], current_a: float, most_v: float
) -> float | None:
    """Return what ``current_a`` drops over all of these in parallel; None if it would be above ``most_v``.

    The current rises with the voltage, so halving finds it.
    """

    def drawn_a(voltage_v: float) -> float:
        through = sum(junction.current_a(voltage_v) for junction in junctions)
        return through + sum(voltage_v / ohm for ohm in resistances_ohm)

    if drawn_a(most_v) < current_a:
        return None
    low_v, high_v = 0.0, most_v
    for _ in range(_HALVINGS):
        middle_v = (low_v + high_v) / 2
        low_v, high_v = (middle_v, high_v) if drawn_a(middle_v) < current_a else (low_v, middle_v)
    return (low_v + high_v) / 2
