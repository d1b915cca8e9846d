"""The known-good boot of a device family, made from boots that passed, and where another boot first leaves it.

Two boots of one good device are never the same: radio bursts fall elsewhere, a stage takes a little longer, the
supply reads a percent off. So ranges are compared, those that the middle half of the currents lies in, over a window
that grows as the boot goes on; they differ where they have nothing in common, and that counts once it lasts. Under a
load that pulses for more than a quarter of the time, a change that stays within the pulses is therefore not seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wakerail.analysis.cusum import Alarm, Side, cusum
from wakerail.analysis.ticks import Floats
from wakerail.analysis.words import brief
from wakerail_kit.units import human

#: From two boots nobody can tell which of them is the odd one.
MIN_REFERENCES = 3
#: A device has long booted by then; this also bounds the memory for fast samples.
BOOT_S = 600.0
#: A stage may come earlier or later by this share of the time since onset.
STRETCH = 0.05
#: Two supplies and two boards of a family differ by this share of the level, or of the highest level, at no fault.
_LEVEL_SHARE, _PEAK_SHARE = 0.05, 0.01
#: The onset may be off by this share of the known-good boot's length, and by two bins in any case.
_SHIFT_SHARE, _SHIFT_BINS = 0.01, 2
#: A difference beyond every doubt lasts for this share of the known-good boot's length, and for five bins in any case.
_LAST_SHARE, _LAST_BINS = 0.01, 5
_MAX_BINS = 2000
#: A window is so many bins to either side, or as many as the stretch is.
_WINDOW_BINS = 2
#: A space between two samples that is longer than so many usual ones is a gap.
_GAP_SPACINGS = 5.0
# The CUSUM takes differences in bands, at most _CLIP of them, so that each counts by its length and not its height.
# With this allowance those that come and go for up to a third of the time never add up to an alarm.
_CLIP, _ALLOWANCE = 4.0, 1.5
# From the mean absolute deviation to the standard deviation of a normal distribution.
_SIGMA_OF_MEAN_DEVIATION = math.sqrt(math.pi / 2)


@dataclass(frozen=True, slots=True, eq=False)
class Boot:
    """A boot's current: ``t_s`` since its onset, ascending, at any rates; NaN currents are no data.

    Raises ValueError for times out of order, for lengths that differ, and for fewer than two samples with data.
    """

    t_s: Floats
    current_a: Floats

    def __post_init__(self) -> None:
        if len(self.t_s) != len(self.current_a):
            raise ValueError(f"{len(self.t_s)} times do not go with {len(self.current_a)} currents")
        if not (np.diff(self.t_s) > 0).all():
            raise ValueError("the times of a boot must ascend")
        if np.isfinite(self.current_a).sum() < 2:
            raise ValueError("a boot needs two samples with data")


def boot_since(parts: Iterable[tuple[Floats, Floats]], onset_s: float) -> Boot | None:
    """Return what was drawn from an onset on, for ten minutes at most; None where fewer than two samples are in it.

    ``parts`` are times and currents, in the order of time.
    """
    times_s: list[Floats] = []
    currents_a: list[Floats] = []
    for t_s, current_a in parts:
        if t_s[0] > onset_s + BOOT_S:
            break
        keep = (t_s >= onset_s) & (t_s <= onset_s + BOOT_S)
        times_s.append(t_s[keep] - onset_s)
        currents_a.append(current_a[keep])
    if sum(map(len, times_s)) < 2:
        return None
    return Boot(np.concatenate(times_s), np.concatenate(currents_a))


@dataclass(frozen=True, slots=True, eq=False)
class KnownGood:
    """What a good boot of a family draws, in bins of ``step_s`` from the onset on.

    references: how many boots it is from; fewer than MIN_REFERENCES make none, and there are no bins. low_a, level_a,
    high_a: the quartiles and the median in the window about each bin, each the median of the references'. band_a: how
    far a good boot strays from them (one standard deviation, with a floor). All are NaN in bins that fewer than
    MIN_REFERENCES references cover.
    """

    references: int
    step_s: float
    low_a: Floats
    level_a: Floats
    high_a: Floats
    band_a: Floats

    @property
    def length_s(self) -> float:
        """For how long after the onset it is known."""
        return len(self.level_a) * self.step_s


@dataclass(frozen=True, slots=True)
class Comparison:
    """How a boot compares with the known-good one, which was made from so many ``references``.

    like: whether it is like it, as far as both go; None where nothing could be compared. until_s: since the onset,
    until when it is. difference_a: by how much it lies higher (above zero) or lower from then on; None without a
    divergence.
    """

    references: int
    like: bool | None
    until_s: float | None
    difference_a: float | None
    says: str

    @property
    def told(self) -> str:
        """What it says, and how many boots that is known from."""
        if self.like is None:
            return self.says
        return f"{self.says.removesuffix('.')} (known from {self.references} boots)."


class _Charge:
    """A boot as the charge since its first sample, from which the mean over any bin is a difference."""

    def __init__(self, boot: Boot) -> None:
        has_data = np.isfinite(boot.current_a)
        self._t_s, current_a = boot.t_s[has_data], boot.current_a[has_data]
        spaces_s = np.diff(self._t_s)
        self._charge_as = np.concatenate(([0.0], np.cumsum(spaces_s * (current_a[1:] + current_a[:-1]) / 2)))
        self.spacing_s = float(np.median(spaces_s))
        self.end_s = float(self._t_s[-1])
        gaps = np.flatnonzero(spaces_s > _GAP_SPACINGS * self.spacing_s)
        self._gaps_s = [(float(self._t_s[gap]), float(self._t_s[gap + 1])) for gap in gaps]

    def levels(self, step_s: float, bins: int, lag_s: float) -> Floats:
        """Return the mean current of each bin, the boot moved ``lag_s`` earlier; NaN where it has no data."""
        edges_s = np.arange(bins + 1) * step_s + lag_s
        # the end of a bin is a product and that of the trace a sum: a trace that ends with a bin reaches its end
        edges_s[np.isclose(edges_s, self.end_s, rtol=1e-9, atol=1e-6 * step_s)] = self.end_s
        charge_as = np.interp(edges_s, self._t_s, self._charge_as, left=math.nan, right=math.nan)
        level_a: Floats = np.diff(charge_as) / step_s
        for start_s, end_s in self._gaps_s:
            first, last = (start_s - lag_s) / step_s, (end_s - lag_s) / step_s
            level_a[max(math.floor(first), 0) : max(math.ceil(last), 0)] = math.nan
        return level_a


def make_known_good(boots: Sequence[Boot]) -> KnownGood:
    """Return the known-good boot from boots that passed: aligned, median and band.

    The bins are as long as the slowest boot's samples, at most 2000 of them; it is known for as long as
    MIN_REFERENCES of the boots go.
    """
    none = np.empty(0)
    if len(boots) < MIN_REFERENCES:
        return KnownGood(len(boots), 0.0, none, none, none, none)
    charges = [_Charge(boot) for boot in boots]
    length_s = max(sorted(charge.end_s for charge in charges)[-MIN_REFERENCES], 0.0)
    step_s = max(*(charge.spacing_s for charge in charges), length_s / _MAX_BINS)
    bins = math.floor(length_s / step_s + 1e-6)
    levels_a = np.array([charge.levels(step_s, bins, 0.0) for charge in charges])
    median_a = _median(levels_a)
    for _ in range(2):  # the median of boots that are aligned is sharper, and they align to it better
        levels_a = np.array([_aligned(charge, median_a, np.ones(bins), step_s) for charge in charges])
        median_a = _median(levels_a)
    quartiles_a = np.array([_quartiles(level_a, step_s, _WINDOW_BINS * step_s) for level_a in levels_a])
    low_a, level_a, high_a = medians_a = [_median(quartiles_a[:, which]) for which in range(3)]
    return KnownGood(len(boots), step_s, low_a, level_a, high_a, _band(quartiles_a, np.array(medians_a), step_s))


def compare(boot: Boot | None, known: KnownGood) -> Comparison:
    """Return where a boot first leaves the known-good one, and by how much; None is a boot that was not seen to begin.

    The difference from the range of levels that the known-good boot has about that time is divided by its band and
    given to a two-sided CUSUM; what does not last raises no alarm.
    """
    if known.references < MIN_REFERENCES:
        few = f"Only {_boots(known.references)}" if known.references else "No known-good boot yet"
        says = f"{few}; at least {MIN_REFERENCES} are needed to compare."
        return Comparison(known.references, None, None, None, says)
    if boot is None:
        says = "No boot was seen to begin that could be compared with the known-good one."
        return Comparison(known.references, None, None, None, says)
    charge = _Charge(boot)
    bin_s = max(known.step_s, charge.spacing_s)
    lasts_s = max(_LAST_BINS * bin_s, _LAST_SHARE * known.length_s)
    level_a = _aligned(charge, known.level_a, known.band_a, known.step_s)
    places = np.flatnonzero(np.isfinite(level_a) & np.isfinite(known.level_a))
    if len(places) * known.step_s < lasts_s:
        says = (
            f"Too little of this boot can be compared with the known-good one: {brief(len(places) * known.step_s)}; "
            f"at least {brief(lasts_s)} are needed."
        )
        return Comparison(known.references, None, None, None, says)
    window_s = _WINDOW_BINS * bin_s
    low_a, level_a, high_a = _quartiles(level_a, known.step_s, window_s)
    known_low_a, known_high_a = _range_about(known, window_s)
    apart_a = np.maximum(low_a - known_high_a, 0.0) - np.maximum(known_low_a - high_a, 0.0)
    outside = (apart_a / known.band_a)[places]
    limit = (_CLIP - _ALLOWANCE) * lasts_s / known.step_s
    alarm = cusum(np.clip(outside, -_CLIP, _CLIP), 0.0, k=_ALLOWANCE, h=limit).alarm
    if alarm is None:
        return _alike(float(places[-1] + 1) * known.step_s, lasts_s, known)
    return _diverged(alarm, places, outside, (level_a - known.level_a)[places], known)


def _alike(until_s: float, lasts_s: float, known: KnownGood) -> Comparison:
    says = f"Like the known-good boot for all its {brief(known.length_s)}."
    if until_s <= known.length_s - lasts_s:
        says = (
            f"Like the known-good boot until {brief(until_s)}, where this boot's trace ends; "
            f"the known-good one goes on to {brief(known.length_s)}."
        )
    return Comparison(known.references, True, until_s, None, says)


def _diverged(
    alarm: Alarm, places: npt.NDArray[np.int64], outside: Floats, apart_a: Floats, known: KnownGood
) -> Comparison:
    sign = 1 if alarm.side is Side.HIGHER else -1
    first = alarm.index - alarm.run_length + 1
    run = slice(first, alarm.index + 1)
    difference_a = float(np.median(apart_a[run][sign * outside[run] > 0]))
    # It left the known-good level before it left the range about it: by so much later the sum began to rise.
    bands_apart = sign * apart_a / known.band_a[places]
    earliest = first - math.ceil(STRETCH * float(places[first])) - _SHIFT_BINS
    while first > max(earliest, 0) and bands_apart[first - 1] > _ALLOWANCE:
        first -= 1
    until_s = float(places[first]) * known.step_s
    amount = f"{human(float(f'{abs(difference_a):.2g}'), 'A')} {alarm.side}"
    says = f"Like the known-good boot until {brief(until_s)}, then {amount}."
    if first == 0:
        says = f"Unlike the known-good boot from the start: {amount}."
    return Comparison(known.references, False, until_s, difference_a, says)


def _aligned(charge: _Charge, median_a: Floats, band_a: Floats, step_s: float) -> Floats:
    """Return a boot's levels at the lag, within what the onset may be off, at which they are nearest to a median."""
    reach = max(_SHIFT_BINS, round(_SHIFT_SHARE * len(median_a)))
    best_a, least = charge.levels(step_s, len(median_a), 0.0), math.inf
    for lag in sorted(range(-reach, reach + 1), key=abs):
        level_a = charge.levels(step_s, len(median_a), lag * step_s)
        apart = np.abs(level_a - median_a) / band_a
        apart = apart[np.isfinite(apart)]
        distance = float(np.minimum(apart, _CLIP).mean()) if len(apart) else math.inf
        if distance < least * (1 - 1e-9):
            best_a, least = level_a, distance
    return best_a


