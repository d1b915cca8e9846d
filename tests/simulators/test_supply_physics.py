from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wakerail_sim.supply import Held, Supply

VOLTS = st.floats(0.1, 20.0)
LIMITS = st.floats(0.01, 6.0)
OHMS = st.floats(0.01, 10_000.0)


@settings(deadline=None)
@given(volts=VOLTS, limit=LIMITS, ohms=OHMS)
def test_the_output_obeys_ohm_and_never_exceeds_a_setting(volts: float, limit: float, ohms: float) -> None:
    supply = Supply()
    supply.voltage_v, supply.current_limit_a, supply.output_on = volts, limit, True
    flow = supply.into_conductance(np.array([1.0 / ohms]))
    voltage_v, current_a = float(flow.voltage_v[0]), float(flow.current_a[0])
    assert voltage_v == pytest.approx(current_a * ohms)  # Ohm's law
    assert voltage_v <= volts * (1 + 1e-12)
    assert current_a <= limit * (1 + 1e-12)
    assert voltage_v == pytest.approx(volts) or current_a == pytest.approx(limit)
    assert bool(flow.limiting[0]) is (volts / ohms > limit)


@settings(max_examples=20, deadline=None)
@given(ohms=st.floats(0.02, 50.0), limit=st.floats(0.1, 3.0))
def test_the_meter_shows_what_a_known_load_draws(lab: Any, ohms: float, limit: float) -> None:
    bench = lab(f"dead-short:{ohms:.4f}Ohm")
    bench.power(volts=2.0, limit=round(limit, 4))
    bench.run(0.1)
    expected_a = min(2.0 / ohms + 0.0003 * 2.0 / 3.85, limit)
    assert float(bench.ask("MEAS:CURR?")) == pytest.approx(expected_a, rel=2e-3, abs=0.001)
    assert float(bench.ask("MEAS:VOLT?")) == pytest.approx(min(2.0, limit * ohms), rel=2e-3, abs=0.003)


def test_nothing_flows_before_the_output_is_on(lab: Any) -> None:
    bench = lab("standing-draw:40mA")
    bench.tell("VOLT 3.85;CURR 3")
    bench.run(0.1)
    assert bench.ask("OUTP?") == "0"
    assert float(bench.ask("MEAS:VOLT?")) == pytest.approx(0, abs=0.003)
    assert float(bench.ask("MEAS:CURR?")) == pytest.approx(0, abs=0.001)


def test_readings_come_in_steps_of_a_millivolt_and_a_tenth_of_a_milliampere(lab: Any) -> None:
    bench = lab()
    currents = bench.boot(2.0)
    voltages = np.array([float(value) for value in bench.ask("FETC:ARR:VOLT?").split(",")])
    for values, step in ((currents, 1e-4), (voltages, 1e-3)):
        assert np.allclose(values / step, np.round(values / step), atol=1e-3)
        assert len(set(values.tolist())) > 2


def test_questionable_bits_tell_constant_current_from_constant_voltage(lab: Any) -> None:
    bench = lab("dead-short:10Ohm")
    assert bench.ask("STAT:QUES:COND?") == "0"
    bench.power(volts=3.0, limit=1.0)
    bench.run(0.01)
    assert bench.ask("STAT:QUES:COND?") == "2"
    assert bench.ask("STAT:QUES?") == "2"
    bench.tell("CURR 0.1")
    bench.run(0.01)
    assert bench.ask("STAT:QUES:COND?") == "1"
    assert bench.ask("STAT:QUES?") == "1"
    assert bench.ask("STAT:QUES?") == "0"  # an event register is cleared by reading it
    bench.tell("OUTP OFF")
    assert bench.ask("STAT:QUES:COND?") == "0"


def test_a_short_time_in_constant_current_stays_in_the_event_register(lab: Any) -> None:
    bench = lab()
    bench.boot(4.0, limit=0.8)  # the kernel's peaks go beyond 0.8 A
    assert int(bench.ask("STAT:QUES:EVEN?")) & 1


def test_over_current_protection_trips_and_must_be_cleared(lab: Any) -> None:
    bench = lab("standing-draw:500mA")
    bench.tell("CURR:PROT 0.4;PROT:STAT ON")
    bench.power()
    bench.run(0.1)
    assert bench.ask("OUTP?;:CURR:PROT:TRIP?;:VOLT:PROT:TRIP?") == "0;1;0"
    bench.tell("OUTP ON")
    assert bench.ask("SYST:ERR?") == '-221,"Settings conflict"'
    bench.tell("OUTP:PROT:CLE;:CURR:PROT:STAT OFF;:OUTP ON")
    bench.run(0.1)
    assert bench.ask("OUTP?;:CURR:PROT:TRIP?") == "1;0"


def test_over_voltage_protection_trips(lab: Any) -> None:
    bench = lab()
    bench.power(volts=4.0)
    bench.run(0.01)
    bench.tell("VOLT:PROT 3.9")
    bench.run(0.01)
    assert bench.ask("OUTP?;:VOLT:PROT:TRIP?") == "0;1"
    assert float(bench.ask("MEAS:VOLT?")) == pytest.approx(0, abs=0.003)


def test_the_sample_buffer_keeps_the_newest_ten_thousand(lab: Any) -> None:
    bench = lab()
    bench.power()
    bench.run(30.0)  # 15,000 samples at 2 ms, the first 10 s of them lost
    bench.press()
    bench.run(0.2)
    samples = bench.samples()
    assert len(samples) == 10_000
    assert (samples[-95:] > 0.05).all()
    assert (samples[:-101] < 0.05).all()
    assert bench.samples().size == 0


@given(spacing_ticks=st.integers(1, 10_000), elapsed_ms=st.integers(1, 3000))
@settings(max_examples=40, deadline=None)
def test_samples_are_as_many_as_fit_the_time(lab: Any, spacing_ticks: int, elapsed_ms: int) -> None:
    expected = -(-elapsed_ms * 10 // spacing_ticks)
    assume(expected <= 10_000)
    bench = lab()
    bench.tell(f"SENS:SWE:TINT {spacing_ticks / 10_000:.4f}")
    assert float(bench.ask("SWE:TINT?")) == pytest.approx(spacing_ticks / 10_000)
    bench.clock.advance(elapsed_ms / 1000)
    assert bench.samples().size == expected


@settings(deadline=None)
@given(runs=st.lists(st.tuples(st.booleans(), st.integers(1, 12)), max_size=12), cuts=st.sets(st.integers(1, 100)))
def test_a_condition_is_held_across_any_cutting_of_the_time(runs: list[tuple[bool, int]], cuts: set[int]) -> None:
    needed = 5
    condition = np.array([value for value, length in runs for _ in range(length)], dtype=np.bool_)
    held, expected = 0, None
    for place, value in enumerate(condition):
        held = held + 1 if value else 0
        if held >= needed:
            expected = place + 1
            break
    watch, begin, found = Held(needed), 0, None
    for end in [*sorted(cut for cut in cuts if cut < len(condition)), len(condition)]:
        part = condition[begin:end]
        first = watch.first(part)
        if first is not None:
            found = begin + first
            break
        watch.pass_by(part)
        begin = end
    assert found == expected
