"""Whether someone who knew the boot of a device could tell its restarts from a recording, and nothing else for them.

The boot's opening is laid over the recording at each place. Where the truth has a boot it must be more like what was
read than wherever the truth has none.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import fftconvolve

from wakerail_sim.motley.device import Device
from wakerail_sim.motley.meter import Readings
from wakerail_sim.motley.motif import draw_current
from wakerail_sim.motley.story import Boot
from wakerail_sim.noise import Floats

_MOST_BINS = 40
_FEWEST_BINS = 6
_MARGIN = 1.35  # how much less alike what is no boot must be
_PLAIN = 0.12  # what is no boot differs by that much of a factor of e at least
_CLEAR = 0.3  # a change of that much of a factor of e can be seen


def boots_stand_out(readings: Readings, device: Device, boots: list[Boot], sample_s: float, floor_a: float) -> bool:
    """Return whether each boot is more like the device's opening than anything else is, and shows in it.

    Levels are compared by their ratio above ``floor_a``, which is what the meter resolves.
    """
    if not boots:
        return True
    nearest, elsewhere, contrast = 0.0, np.inf, np.inf
    for skipped in range(device.most_skipped + 1):
        opening_s = device.opening_s(skipped)
        bins = min(_MOST_BINS, int(opening_s / sample_s))
        if bins < _FEWEST_BINS:
            return False
        bin_s = opening_s / bins
        read = np.arcsinh(binned(readings, bin_s) / floor_a)
        opening = np.arcsinh(_opening_a(device, skipped, bins, opening_s) / floor_a)
        if len(read) <= bins:
            return False
        how_unlike = unlike(read, opening)
        if any(boot.skipped == skipped for boot in boots):
            contrast = min(contrast, float(np.ptp(np.quantile(opening, (0.05, 0.95)))))
        other = np.ones(len(how_unlike), dtype=bool)
        for boot in boots:
            place = int(boot.again_s / bin_s)
            around = max(2, bins // 8)
            if boot.skipped == skipped and place < len(how_unlike):
                nearest = max(nearest, float(how_unlike[max(0, place - around) : place + around + 1].min()))
            before_s = sum(motif.length_s for motif in device.boot[boot.skipped : skipped])
            other[max(0, place - bins // 2) : int((boot.again_s + before_s) / bin_s) + bins // 2 + 1] = False
        if other.any():
            elsewhere = min(elsewhere, float(how_unlike[other].min()))
    clear = max(_CLEAR, 2 * nearest)
    if _falls_clearly(readings, boots, sample_s, floor_a, clear):
        contrast *= 2
    return contrast > clear and elsewhere > max(_MARGIN * nearest, _PLAIN)


def _falls_clearly(readings: Readings, boots: list[Boot], sample_s: float, floor_a: float, clear: float) -> bool:
    """Return whether the readings before almost all boots are below those on both sides."""
    clearly = 0
    for boot in boots:
        gap_s = max(sample_s, boot.again_s - boot.at_s)
        edges_s = (boot.at_s - gap_s, boot.at_s, boot.again_s, boot.again_s + 2 * gap_s)
        edges = np.searchsorted(readings.t_s, edges_s)
        before, within, after = (readings.current_a[edges[i] : edges[i + 1]] for i in range(3))
        if len(within) and len(after):
            high_a = min(np.median(before), np.median(after)) if len(before) else np.median(after)
            clearly += bool(np.arcsinh(high_a / floor_a) - np.arcsinh(np.median(within) / floor_a) > clear)
    return clearly > 0.8 * len(boots)


def _opening_a(device: Device, skipped: int, bins: int, opening_s: float) -> Floats:
    """Return what the opening draws on the whole, at so many places."""
    chance = np.random.default_rng(0)
    fine_hz = 20 * bins / opening_s
    parts = [
        draw_current(chance, motif, max(1, round(motif.length_s * fine_hz)), fine_hz, length_s=motif.length_s)
        for motif in device.boot[skipped:]
    ]
    fine_a = np.concatenate(parts)
    fine_a = np.pad(fine_a, (0, max(0, 20 * bins - len(fine_a))), mode="edge")
    return np.asarray(fine_a[: 20 * bins].reshape(bins, 20).mean(axis=1))


def binned(readings: Readings, bin_s: float) -> Floats:
    """Return the mean of the readings in each bin, as before where it has none."""
    places = (readings.t_s / bin_s).astype(int).clip(0)
    counts = np.bincount(places)
    sums = np.bincount(places, weights=readings.current_a)
    full = np.flatnonzero(counts)
    return np.asarray(np.interp(np.arange(len(counts)), full, sums[full] / counts[full]))


def unlike(read: Floats, opening: Floats) -> Floats:
    """Return the root mean square difference for each place at which the opening could begin."""
    bins = len(opening)
    squares = np.concatenate(([0.0], np.cumsum(read**2)))
    products = fftconvolve(read, opening[::-1], mode="valid")
    sums = squares[bins:] - squares[:-bins] - 2 * products + np.sum(opening**2)
    return np.asarray(np.sqrt(np.maximum(sums, 0) / bins))


def falls_below_use(current_a: Floats, rate_hz: float, boots: list[Boot], sample_s: float) -> bool:
    """Return whether the device mostly falls, for a sample or more, to half of what it draws at least otherwise."""
    other = np.ones(len(current_a), dtype=bool)
    for boot in boots:
        other[int(boot.at_s * rate_hz) : int((boot.again_s + sample_s) * rate_hz) + 1] = False
    least_a = float(np.quantile(current_a[other], 0.01)) if other.any() else 0.0
    deep = [
        boot.again_s - boot.at_s >= sample_s
        and current_a[int(boot.at_s * rate_hz) : int(boot.again_s * rate_hz) + 1].min() < 0.5 * least_a
        for boot in boots
    ]
    return bool(sum(deep) > 0.5 * len(boots))
