"""The simulated junctions against the diode law and the constants that it rests on.

Shockley's law (W. Shockley, Bell System Technical Journal 28, 1949, 435-489; in every textbook of electronics): the
current grows by a factor e for each kT/q of forward voltage, which is 25.85 mV at 300 K, and tenfold for each 59.5 mV.
The constants are those of the SI as SciPy has them (CODATA). That a silicon junction drops 0.3 to 0.8 V at a
milliampere is the textbooks' rule of thumb (from memory).
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from wakerail_kit.connectors import Known
from wakerail_kit.families import load_family
from wakerail_sim.junction import Junction, thermal_voltage_v, voltage_over

voltages_v = st.floats(0.3, 0.8)


def test_the_thermal_voltage_is_25_85_mv_at_300_k():
    assert thermal_voltage_v() == pytest.approx(25.85e-3, abs=0.005e-3)
    assert thermal_voltage_v(350.0) == pytest.approx(constants.k * 350 / constants.e, rel=1e-12)


@given(voltages_v, st.floats(1e-5, 1e-2))
@settings(max_examples=30)
def test_ten_times_the_current_is_59_5_mv_more(voltage_v, current_a):
    junction = Junction.dropping(voltage_v, current_a)
    more_v = voltage_over([junction], [], 10 * current_a, 2.5)
    assert more_v - voltage_v == pytest.approx(59.5e-3, abs=0.1e-3)


@given(voltages_v)
@settings(max_examples=30)
def test_two_like_junctions_in_parallel_drop_kt_over_q_times_ln_2_less(voltage_v):
    junction = Junction.dropping(voltage_v, 1e-3)
    both_v = voltage_over([junction, junction], [], 1e-3, 2.5)
    assert voltage_v - both_v == pytest.approx(constants.k * 300 / constants.e * math.log(2), abs=1e-6)


@given(voltages_v, st.floats(10.0, 1e5))
@settings(max_examples=30)
def test_currents_add_up_over_a_junction_and_a_leak(voltage_v, leak_ohm):
    """Kirchhoff's current law at the answer."""
    junction = Junction.dropping(voltage_v, 1e-3)
    over_v = voltage_over([junction], [leak_ohm], 1e-3, 2.5)
    assert junction.current_a(over_v) + over_v / leak_ohm == pytest.approx(1e-3, rel=1e-6)
    assert over_v <= voltage_v


def test_the_familys_junctions_are_silicons():
    family = load_family(Path(__file__).parents[2] / "config" / "devices" / "fenmoor-t3.yaml")
    known = [pin.value for each in family.connectors.values() for pin in each.pins if pin.known is Known.VOLTS]
    assert known
    assert all(0.3 <= volts <= 0.8 for volts in known)
