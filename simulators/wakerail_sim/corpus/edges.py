"""A current as the sum of its edges, so that it can be sampled or averaged exactly at any rate.

An edge is a change by ``delta_a`` that begins at ``at_s`` and takes ``rise_s``, in a straight line. Steps, ramps and
pulses are all edges; the current is piecewise linear, its mean over any window is known in closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wakerail_sim.noise import Floats

STEP_S = 0.0005  # what is called a step takes this long


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Changes of a current, in any order: when each begins (s), by how much (A), and how long it takes (s, > 0)."""

    at_s: Floats
    delta_a: Floats
    rise_s: Floats

    def cut(self, end_s: float) -> Edges:
        """Return the edges until ``end_s``, where whatever is drawn by then stops in one step."""
        kept = self.at_s < end_s
        at_s, delta_a, rise_s = self.at_s[kept], self.delta_a[kept], self.rise_s[kept]
        done = np.minimum(1.0, (end_s - at_s) / rise_s)
        delta_a, rise_s = delta_a * done, rise_s * done
        return Edges(np.append(at_s, end_s), np.append(delta_a, -float(np.sum(delta_a))), np.append(rise_s, STEP_S))


def edge(at_s: float, delta_a: float, rise_s: float = STEP_S) -> Edges:
    """Return one edge."""
    return Edges(np.array([at_s]), np.array([delta_a]), np.array([max(rise_s, STEP_S)]))


def join(parts: Sequence[Edges]) -> Edges:
    """Return the sum of several currents."""
    if not parts:
        return Edges(np.empty(0), np.empty(0), np.empty(0))
    return Edges(
        np.concatenate([part.at_s for part in parts]),
        np.concatenate([part.delta_a for part in parts]),
        np.concatenate([part.rise_s for part in parts]),
    )


def pulses(at_s: Floats, width_s: Floats, height_a: Floats, fall_s: float = STEP_S) -> Edges:
    """Return pulses that begin at ``at_s``, ``height_a`` high for ``width_s``, and fall within ``fall_s``."""
    steps = np.full(len(at_s), STEP_S)
    return Edges(
        np.concatenate([at_s, at_s + width_s]),
        np.concatenate([height_a, -height_a]),
        np.concatenate([steps, np.full(len(at_s), max(fall_s, STEP_S))]),
    )


class Curve:
    """The current that some edges add up to, from 0 A before the first."""

    def __init__(self, edges: Edges) -> None:
        slopes = edges.delta_a / edges.rise_s
        at_s = np.concatenate([edges.at_s, edges.at_s + edges.rise_s])
        order = np.argsort(at_s, kind="stable")
        self._at_s = at_s[order]
        slope = np.cumsum(np.concatenate([slopes, -slopes])[order])[:-1]
        step_s = np.diff(self._at_s)
        self._level_a = np.concatenate([[0.0], np.cumsum(slope * step_s)])
        self._charge_as = np.concatenate([[0.0], np.cumsum((self._level_a[1:] + self._level_a[:-1]) / 2 * step_s)])
        self._slope = np.concatenate([slope, [0.0]])

    def at(self, at_s: Floats) -> Floats:
        """Return the current at each moment (A)."""
        current_a: Floats = np.interp(at_s, self._at_s, self._level_a, left=0.0)
        return current_a

    def mean(self, from_s: Floats, to_s: Floats) -> Floats:
        """Return the mean current of each window (A); the windows are ascending and not empty."""
        mean_a: Floats = (self._charge(to_s) - self._charge(from_s)) / (to_s - from_s)
        return mean_a

    def _charge(self, at_s: Floats) -> Floats:
        place = np.searchsorted(self._at_s, at_s, side="right") - 1
        before = place < 0
        place[before] = 0
        since_s = at_s - self._at_s[place]
        since_s[before] = 0.0
        charge_as: Floats = self._charge_as[place] + since_s * (self._level_a[place] + self._slope[place] * since_s / 2)
        return charge_as
