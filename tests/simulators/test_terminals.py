"""The supply's leads on the battery terminals, or on the charge port."""

from __future__ import annotations

from typing import Any

import pytest

from wakerail_sim.stages import Stage
from wakerail_sim.terminals import CHARGES_WITH_A, Place


def charging(bench: Any, volts: float = 5.0, limit: float = 1.5) -> tuple[float, float]:
    with bench.world.present():
        bench.world.clip(Place.PORT)
    bench.power(volts, limit)
    bench.run(1.0)
    return float(bench.ask("MEAS:VOLT?")), float(bench.ask("MEAS:CURR?"))


@pytest.mark.parametrize(
    ("faults", "volts", "limit", "amps"),
    [
        ((), 5.0, 1.5, CHARGES_WITH_A),
        (("charges-with:1.3A",), 5.0, 1.5, 1.3),
        (("charges-with:0A",), 5.0, 1.5, 0.0),
        (("dirty-port",), 5.0, 1.5, 0.0),
        ((), 3.85, 1.5, 0.0),  # too little for a charger
        ((), 5.0, 0.2, 0.2),  # the supply's limit holds it
    ],
)
def test_a_device_at_its_charge_port_takes_what_its_charger_does(
    lab: Any, faults: tuple[str, ...], volts: float, limit: float, amps: float
) -> None:
    voltage_v, current_a = charging(lab(*faults), volts, limit)
    assert current_a == pytest.approx(amps, abs=0.002)
    assert (voltage_v < volts - 0.1) == (amps == limit)


def test_clipping_the_leads_elsewhere_takes_the_boards_power(lab: Any) -> None:
    bench = lab()
    bench.boot(2.0)
    assert bench.stage is not Stage.OFF
    with bench.world.present():
        bench.world.clip(Place.PORT)
    assert bench.stage is Stage.OFF
    bench.press()
    assert bench.stage is Stage.OFF
    with bench.world.present():
        bench.world.clip(Place.BATTERY)
    bench.press()
    bench.run(1.0)
    assert bench.stage is not Stage.OFF
