"""How alike a boot is to one known, window by window, where that may run faster or slower and begin a tick off.

Every alignment is weighed by itself, and each may give way to another at any window: the likelihood of all is that of
a hidden Markov chain over them, carried on as weights that add up to one and the log of what they were divided by.
These are loops over 15 floats, which is faster than arrays so short.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from wakerail.analysis.opening import ALIGNED, STRETCHED, Placed

LEVEL_SPREAD = 0.10  # of one level from boot to boot, natural log
TAIL = 0.05  # how often a window is not the other's, at least
SQRT_2PI = math.sqrt(2 * math.pi)
_BURST_TAIL = 0.75  # a level above the template's is mostly a burst's
_ANOTHER = 0.25  # natural log: levels that differ by less are the same
_REALIGNED = 0.03  # how often a stage takes another time than the others, in a window
_ANEW = tuple(_REALIGNED * weight for weight in ALIGNED)
_MOST_GAIN = 0.3
_JUMPED = (math.inf,) * len(ALIGNED)  # where no window of the template was before
# where the template persists, the least and the most that a window says that is like it, and that is not (ratios)
_LEAST_NEAR, _MOST_NEAR = math.exp(-0.05), math.exp(0.01)
_STILL_OFF = math.exp(-0.1)  # the least where a level is still another


class Likeness:
    """Weighs windows of a boot against those of the one known. ``log_ratio`` is what all of them say together."""

    __slots__ = ("_earlier", "_gains", "_weights", "compared", "log_ratio")

    def __init__(self) -> None:
        self.log_ratio = 0.0
        self.compared = 0
        self._gains = [0.0] * len(ALIGNED)  # how much more this boot draws than the one known, natural log
        self._weights: Sequence[float] = ALIGNED
        self._earlier: tuple[Placed, ...] = ()

    def weigh(
        self,
        here: float,
        template: Placed,
        other: float,
        spread: float,
        wobble: float,
        tail: float,
        *,
        entered: int,
        still: bool,
    ) -> None:
        """Take a window at level ``here``.

        ``other`` is the density of that level by the other story, ``spread`` how far it may be from the template's, of
        which the ticks' ``wobble`` is a part (a variance); ``tail`` how often a window is not the template's.
        ``entered``: how often it came to this level before; ``still``: it was there in the window before.
        """
        burst_tail, far = max(tail, _BURST_TAIL), 2 * spread
        top, steep = 1.0 / (spread * SQRT_2PI * other), -0.5 / (spread * spread)
        # what goes to and fro between two levels looks like itself
        damped = 1.0 / (1 + entered)
        # the template persists: that a level is still there tells nothing, that it came to be another tells much
        persists = max(_ANOTHER, 2 * math.sqrt(wobble))
        least = _STILL_OFF if still else 0.0
        jumped = template.jumped(self._earlier) if self._earlier else _JUMPED
        self._earlier = (*self._earlier[-1:], template)
        self.compared += 1
        learns = 1.0 / (self.compared + 2)
        exp, total = math.exp, 0.0
        gains: list[float] = []
        weights: list[float] = []
        for place, gain, weight, jump in zip(template.places, self._gains, self._weights, jumped, strict=True):
            apart = here - place
            distance = apart - gain
            if distance == distance:  # noqa: PLR0124  else NaN: not measured
                aside = burst_tail if distance > 0 else tail
                ratio = (1 - aside) * top * exp(steep * distance * distance) + aside
                if entered and ratio > 1:
                    ratio **= damped
                near = -far < distance < far
                if jump < persists:
                    lowest, highest = (_LEAST_NEAR, _MOST_NEAR) if near else (least, 1.0)
                    ratio = lowest if ratio < lowest else min(ratio, highest)
                weight *= ratio  # noqa: PLW2901
                if near:
                    apart = -_MOST_GAIN if apart < -_MOST_GAIN else min(apart, _MOST_GAIN)
                    gain += (apart - gain) * learns  # noqa: PLW2901
            gains.append(gain)
            weights.append(weight)
            total += weight
        self._gains = gains
        self.log_ratio += math.log(total)
        kept = (1 - _REALIGNED) / total
        self._weights = [kept * weight + anew for weight, anew in zip(weights, _ANEW, strict=True)]


class Course:
    """Weighs windows against those of a boot that goes on as the one known did, at each stretch.

    ``alignments``: how likely each of the places is that a window may have.
    """

    __slots__ = ("_weights", "log_ratio")

    def __init__(self, alignments: Sequence[float] = STRETCHED) -> None:
        self.log_ratio = 0.0
        self._weights = alignments

    def weigh(self, here: float, places: Iterable[float], other: float, wobble: float) -> None:
        """Take a window at level ``here``; ``places`` is where it would be, NaN if not known."""
        spread = math.sqrt(LEVEL_SPREAD**2 + wobble)
        top, steep = (1 - TAIL) / (spread * SQRT_2PI * other), -0.5 / (spread * spread)
        weights = [
            weight * (top * math.exp(steep * (place - here) ** 2) + TAIL) if place == place else weight  # noqa: PLR0124
            for weight, place in zip(self._weights, places, strict=True)
        ]
        total = sum(weights)
        self.log_ratio += math.log(total)
        self._weights = [weight / total for weight in weights]
