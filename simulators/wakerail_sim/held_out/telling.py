"""Whether a recording shows each of its restarts at all."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from wakerail_sim.held_out.readings import Readings
from wakerail_sim.noise import Floats

_FEWEST_BOOT_SAMPLES, _FEWEST_RUN_SAMPLES = 12, 4
_CLEAR = 3  # standard deviations
_SIGMAS_IN_MAD = 1.4826
_PARTS_COMPARED = 32
_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a recording."""

    begin_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """How long it is."""
        return self.end_s - self.begin_s


@dataclass(frozen=True, slots=True, eq=False)
class Happened:
    """What a recording is to show.

    ``restarts`` last from when a boot or run was ended to when the next boot began, and ``boots_end_s`` says when each
    of these boots ended. ``examples`` are some whole boots, or the longest there are. ``onset_s`` is when the first
    boot began, 0 if before the recording.
    """

    onset_s: float
    restarts: tuple[Span, ...]
    boots_end_s: tuple[float, ...]
    examples: tuple[Span, ...]

    @property
    def begins_s(self) -> list[float]:
        """When the recording or a boot began."""
        return [self.onset_s, *(restart.end_s for restart in self.restarts)]


def seen_restarts(readings: Readings, rate_hz: float, happened: Happened) -> tuple[bool, ...]:
    """Return for each restart whether it can be seen.

    Something of its boot or of the gap before must clearly differ from what came before, or else the boot must be more
    like another one than nearly all of the recording is.
    """
    return tuple(_seen(readings, rate_hz, happened, number) for number in range(len(happened.restarts)))


def _seen(readings: Readings, rate_hz: float, happened: Happened, number: int) -> bool:
    restart, t_s, current_a = happened.restarts[number], readings.t_s, readings.current_a
    held = readings.held_samples
    boot = Span(restart.end_s, min(happened.boots_end_s[number], float(t_s[-1])))
    boot_a = current_a[(t_s >= boot.begin_s) & (t_s < boot.end_s)]
    if len(boot_a) // held < _FEWEST_BOOT_SAMPLES:
        return False
    ran_from_s = max(happened.begins_s[: number + 1])
    from_s = max(ran_from_s, restart.begin_s - max(3 * boot.length_s, 5.0))
    run_a = current_a[(t_s >= from_s) & (t_s < restart.begin_s)]
    if len(run_a) // held < _FEWEST_RUN_SAMPLES:
        return False
    width = max(1, held, min(len(boot_a) // 8, len(run_a) // 4))
    width = max(1, min(width, int(0.5 * rate_hz * max(0.05, boot.length_s / 8)) + 1))
    near_s = max(from_s, restart.begin_s - max(1.2 * boot.length_s, 2.0))
    near_a = current_a[(t_s >= near_s) & (t_s < restart.begin_s)]
    if len(near_a) >= 4 * width:
        run_a = near_a
    off_a = current_a[(t_s >= restart.begin_s) & (t_s < restart.end_s)]
    return (
        _differs_smoothed(run_a, boot_a, off_a, width, readings)
        or any(_quarter_differs(quarter_a, run_a, readings) for quarter_a in _quarters(boot_a, run_a))
        or any(
            _alike(readings, example, boot, happened.begins_s)
            for example in happened.examples
            if abs(example.begin_s - boot.begin_s) > 1e-6
        )
    )


def _differs_smoothed(run_a: Floats, boot_a: Floats, off_a: Floats, width: int, readings: Readings) -> bool:
    """Return whether a good part of the boot is off the run's level, the gap is below it, or the level has stepped."""
    held, error_a = readings.held_samples, readings.error_a
    smooth_run_a, smooth_boot_a = (_smoothed(drawn_a, width)[:: max(1, width // 2)] for drawn_a in (run_a, boot_a))
    level_a = np.median(smooth_run_a)
    spread_a = max(
        _SIGMAS_IN_MAD * np.median(np.abs(smooth_run_a - level_a)), error_a / np.sqrt(max(1, width // held)), 1e-7
    )
    steps_a = np.median(np.abs(np.diff(smooth_run_a))) if len(smooth_run_a) > 2 else 0.0
    off_level = np.mean(np.abs(smooth_boot_a - level_a) > _CLEAR * spread_a) > 0.1
    below = len(off_a) >= 2 * held and np.median(off_a) < np.min(smooth_run_a) - _CLEAR * error_a
    if off_level or below:
        return True
    step_a = abs(np.median(run_a[-2 * width :]) - np.median(boot_a[width : 3 * width]))
    return bool(step_a > 4 * max(steps_a, error_a))


def _quarters(boot_a: Floats, run_a: Floats) -> Iterator[Floats]:
    """Yield the quarters of a boot, if the run before it is long enough to compare them with."""
    if len(run_a) >= _FEWEST_BOOT_SAMPLES:
        yield from np.array_split(boot_a, _QUARTERS)


def _quarter_differs(quarter_a: Floats, run_a: Floats, readings: Readings) -> bool:
    """Return whether a quarter's mean is off the run's by how much the means of stretches as long scatter."""
    in_run = max(1, len(run_a) // max(1, len(quarter_a)))
    parts = max(6, min(4 * in_run, len(run_a) // 2))
    means_a = [part_a.mean() for part_a in np.array_split(run_a, parts)]
    parts_in_quarter = max(1, len(quarter_a) * len(means_a) / len(run_a))
    scatter_a2 = np.var(means_a) * (1 / parts_in_quarter + 1 / len(means_a))
    deviation_a = np.sqrt(scatter_a2 + readings.error_a**2 / len(quarter_a) * readings.held_samples)
    return bool(abs(quarter_a.mean() - np.mean(means_a)) > _CLEAR * deviation_a)


def _smoothed(current_a: Floats, width: int) -> Floats:
    """Return the mean of each so many samples in a row."""
    total_a = np.cumsum(np.concatenate([[0.0], current_a]))
    smoothed: Floats = (total_a[width:] - total_a[:-width]) / width
    return smoothed


def _alike(readings: Readings, example: Span, boot: Span, begins_s: Sequence[float]) -> bool:
    """Return whether a boot is more like an example of another than all but a few other places are."""
    length_s = min(boot.length_s, example.length_s)
    if length_s < 0.5 * example.length_s:
        return False
    example_a = _profile(readings, example.begin_s, length_s)
    places_s = [
        place_s
        for place_s in np.linspace(0, max(0, readings.t_s[-1] - length_s), 150)
        if min(abs(place_s - begin_s) for begin_s in begins_s) > 0.6 * length_s
    ]
    if len(places_s) < 5:
        return False
    elsewhere_a = [_distance(_profile(readings, place_s, length_s), example_a) for place_s in places_s]
    here_a = min(
        _distance(_profile(readings, boot.begin_s + early * length_s, length_s), example_a)
        for early in (-0.02, 0, 0.02)
    )
    return bool(here_a < 0.8 * np.quantile(elsewhere_a, 0.03))


def _profile(readings: Readings, begin_s: float, length_s: float) -> Floats:
    """Return the means of the parts of a stretch; where it has no samples the next one counts, NaN after the last."""
    edges = np.searchsorted(readings.t_s, np.linspace(begin_s, begin_s + length_s, _PARTS_COMPARED + 1))
    current_a = readings.current_a
    return np.array(
        [
            current_a[begin : max(end, begin + 1)].mean() if begin < len(current_a) else math.nan
            for begin, end in itertools.pairwise(edges)
        ]
    )


def _distance(one_a: Floats, other_a: Floats) -> float:
    return float(np.sqrt(np.mean((one_a - other_a) ** 2)))
