"""How alike a boot is to one known, window by window, where that may run faster or slower and begin a tick off.

Every alignment is weighed by itself, and each may give way to another at any window: the likelihood of all is that of
a hidden Markov chain over them, carried on as weights that add up to one and the log of what they were divided by.
These are loops over 15 floats, which is faster than arrays so short. Most windows need none: they are so far from the
template, or so near, that they say the same of all alignments.
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
_MOST_GAIN = 0.3
_JUMPED = [math.inf] * len(ALIGNED), math.inf  # where no window of the template was before
# where the template persists, the least and the most that a window says that is like it, and that is not (ratios)
_LEAST_NEAR, _MOST_NEAR = math.exp(-0.05), math.exp(0.01)
_STILL_OFF = math.exp(-0.1)  # the least where a level is still another
_NOTHING = 1e-12  # a share that makes no difference
_LOG_MOST_NEAR, _LOG_STILL_OFF = math.log(_MOST_NEAR), math.log(_STILL_OFF)


class Likeness:
    """Weighs windows of a boot against those of the one known. ``log_ratio`` is what all of them say together."""

    __slots__ = (
        "_before",
        "_earlier",
        "_gain_range",
        "_gains",
        "_since",
        "_total",
        "_weights",
        "compared",
        "log_ratio",
    )

    def __init__(self) -> None:
        self.log_ratio = 0.0
        self.compared = 0
        self._gains = [0.0] * len(ALIGNED)  # how much more this boot draws than the one known, natural log
        self._gain_range = 0.0, 0.0  # the least of them and the most
        # as the newest window that did not say the same of all alignments left them, and how many windows ago that was
        self._weights: Sequence[float] = ALIGNED
        self._total, self._since = 1.0, 0
        self._before: Placed | None = None  # the template's window before
        self._earlier: Placed | None = None  # and the one before that

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
        jumped, most_jumped = _JUMPED if self._before is None else template.jumped(self._before, self._earlier)
        self._before, self._earlier = template, self._before
        self.compared += 1
        burst_tail, far = tail if tail > _BURST_TAIL else _BURST_TAIL, 2 * spread
        top, steep = 1.0 / (spread * SQRT_2PI * other), -0.5 / (spread * spread)
        # the template persists: that a level is still there tells nothing, that it came to be another tells much
        persists = _ANOTHER if 4 * wobble < _ANOTHER**2 else 2 * math.sqrt(wobble)
        # the distances of all alignments are between these; neither near nor far if one was not measured
        least_gain, most_gain = self._gain_range
        lowest, highest = here - template.high - most_gain, here - template.low - least_gain
        if lowest > far or highest < -far:
            nearest, aside = (lowest, burst_tail) if lowest > far else (highest, tail)
            scale = (1 - aside) * top
            nearly = scale * math.exp(steep * nearest * nearest)
            most = nearly + aside
            if still and most <= _STILL_OFF and most_jumped < persists:
                self._take_same(_LOG_STILL_OFF)
                return
            if most <= (_STILL_OFF if still else 1.0):
                persists = persists if still else -math.inf
                if nearly < _NOTHING * aside:
                    self._weigh_beyond(jumped, persists, aside)
                else:
                    self._weigh_far(here, template.places, jumped, persists, scale, steep, aside)
                return
        elif -far < lowest and highest < far and most_jumped < persists and not entered:
            above = (1 - burst_tail) * top * math.exp(steep * highest * highest) + burst_tail
            below = (1 - tail) * top * math.exp(steep * lowest * lowest) + tail
            if above >= _MOST_NEAR and below >= _MOST_NEAR:
                self._take_same(_LOG_MOST_NEAR)
                self._learn_gains(here, template)
                return
        least = _STILL_OFF if still else 0.0
        self._weigh_each(here, template.places, jumped, persists, top, steep, tail, burst_tail, far, least, entered)

    def _weigh_beyond(self, jumped: list[float], persists: float, aside: float) -> None:
        """Weigh a window that is as far as can be: for no alignment it is the template's, but where that persists."""
        weights = zip(self._weights_now(), jumped, strict=True)
        self._take([weight * (_STILL_OFF if jump < persists else aside) for weight, jump in weights])

    def _weigh_far(
        self,
        here: float,
        places: list[float],
        jumped: list[float],
        persists: float,
        scale: float,
        steep: float,
        aside: float,
    ) -> None:
        """Weigh a window that is far to one side of all alignments, so that it says the least where one persists.

        ``aside``: how often it is not the template's; ``scale`` and ``steep``: the density otherwise, over the other's.
        """
        exp = math.exp
        ways = zip(places, self._gains, self._weights_now(), jumped, strict=True)
        self._take(
            [
                weight * _STILL_OFF
                if jump < persists
                else weight * (scale * exp(steep * (distance := here - place - gain) * distance) + aside)
                for place, gain, weight, jump in ways
            ]
        )

    def _weigh_each(
        self,
        here: float,
        places: list[float],
        jumped: list[float],
        persists: float,
        top: float,
        steep: float,
        tail: float,
        burst_tail: float,
        far: float,
        least: float,
        entered: int,
    ) -> None:
        """Weigh a window for each alignment by all the rules."""
        # what goes to and fro between two levels looks like itself
        damped = 1.0 / (1 + entered)
        learns = 1.0 / (self.compared + 2)
        above, below, exp = (1 - burst_tail) * top, (1 - tail) * top, math.exp
        gains: list[float] = []
        weights: list[float] = []
        for place, gain, weight, jump in zip(places, self._gains, self._weights_now(), jumped, strict=True):
            apart = here - place
            distance = apart - gain
            if distance == distance:  # noqa: PLR0124  else NaN: not measured
                ratio = exp(steep * distance * distance)
                ratio = above * ratio + burst_tail if distance > 0 else below * ratio + tail
                if entered and ratio > 1:
                    ratio **= damped
                lowest, highest = least, 1.0
                if -far < distance < far:
                    lowest, highest = _LEAST_NEAR, _MOST_NEAR
                    apart = -_MOST_GAIN if apart < -_MOST_GAIN else _MOST_GAIN if apart > _MOST_GAIN else apart
                    gain += (apart - gain) * learns  # noqa: PLW2901
                if jump < persists:
                    ratio = lowest if ratio < lowest else highest if ratio > highest else ratio
                weight *= ratio  # noqa: PLW2901
            gains.append(gain)
            weights.append(weight)
        self._take(weights)
        self._set_gains(gains)

    def _take(self, weights: list[float]) -> None:
        """Take the weights with what a window said of each."""
        self._weights, self._total, self._since = weights, sum(weights), 1
        self.log_ratio += math.log(self._total)

    def _take_same(self, log_ratio: float) -> None:
        """Take a window that said the same of all alignments."""
        self.log_ratio += log_ratio
        self._since += 1

    def _weights_now(self) -> list[float]:
        """Return how likely each alignment is, having given way to others in every window since."""
        stayed = (1 - _REALIGNED) ** self._since
        kept, anew = stayed / self._total, 1 - stayed
        return [kept * weight + anew * aligned for weight, aligned in zip(self._weights, ALIGNED, strict=True)]

    def _learn_gains(self, here: float, template: Placed) -> None:
        """Take note of how much more than the one known this boot draws in a window that is near."""
        learns = 1.0 / (self.compared + 2)
        aparts = [here - place for place in template.places]
        if here - template.high < -_MOST_GAIN or here - template.low > _MOST_GAIN:
            aparts = [min(max(apart, -_MOST_GAIN), _MOST_GAIN) for apart in aparts]
        self._set_gains([gain + (apart - gain) * learns for apart, gain in zip(aparts, self._gains, strict=True)])

    def _set_gains(self, gains: list[float]) -> None:
        self._gains, self._gain_range = gains, (min(gains), max(gains))


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
