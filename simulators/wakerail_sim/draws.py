"""Draws that numpy has no name for, which the corpora share."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeVar

import numpy as np

Item = TypeVar("Item")


def log_uniform(chance: np.random.Generator, least: float, most: float) -> float:
    """Return a number from ``least`` to ``most`` of which each octave is as likely."""
    return math.exp(chance.uniform(math.log(least), math.log(most)))


def pick(chance: np.random.Generator, items: Sequence[Item]) -> Item:
    """Return one of the items, each as likely."""
    return items[int(chance.integers(len(items)))]


def about(chance: np.random.Generator, deviation: float) -> float:
    """Return a factor about 1, of the given standard deviation."""
    return 1 + deviation * chance.normal()
