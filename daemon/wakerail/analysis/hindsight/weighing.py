"""Log odds from the numbers that describe a moment, by boosted decision trees: each tree adds what its leaf says.

What a number means depends on others: a deep dip is a restart where the boot's opening follows, and a meter's blank
where nothing does. Trees can say so; a sum of what each number says by itself cannot. ``benchmarks/fit_hindsight.py``
grows them on made-up recordings whose truth is known (gradient boosting: Friedman, Annals of Statistics 29, 2001).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

import numpy as np

from wakerail.analysis.hindsight.grid import Bools, Floats, Ints

GROWN = Path(__file__).with_name("forests.npz")
_AT_ONCE = 64  # trees


@dataclass(frozen=True, slots=True, eq=False)
class Forest:
    """Trees as arrays of ``trees`` x ``nodes``; the first node of each is its root.

    At a node the number of ``names[asks]`` is held against ``bound``: what is not above it goes on at the node ``low``,
    the rest at ``high``, and a NaN at one or the other (``unknown_is_low``). A leaf goes on at itself; its ``adds`` is
    added to ``begins_with``. No leaf is more than ``depth`` steps from its root.
    """

    names: tuple[str, ...]
    begins_with: float
    depth: int
    asks: Ints
    bound: Floats
    unknown_is_low: Bools
    low: Ints
    high: Ints
    adds: Floats

    def log_odds(self, columns: Mapping[str, Floats]) -> Floats:
        """Return the log odds of moments that are described by columns, each the same number of all moments."""
        numbers = np.stack([columns[name] for name in self.names])
        count, nodes = numbers.shape[1], self.asks.shape[1]
        moments, numbers = np.arange(count), numbers.ravel()
        asks, bound, adds = self.asks.ravel() * count, self.bound.ravel(), self.adds.ravel()
        unknown_is_low = self.unknown_is_low.ravel()
        low, high = self.low.ravel(), self.high.ravel()
        total = np.full(count, self.begins_with)
        for first in range(0, len(self.asks), _AT_ONCE):
            root = np.arange(first, min(first + _AT_ONCE, len(self.asks)))[:, np.newaxis] * nodes
            place = np.repeat(root, count, axis=1)  # of each moment's node in the arrays
            for _ in range(self.depth):
                number = numbers.take(asks.take(place) + moments)
                goes_low = (number <= bound.take(place)) | (np.isnan(number) & unknown_is_low.take(place))
                place = root + np.where(goes_low, low.take(place), high.take(place))
            total += adds.take(place).sum(axis=0)
        return total


@dataclass(frozen=True, slots=True, eq=False)
class Forests:
    """``alone`` weighs each moment by itself, ``together`` those that may be restarts, ``again`` once that is known."""

    alone: Forest
    together: Forest
    again: Forest


@cache
def grown() -> Forests:
    """Return the forests that come with the reader."""
    return load(GROWN)


def save(forests: Forests, path: Path) -> None:
    """Write forests to a file."""
    kept = {field.name: getattr(forests, field.name) for field in fields(forests)}
    np.savez_compressed(
        path,
        allow_pickle=False,
        **{f"{name}_{key}": np.asarray(getattr(one, key)) for name, one in kept.items() for key in Forest.__slots__},
    )


def load(path: Path) -> Forests:
    """Read forests from a file."""
    with np.load(path, allow_pickle=False) as kept:
        return Forests(*(_forest(kept, field.name) for field in fields(Forests)))


def _forest(kept: Mapping[str, np.ndarray], name: str) -> Forest:
    arrays = {key: kept[f"{name}_{key}"] for key in Forest.__slots__}
    return Forest(
        names=tuple(str(each) for each in arrays.pop("names")),
        begins_with=float(arrays.pop("begins_with")),
        depth=int(arrays.pop("depth")),
        **arrays,
    )