def _median(levels_a: Floats) -> Floats:
    covered = np.isfinite(levels_a).sum(axis=0) >= MIN_REFERENCES
    median_a = np.full(levels_a.shape[1], math.nan)
    median_a[covered] = np.nanmedian(levels_a[:, covered], axis=0)
    return median_a


def _band(quartiles_a: Floats, medians_a: Floats, step_s: float) -> Floats:
    """Return one standard deviation of the references about their median, pooled over the window about each bin.

    Of the median and the quartiles the one that strays least is taken: a load that pulses moves the others about.
    From the mean of the absolute deviations, as their median is zero wherever two of three references agree.
    """
    level_a = medians_a[1]
    covered = np.isfinite(level_a)
    band_a = np.full(len(level_a), math.nan)
    if not covered.any():
        return band_a
    counts = np.isfinite(quartiles_a[:, 1, covered]).sum(axis=0)
    deviations_a = np.nanmean(np.abs(quartiles_a - medians_a)[:, :, covered], axis=0)
    deviation_a = np.zeros(len(level_a))
    deviation_a[covered] = deviations_a.min(axis=0) * np.sqrt(counts / (counts - 1))
    first, last = _about(len(level_a), step_s, _WINDOW_BINS * step_s)
    sums, numbers = (np.concatenate(([0.0], np.cumsum(each))) for each in (deviation_a, covered))
    pooled_a = (sums[last] - sums[first]) / np.maximum(numbers[last] - numbers[first], 1)
    floor_a = np.maximum(_LEVEL_SHARE * np.abs(level_a), _PEAK_SHARE * np.nanmax(np.abs(level_a)))
    band_a[covered] = np.maximum(_SIGMA_OF_MEAN_DEVIATION * pooled_a, floor_a)[covered]
    # a device that draws nothing at all has no scale of its own
    scaled_a: Floats = np.maximum(band_a, np.finfo(np.float64).tiny)
    return scaled_a


