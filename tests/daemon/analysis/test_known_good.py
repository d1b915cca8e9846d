"""The known-good boot of a family, and where another boot first leaves it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.known_good import Boot, KnownGood, boot_since, compare, make_known_good

STAGES = ((0.09, 0.35), (0.26, 2.85), (0.65, 2.5), (0.4, 6.0), (0.19, 28.0))  # amperes and seconds
LENGTH_S = 40.0


def never(t_s, current_a):
    return current_a


def boot(
    seed, *, rate_hz=50.0, stretch=1.0, late_s=0.0, gain=1.0, bursts=12, pulses=False, end_s=LENGTH_S, fault=never
):
    """Return a good boot, with ``fault`` done to it: noise of 2 %, bursts of 1.2 A at random once it is up."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(round(end_s * rate_hz)) / rate_hz
    current_a = np.full(len(t_s), 0.0003)
    begin_s = late_s
    for level_a, for_s in STAGES:
        current_a[t_s >= begin_s] = level_a
        begin_s += stretch * for_s
    for at_s in rng.uniform(13.0, 38.0, bursts):
        current_a[(at_s <= t_s) & (t_s < at_s + 0.15)] += 1.2
    if pulses:
        current_a += 0.3 * ((t_s + rng.uniform()) % 1.0 < 0.3) * (t_s > 12.0)
    current_a = fault(t_s, current_a) * gain * (1 + 0.02 * rng.standard_normal(len(t_s)))
    return Boot(t_s, current_a.clip(0.0))


def references(count=5, **shape):
    """Return good boots from supplies of three rates, with onsets, gains and stage times a little apart."""
    return [
        boot(
            seed,
            rate_hz=(50.0, 20.0, 1000.0)[seed % 3],
            stretch=1 + 0.01 * (seed - 2),
            gain=1 + 0.01 * (seed % 2),
            late_s=0.02 * (seed % 2),
            **shape,
        )
        for seed in range(count)
    ]


KNOWN = make_known_good(references())
PULSING = make_known_good(references(pulses=True))


def from_then(at_s, change):
    """Return a fault that does ``change`` to the current from a time on."""
    return lambda t_s, current_a: np.where(t_s >= at_s, change(current_a), current_a)


def test_what_is_known_of_the_family():
    assert KNOWN.references == 5
    assert KNOWN.length_s == pytest.approx(LENGTH_S, abs=0.1)
    places = [round(at_s / KNOWN.step_s) for at_s in (0.2, 2.0, 4.5, 9.0, 30.0)]
    assert KNOWN.level_a[places] == pytest.approx([0.09, 0.26, 0.65, 0.4, 0.19], rel=0.03)
    assert (KNOWN.low_a <= KNOWN.level_a).all()
    assert (KNOWN.level_a <= KNOWN.high_a).all()
    assert (KNOWN.band_a[places] < 0.06 * KNOWN.level_a[places] + 0.008).all()


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_references_compare_nothing(count):
    told = compare(boot(9), make_known_good(references(count)))
    assert (told.like, told.until_s, told.difference_a) == (None, None, None)
    amount = ("No known-good boot yet", "Only 1 known-good boot", "Only 2 known-good boots")[count]
    assert told.says == told.told == f"{amount}; at least 3 are needed to compare."
    assert told.references == count


@pytest.mark.parametrize(("known", "pulses"), [(KNOWN, False), (PULSING, True)], ids=["steady", "pulsing"])
@pytest.mark.parametrize("rate_hz", [5.0, 20.0, 50.0, 300.0])
@pytest.mark.parametrize("stretch", [0.96, 1.0, 1.04])
def test_a_good_boot_is_like_it(known, pulses, rate_hz, stretch):
    """Bursts fall elsewhere, stages come a little earlier or later, and the supply reads 2 % off."""
    for seed in range(100, 106):
        gain = (0.98, 1.02)[seed % 2]
        told = compare(boot(seed, rate_hz=rate_hz, stretch=stretch, gain=gain, pulses=pulses), known)
        assert told.like is True, told.says
        assert told.says == "Like the known-good boot for all its 40 s."


