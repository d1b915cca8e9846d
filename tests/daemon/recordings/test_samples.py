"""Samples and USB events in one order of time, and traces in outline."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.recordings.outline import Outline
from wakerail.recordings.samples import Piece, in_time
from wakerail_kit.events import UsbDetached


def cut(values, sizes):
    """Cut an array into pieces of these sizes, over and over."""
    at, number = 0, 0
    while at < len(values):
        size = sizes[number % len(sizes)]
        yield values[at : at + size]
        at, number = at + size, number + 1


SIZES = st.lists(st.integers(1, 50), min_size=1, max_size=5)
TIMES = st.lists(st.integers(0, 400), max_size=20)


@given(samples=st.integers(1, 200), sizes=SIZES, events=TIMES)
def test_events_and_samples_come_in_the_order_of_time_whatever_the_pieces(samples, sizes, events):
    times = np.arange(samples, dtype=float)
    pieces = (Piece(part, part * 2, part * 3) for part in cut(times, sizes))
    usb = [UsbDetached(instrument="usb", at_s=at / 2, path=str(number)) for number, at in enumerate(events)]
    flat = []
    for arrival in in_time(pieces, usb):
        if isinstance(arrival, Piece):
            assert (arrival.current_a == arrival.t_s * 2).all()
            assert (arrival.voltage_v == arrival.t_s * 3).all()
            flat += [(at, 1) for at in arrival.t_s.tolist()]
        else:
            flat.append((arrival.at_s, 0))
    expected = sorted([(at, 1) for at in times.tolist()] + [(at / 2, 0) for at in events])
    assert flat == expected  # an event before the sample of its moment


def test_events_alone_come_in_order():
    usb = [UsbDetached(instrument="usb", at_s=at, path="1") for at in (2.0, 1.0)]
    assert [event.at_s for event in in_time(iter(()), usb)] == [1.0, 2.0]


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=300), SIZES)
def test_few_samples_are_kept_as_they_are(values, sizes):
    outline = Outline(slots=200)
    times = np.arange(len(values)) / 7
    for part in cut(np.arange(len(values)), sizes):
        outline.take(times[part], np.array(values)[part])
    kept_times, kept = outline.line()
    assert kept_times.tolist() == times.tolist()
    assert kept.tolist() == values


@pytest.mark.parametrize("size", [1, 7, 1000, 50_000])
def test_an_outline_keeps_every_peak_in_its_place_and_stays_small(size):
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(0.5, 1.5, 50_000)) / 1000
    values = rng.normal(0.2, 0.01, times.size)
    peaks, dips = [1_234, 25_000, 49_999], [3, 30_000]
    values[peaks], values[dips] = 3.0, -1.0
    if size == 1:
        times, values = times[:5000], values[:5000]
        peaks, dips = peaks[:1], dips[:1]
    outline = Outline(slots=256)
    for at in range(0, times.size, size):
        outline.take(times[at : at + size], values[at : at + size])
    drawn, line = outline.line()
    assert drawn.size <= 2 * 2 * 256 + 2
    assert (np.diff(drawn) > 0).all()
    slot_s = 2 * (times[-1] - times[0]) / 256
    for value, places in ((3.0, peaks), (-1.0, dips)):
        distances = np.abs(drawn[line == value][:, None] - times[places])
        assert distances.min(axis=0).max() <= slot_s  # each is there
        assert distances.min(axis=1).max() <= slot_s  # and nothing else is
    assert max(value for value in outline.columns(40) if value is not None) == 3.0


def test_an_outline_leaves_gaps_and_what_is_missing_empty():
    outline = Outline()
    outline.take(np.array([0.0, 1.0, 9.0]), np.array([1.0, np.nan, 2.0]))
    assert outline.columns(3) == [1.0, None, 2.0]
    assert Outline().columns(2) == [None, None]
