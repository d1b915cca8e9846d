"""Noise addressed by index: the same seed, stream and index always give the same number, whoever asked before."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_BLOCK = 4096
_KEPT = 16


class Noise:
    """Streams of random numbers, each a function of (seed, stream, index) and of nothing else.

    Numbers are made in blocks, each from its own generator, so that asking in another order, or twice,
    changes nothing. ``stream`` is any whole number of the caller's, one for each use.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._blocks: dict[tuple[str, int, int], Floats] = {}

    def normal(self, stream: int, indices: Ints) -> Floats:
        """Return standard normal numbers at ``indices`` (ascending)."""
        return self._at("normal", stream, indices)

    def uniform(self, stream: int, indices: Ints) -> Floats:
        """Return numbers from [0, 1) at ``indices`` (ascending)."""
        return self._at("uniform", stream, indices)

    def one_normal(self, stream: int, index: int) -> float:
        """Return one standard normal number."""
        return float(self._block("normal", stream, index // _BLOCK)[index % _BLOCK])

    def one_uniform(self, stream: int, index: int) -> float:
        """Return one number from [0, 1)."""
        return float(self._block("uniform", stream, index // _BLOCK)[index % _BLOCK])

    def _at(self, law: Literal["normal", "uniform"], stream: int, indices: Ints) -> Floats:
        if len(indices) == 0:
            return np.empty(0)
        first, last = int(indices[0]) // _BLOCK, int(indices[-1]) // _BLOCK
        if first == last:
            return self._block(law, stream, first)[indices - first * _BLOCK]
        numbers = np.concatenate([self._block(law, stream, block) for block in range(first, last + 1)])
        return numbers[indices - first * _BLOCK]

    def _block(self, law: Literal["normal", "uniform"], stream: int, block: int) -> Floats:
        key = (law, stream, block)
        if key not in self._blocks:
            while len(self._blocks) >= _KEPT:
                del self._blocks[next(iter(self._blocks))]
            generator = np.random.default_rng([self._seed, stream, block])
            made = generator.standard_normal(_BLOCK) if law == "normal" else generator.random(_BLOCK)
            self._blocks[key] = made
        return self._blocks[key]