@pytest.mark.parametrize("rate_hz", [5.0, 20.0, 50.0, 1000.0])
@pytest.mark.parametrize(
    ("at_s", "change", "difference_a"),
    [
        (3.2, lambda current_a: current_a - 0.14, -0.14),  # in the middle of the edge of a stage
        (4.2, lambda current_a: np.full_like(current_a, 0.26), -0.39),  # back to the loader
        (8.0, lambda current_a: np.full_like(current_a, 0.0003), -0.40),  # collapsed
        (8.0, lambda current_a: current_a + 0.14, 0.14),
        (25.0, lambda current_a: current_a + 0.06, 0.06),
        (30.0, lambda current_a: np.full_like(current_a, 2.0), 1.81),  # a short
    ],
)
def test_the_first_divergence_is_named(rate_hz, at_s, change, difference_a):
    told = compare(boot(7, rate_hz=rate_hz, fault=from_then(at_s, change)), KNOWN)
    assert told.like is False
    assert told.until_s == pytest.approx(at_s, abs=max(0.02 * at_s, 0.1) + 1 / rate_hz)
    assert told.difference_a == pytest.approx(difference_a, rel=0.15)


def test_the_divergence_in_words():
    lower = boot(7, fault=from_then(3.2, lambda current_a: current_a - 0.14))
    assert compare(lower, KNOWN).says == "Like the known-good boot until 3.2 s, then 140 mA lower."
    assert compare(lower, KNOWN).told == (
        "Like the known-good boot until 3.2 s, then 140 mA lower (known from 5 boots)."
    )
    nothing = boot(7, fault=from_then(0.0, np.zeros_like))
    assert compare(nothing, KNOWN).says == "Unlike the known-good boot from the start: 91 mA lower."


def test_under_pulses_what_goes_beyond_them_is_seen():
    told = compare(boot(7, pulses=True, fault=from_then(25.0, lambda current_a: current_a + 0.6)), PULSING)
    assert told.like is False
    assert told.until_s == pytest.approx(25.0, abs=1.5)


def test_what_comes_first_is_named_and_not_what_is_largest():
    def both(t_s, current_a):
        return np.where(t_s >= 20.0, 2.5, np.where(t_s >= 8.0, current_a + 0.1, current_a))

    told = compare(boot(7, fault=both), KNOWN)
    assert told.until_s == pytest.approx(8.0, abs=0.2)
    assert told.difference_a == pytest.approx(0.1, rel=0.15)


@pytest.mark.parametrize("rate_hz", [20.0, 50.0, 300.0])
@pytest.mark.parametrize("at_s", [2.0, 9.0, 30.0])
def test_a_burst_does_not_count_and_what_lasts_does(rate_hz, at_s):
    def for_a_while(for_s):
        return lambda t_s, current_a: np.where((at_s <= t_s) & (t_s < at_s + for_s), current_a + 1.0, current_a)

    assert compare(boot(7, rate_hz=rate_hz, fault=for_a_while(0.2)), KNOWN).like is True
    told = compare(boot(7, rate_hz=rate_hz, fault=for_a_while(6.0)), KNOWN)
    assert told.until_s == pytest.approx(at_s, abs=max(0.02 * at_s, 0.1) + 1 / rate_hz)


def test_a_shorter_boot_is_like_it_until_its_trace_ends():
    told = compare(boot(7, end_s=5.04), KNOWN)
    assert told.like is True
    assert told.says == (
        "Like the known-good boot until 5 s, where this boot's trace ends; the known-good one goes on to 40 s."
    )


def test_a_longer_boot_is_compared_as_far_as_the_known_good_one_goes():
    later = from_then(45.0, lambda current_a: current_a + 1.0)
    assert compare(boot(7, end_s=60.0, fault=later), KNOWN).says == "Like the known-good boot for all its 40 s."


def test_too_short_a_boot_is_not_compared():
    told = compare(boot(7, end_s=0.2), KNOWN)
    assert told.like is None
    assert told.says.startswith("Too little of this boot can be compared with the known-good one: ")
    assert told.says.endswith("; at least 0.4 s are needed.")


def test_a_gap_is_no_difference():
    whole = boot(7)
    kept = (whole.t_s < 5.0) | (whole.t_s > 9.0)
    assert compare(Boot(whole.t_s[kept], whole.current_a[kept]), KNOWN).like is True
    missing_a = np.where(kept, whole.current_a, np.nan)
    assert compare(Boot(whole.t_s, missing_a), KNOWN).like is True
    late = boot(7, fault=from_then(12.5, lambda current_a: current_a + 0.3))
    told = compare(Boot(late.t_s[kept], late.current_a[kept]), KNOWN)
    assert told.until_s == pytest.approx(12.5, abs=0.3)


def test_references_of_different_lengths_are_known_as_far_as_three_go():
    boots = [boot(seed, end_s=end_s) for seed, end_s in enumerate((10.0, 20.0, 30.0, 40.0))]
    assert make_known_good(boots).length_s == pytest.approx(20.0, abs=0.1)


