"""The same seed and commands at the same times give the same samples, however the world is asked meanwhile."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_sim.noise import Noise

SPAN_MS = 1500
COMMANDS = ("OUTP ON", "OUTP OFF", "CURR 0.2", "CURR 3", "VOLT 3.2", "VOLT 3.85", "press", "CURR:PROT 0.25;PROT:STAT 1")
FAULTS = ("standing-draw:40mA", "restart-at-stage:rom", "bridged-layers", "dirty-port")

scripts = st.lists(st.tuples(st.integers(0, SPAN_MS), st.sampled_from(COMMANDS)), max_size=8).map(
    lambda script: [(0, "VOLT 3.85;CURR 3;:OUTP ON"), (5, "press"), *sorted(script, key=lambda entry: entry[0])]
)
looks = st.lists(st.integers(0, SPAN_MS), max_size=12)


def play(bench: Any, script: list[tuple[int, str]], looks: list[int]) -> tuple[list[float], list[float], list[str]]:
    """Give the commands at their times and fetch at the times of ``looks`` too."""
    currents: list[float] = []
    voltages: list[float] = []
    now_ms = 0
    steps = sorted([*((at, 1, text) for at, text in script), *((at, 0, "") for at in looks)], key=lambda s: s[0])
    for at_ms, _, text in [*steps, (SPAN_MS, 0, "")]:
        bench.clock.advance((at_ms - now_ms) / 1000)
        now_ms = at_ms
        if text == "press":
            bench.press()
        elif text:
            bench.tell(text)
        else:
            bench.ask("MEAS:CURR?;VOLT?;:STAT:QUES:COND?;:SYST:ERR?")
            currents += bench.samples().tolist()
            voltages += [float(value) for value in bench.ask("FETC:ARR:VOLT?").split(",") if value]
    return currents, voltages, [str(change) for change in bench.usb]


@settings(max_examples=25, deadline=None)
@given(script=scripts, looks=looks, faults=st.sets(st.sampled_from(FAULTS)), seed=st.integers(0, 2**31))
def test_asking_more_often_changes_nothing(
    lab: Any, script: list[tuple[int, str]], looks: list[int], faults: set[str], seed: int
) -> None:
    chosen = sorted(faults)
    once = play(lab(*chosen, seed=seed), script, [])
    often = play(lab(*chosen, seed=seed), script, looks)
    assert often == once
    assert len(once[0]) == len(once[1]) == SPAN_MS // 2


# each ends with something that the current or the voltage brings about between two commands
SURPRISES = {
    "over-current": [(300, "CURR:PROT 0.15;PROT:STAT 1")],
    "brown-out": [(200, "CURR 0.05")],
    "collapse": [(200, "CURR 0.02")],
    "limits": [(300, "CURR 0.28"), (900, "CURR 0.26")],
}


@pytest.mark.parametrize("script", SURPRISES.values(), ids=SURPRISES)
def test_what_happens_by_itself_happens_at_its_own_step(lab: Any, script: list[tuple[int, str]]) -> None:
    whole = [(0, "VOLT 3.85;CURR 3;:OUTP ON"), (5, "press"), *script]
    once = play(lab(), whole, [])
    assert play(lab(), whole, list(range(195, 420))) == once
    assert play(lab(), whole, list(range(0, SPAN_MS, 70))) == once
    assert max(once[0][500:]) != max(once[0])  # the surprise did come


def test_another_seed_gives_other_samples_of_the_same_boot(lab: Any) -> None:
    one, other = (lab(seed=seed).boot(8.0) for seed in (1, 2))
    assert not np.array_equal(one, other)
    assert float(one.mean()) == pytest.approx(float(other.mean()), rel=0.02)


@given(seed=st.integers(0, 2**40), stream=st.integers(0, 50), begin=st.integers(0, 20_000), count=st.integers(1, 6000))
@settings(max_examples=30, deadline=None)
def test_noise_depends_on_its_index_alone(seed: int, stream: int, begin: int, count: int) -> None:
    indices = np.arange(begin, begin + count, dtype=np.int64)
    whole = Noise(seed).normal(stream, indices)
    alone = Noise(seed)
    assert alone.one_normal(stream, begin + count - 1) == whole[-1]
    assert alone.one_normal(stream, begin) == whole[0]
    half = count // 2
    assert np.array_equal(np.concatenate([alone.normal(stream, indices[half:])]), whole[half:])