def _quartiles(level_a: Floats, step_s: float, least_s: float) -> Floats:
    """Return the lower quartile, the median and the upper quartile in the window about each bin with data, else NaN."""
    first, last = _about(len(level_a), step_s, least_s)
    quartiles_a = np.full((3, len(level_a)), math.nan)
    has_data = np.isfinite(level_a)
    for place in np.flatnonzero(has_data):
        window = slice(first[place], last[place])
        ordered_a = np.sort(level_a[window][has_data[window]])
        cut = len(ordered_a) // 4
        quartiles_a[:, place] = ordered_a[cut], ordered_a[len(ordered_a) // 2], ordered_a[-1 - cut]
    return quartiles_a


def _range_about(known: KnownGood, least_s: float) -> tuple[Floats, Floats]:
    """Return the lowest lower quartile and the highest upper quartile in the window about each bin."""
    first, last = _about(len(known.level_a), known.step_s, least_s)
    # NaN is no level: fmin and fmax pass over it
    low_a = [np.fmin.reduce(known.low_a[a:b]) for a, b in zip(first, last, strict=True)]
    high_a = [np.fmax.reduce(known.high_a[a:b]) for a, b in zip(first, last, strict=True)]
    return np.array(low_a), np.array(high_a)


def _about(bins: int, step_s: float, least_s: float) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Return the first bin, and the one after the last, within STRETCH of the time since onset and ``least_s``."""
    places = np.arange(bins)
    half = np.maximum(np.ceil(STRETCH * places), math.ceil(least_s / step_s - 1e-6)).astype(np.int64)
    return np.maximum(places - half, 0), np.minimum(places + half + 1, bins)


def _boots(count: int) -> str:
    return f"{count} known-good boot{'' if count == 1 else 's'}"
