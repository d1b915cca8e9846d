"""Where the shape of an opening comes back, by its correlation with all that follows: whatever its height, or slope.

``openings`` asks for the same levels in the same windows; a boot whose current never stands still, or that comes from
a weaker battery, has the same shape at other levels.
"""

from __future__ import annotations

import numpy as np
from scipy import fft

from wakerail.analysis.hindsight.grid import Floats, Grid, Ints
from wakerail.analysis.hindsight.templates import Template

EARLY_TICKS, LATE_TICKS = 48, 384
_FEWEST_TICKS = 12
_FLAT = 0.03  # natural log: what varies by less has no shape
_ALIKE, _APART_TICKS, _MOST = 0.75, 8, 200  # a correlation; ticks; moments
_ABOUT = np.arange(-2, 3)  # ticks


class Shapes:
    """Correlations of all that follows each tick with some openings: by their first part, and by a longer one."""

    def __init__(self, grid: Grid, templates: tuple[Template, ...]) -> None:
        level = _filled(grid.level)
        self._templates = templates
        self._early = [_correlation(level, one.begin, min(EARLY_TICKS, one.known_ticks)) for one in templates]
        self._late = [_correlation(level, one.begin, min(LATE_TICKS, one.known_ticks)) for one in templates]

    def describe(self, places: Ints) -> dict[str, Floats]:
        """Return the highest correlation near each place, by the early and by the longer part; none with itself."""
        return {"shape_early": self._best(self._early, places), "shape_late": self._best(self._late, places)}

    def recurrences(self) -> Ints:
        """Return the ticks at which an opening's shape comes back best."""
        return np.unique(np.concatenate([_peaks(each) for each in self._late]))

    def _best(self, correlations: list[Floats], places: Ints) -> Floats:
        best = np.full(len(places), -1.0)
        for template, each in zip(self._templates, correlations, strict=True):
            near = each[np.clip(places[:, np.newaxis] + _ABOUT, 0, len(each) - 1)].max(axis=1)
            best = np.where(template.is_itself(places), best, np.maximum(best, near))
        return best


def _filled(level: Floats) -> Floats:
    """Return levels with those of gaps held from before."""
    newest = np.maximum.accumulate(np.where(np.isnan(level), -1, np.arange(len(level))))
    filled: Floats = np.where(newest < 0, np.nanmin(level, initial=np.inf), level[np.maximum(newest, 0)])
    return filled


def _peaks(correlation: Floats) -> Ints:
    """Return the highest peaks that are apart."""
    inner = correlation[1:-1]
    peaks = np.flatnonzero((inner >= correlation[:-2]) & (inner > correlation[2:]) & (inner > _ALIKE)) + 1
    free, kept = np.ones(len(correlation), dtype=np.bool_), list[int]()
    for peak in peaks[np.argsort(-correlation[peaks], kind="stable")].tolist():
        if free[peak] and len(kept) < _MOST:
            kept.append(peak)
            free[max(peak - _APART_TICKS, 0) : peak + _APART_TICKS + 1] = False
    return np.array(kept, dtype=np.int64)


def _correlation(level: Floats, begin: int, ticks: int) -> Floats:
    """Return the correlation of the levels from ``begin`` on with those from each tick on, as long; 0 without shape.

    That is Pearson's coefficient over a sliding window.
    """
    count = len(level) - ticks + 1
    correlation = np.zeros(len(level))
    shape = level[begin : begin + ticks] - level[begin : begin + ticks].mean()
    spread = float(shape.std())
    if len(shape) < max(ticks, _FEWEST_TICKS) or spread < _FLAT or count < 1:
        return correlation
    centred = level - level.mean()
    sums, squares = (np.concatenate(([0.0], np.cumsum(each))) for each in (centred, centred**2))
    mean = (sums[ticks:] - sums[:-ticks]) / ticks
    deviation = np.sqrt(np.maximum((squares[ticks:] - squares[:-ticks]) / ticks - mean**2, _FLAT**2 / 4))
    length = fft.next_fast_len(len(level), real=True)  # no shorter: what wraps around is not looked at
    spectra = fft.rfft(centred, length) * np.conj(fft.rfft(shape, length))
    together = fft.irfft(spectra, length)[:count] / ticks
    correlation[:count] = np.clip(together / (deviation * spread), -1.0, 1.0)
    return correlation