def test_one_odd_reference_among_five_does_not_count():
    odd = boot(50, fault=from_then(8.0, lambda current_a: current_a + 0.5))
    known = make_known_good([*references(4), odd])
    assert compare(boot(7), known).like is True
    told = compare(boot(7, fault=from_then(8.0, lambda current_a: current_a + 0.5)), known)
    assert told.like is False


def test_the_order_of_the_references_does_not_matter():
    there, back = make_known_good(references()), make_known_good(references()[::-1])
    for name in ("low_a", "level_a", "high_a", "band_a"):
        assert getattr(there, name) == pytest.approx(getattr(back, name))


@settings(max_examples=8, deadline=None)
@given(st.floats(1e-3, 1e3), st.floats(1e-3, 1e3), st.sampled_from([never, from_then(8.0, lambda a: a * 0.5)]))
def test_scales_of_current_and_time_change_no_finding(current_scale, time_scale, fault):
    """A boot of milliseconds and microamperes is read like one of minutes and amperes: the scales are the trace's."""
    one = compare(boot(7, fault=fault), KNOWN)
    scaled = make_known_good([Boot(ref.t_s * time_scale, ref.current_a * current_scale) for ref in references()])
    seen = boot(7, fault=fault)
    told = compare(Boot(seen.t_s * time_scale, seen.current_a * current_scale), scaled)
    assert told.like is one.like
    assert told.until_s == pytest.approx(one.until_s * time_scale, rel=0.02)
    if one.difference_a is not None:
        assert told.difference_a == pytest.approx(one.difference_a * current_scale, rel=0.02)


@settings(max_examples=15, deadline=None)
@given(st.floats(-0.15, 0.15), st.integers(0, 50))
def test_an_onset_a_little_off_changes_no_finding(late_s, seed):
    whole = boot(200 + seed)
    assert compare(Boot(whole.t_s + late_s, whole.current_a), KNOWN).like is True


def test_onsets_a_little_off_leave_the_known_good_boot_as_sharp():
    late_s = (0.3, 0.0, -0.3, 0.2, -0.2)
    late = [Boot(ref.t_s + off_s, ref.current_a) for ref, off_s in zip(references(), late_s, strict=True)]
    assert make_known_good(late).band_a.mean() < 1.1 * KNOWN.band_a.mean()


@pytest.mark.parametrize("late_s", [-0.3, 0.3])
def test_a_divergence_is_dated_from_the_known_good_onset(late_s):
    seen = boot(7, fault=from_then(8.0, lambda current_a: current_a + 0.14))
    assert compare(Boot(seen.t_s + late_s, seen.current_a), KNOWN).until_s == pytest.approx(8.0, abs=0.15)


def test_a_device_that_draws_nothing_has_a_known_good_boot_too():
    t_s = np.arange(0.0, 10.0, 0.1)
    known = make_known_good([Boot(t_s, np.zeros_like(t_s))] * 3)
    assert compare(Boot(t_s, np.zeros_like(t_s)), known).like is True
    assert compare(Boot(t_s, np.full_like(t_s, 0.01)), known).like is False


def test_a_boot_is_what_was_drawn_from_its_onset_on_for_ten_minutes():
    t_s, current_a = np.arange(0.0, 1000.0, 0.5), np.linspace(0.0, 1.0, 2000)
    parts = [(t_s[:700], current_a[:700]), (t_s[700:], current_a[700:])]
    cut = boot_since(parts, 100.0)
    assert cut.t_s.tolist() == np.arange(0.0, 600.5, 0.5).tolist()
    assert cut.current_a.tolist() == current_a[200:1401].tolist()
    assert boot_since(parts, 999.5) is None
    assert boot_since([], 0.0) is None


def test_a_boot_that_was_not_seen_to_begin_compares_with_nothing():
    told = compare(None, KNOWN)
    assert (told.references, told.like, told.until_s, told.difference_a) == (5, None, None, None)
    assert told.told == "No boot was seen to begin that could be compared with the known-good one."


@pytest.mark.parametrize(
    ("t_s", "current_a", "says"),
    [
        ([0.0, 1.0], [0.1], "2 times do not go with 1 currents"),
        ([0.0, 1.0, 1.0], [0.1, 0.1, 0.1], "must ascend"),
        ([0.0, 1.0], [0.1, np.nan], "two samples with data"),
    ],
)
def test_a_boot_that_cannot_be(t_s, current_a, says):
    with pytest.raises(ValueError, match=says):
        Boot(np.array(t_s), np.array(current_a))


def test_a_known_good_boot_of_nothing_has_no_length():
    assert KnownGood(0, 0.0, *(np.empty(0),) * 4).length_s == 0.0
