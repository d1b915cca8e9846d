"""What the supply had to do with it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.supply import BootEnd, SupplyWatch
from wakerail.analysis.watch import BootReader
from wakerail_kit.outcome import Finding, Outcome

RATE_HZ = 100.0


def supply_from_a_file(limit_a, leads_ohm=0.05, volts=3.85, seed=3):
    """A boot through leads, on a supply that holds ``limit_a`` where the device wants more; its voltage falls there."""
    rng = np.random.default_rng(seed)
    wanted = np.concatenate([np.full(int(100 * for_s), level_a) for level_a, for_s in LOOP])
    wanted = wanted * (1 + 0.02 * rng.standard_normal(len(wanted)))
    current_a = np.minimum(wanted, limit_a)
    # what a device of constant power or of resistors does not get, it misses in voltage
    voltage_v = (volts - leads_ohm * current_a) * np.minimum(current_a / wanted, 1.0)
    current_a = current_a + 0.0005 * rng.standard_normal(len(wanted))
    return np.arange(len(wanted)) / RATE_HZ, current_a, voltage_v + 0.001 * rng.standard_normal(len(wanted))


LOOP = [(0.0003, 2.0), *[(0.09, 0.35), (0.26, 0.8), (0.65, 0.6), (0.0003, 0.5)] * 4]


def read(t_s, current_a, voltage_v):
    reader = BootReader(ReaderSettings())
    reader.take(t_s, current_a, voltage_v)
    return reader.finish(float(t_s[-1]))


def test_a_flat_top_with_a_sagging_voltage_is_a_supply_at_its_limit():
    reading = read(*supply_from_a_file(0.5))
    assert (reading.finding, reading.outcome) == (Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE)
    assert "try a limit of 1 A" in reading.says.replace("999 mA", "1 A")
    assert reading.probability == 0.99


@pytest.mark.parametrize("leads_ohm", [0.05, 0.5])
def test_a_voltage_that_falls_in_the_leads_is_no_limit(leads_ohm):
    """Half an ohm takes 8 % at the highest current, and the more of it the higher the current is."""
    assert read(*supply_from_a_file(9.0, leads_ohm)).finding is Finding.RESTARTING


def test_without_a_voltage_a_flat_top_says_nothing():
    t_s, current_a, _ = supply_from_a_file(0.5)
    assert read(t_s, current_a, None).finding is Finding.RESTARTING
    assert read(t_s, current_a, np.full(len(t_s), np.nan)).finding is Finding.RESTARTING


@given(
    limited=st.lists(st.tuples(st.booleans(), st.integers(1, 40)), min_size=1, max_size=12),
    sizes=st.lists(st.integers(1, 50), min_size=1, max_size=8),
    end_s=st.floats(0, 10),
)
def test_pieces_of_any_size_say_the_same_of_the_supply(limited, sizes, end_s):
    """Of the limit, of a short, and of a boot's end near it."""
    on = np.concatenate([np.full(count, float(one)) for one, count in limited])
    t_s, volts = np.arange(len(on)) / 20, np.where(on > 0, 0.2, 3.85)

    def told(pieces):
        watch = SupplyWatch(1.0, 3.85, 0.5, 1.0)
        for cut in pieces:
            watch.take(t_s[cut], on[cut], volts[cut], on[cut])
        end = BootEnd(end_s, 0.05)
        return watch.dragged_down_v(), watch.held_back([]), watch.held_back([end]), watch.met_its_limit

    edges = np.minimum(np.cumsum([0, *sizes * len(on)]), len(on))  # however small the sizes, to the end
    pieces = [slice(first, last) for first, last in itertools.pairwise(edges) if last > first]
    assert told(pieces) == told([slice(None)])
    longest_s = max((count - 1) / 20 if one else 0.0 for one, count in limited)
    dragged_v, held, _, met = told(pieces)
    assert met == bool(on.any())
    assert held >= (longest_s >= 0.14)
    assert (dragged_v is not None) >= (longest_s >= 0.5)


def test_a_gap_parts_what_was_limited_before_and_after_it():
    watch = SupplyWatch(None, 3.85, 0.5, 1.0)
    t_s = np.array([0.0, 0.05, 5.0, 5.05])
    watch.take(t_s, np.full(4, 3.0), np.full(4, 0.2), np.ones(4))
    assert watch.dragged_down_v() is None
    assert not watch.held_back([])
    assert watch.met_its_limit
