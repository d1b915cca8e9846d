"""Log odds from the numbers that describe a moment: each adds what it says, as its table has it.

The tables are those of an additive logistic model: a step function for each number, of which neighbouring steps are
kept alike (a penalty on their differences: Eilers and Marx, Statistical Science 11, 1996, with steps in place of
splines). ``benchmarks/fit_hindsight.py`` fits them on made-up recordings whose truth is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.hindsight.grid import Floats
from wakerail.analysis.sorts import BLINK, COLLAPSE, DIP, JUMP, Sort


@dataclass(frozen=True, slots=True)
class Steps:
    """What one number says: ``adds[i]`` from ``bounds[i - 1]`` to ``bounds[i]``, and ``unknown`` where it is NaN."""

    bounds: tuple[float, ...]
    adds: tuple[float, ...]
    unknown: float

    def says(self, values: Floats) -> Floats:
        """Return what each value adds to the log odds."""
        adds = np.array((*self.adds, self.unknown))
        step = np.where(np.isnan(values), len(self.adds), np.searchsorted(self.bounds, values, side="right"))
        said: Floats = adds[step]
        return said


@dataclass(frozen=True, slots=True)
class Table:
    """What all numbers say of moments of some sorts, on top of the log odds that they begin with."""

    begins_with: float
    steps: Mapping[str, Steps]

    def log_odds(self, columns: Mapping[str, Floats]) -> Floats:
        """Return the log odds of moments that are described by columns."""
        said: Floats = np.sum([steps.says(columns[name]) for name, steps in self.steps.items()], axis=0)
        return self.begins_with + said


@dataclass(frozen=True, slots=True)
class Tables:
    """``alone`` has a table for each group of moments (``table_of``), ``together`` is for all that may be restarts."""

    alone: Mapping[str, Table]
    together: Table


#: The moments that have a table of their own. A fall to the standing level is one, however short.
GROUPS: Mapping[str, tuple[Sort, ...]] = {"fallen": (COLLAPSE, BLINK), "dip": (DIP,), "jump": (JUMP,)}


def table_of(group: str, *, from_off: bool) -> str:
    """Return the name of a group's table: a device that nobody saw off is weighed by others."""
    return f"{group}, from off" if from_off else f"{group}, running"
