"""How sure a restart is: what speaks for and against it, added up as log-likelihood ratios on top of a prior.

Every moment at which the current turns up from a low, or jumps to the level that the boot began with, is a candidate
for the beginning of another boot. For each, two stories are compared, window by window of its opening:

- *restart*: the levels that follow are those of the boot's opening seen before; or, after a dip, those of a boot not
  seen yet, which may be anything.
- *other*: the device goes on. After a dip it comes back to levels of its repertoire; otherwise levels persist, and
  now and then jump to anywhere.

A level that persists when the template persists tells nothing; every jump of the template that comes at its time
tells much. The densities have broad tails, so that one window (a burst) never decides. All is on the logarithm of
the current (``opening.Scale``). The spreads were chosen on the training part of the made-up corpus.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import ClassVar

import numpy as np

from wakerail.analysis.opening import ALIGNED, EDGES, STRETCHED, Floats, Opening, Repertoire, Scale

SURE = 3.0  # log odds from which on a restart is told at once
_HOPELESS, _NOT_ALIKE = -5.0, -4.0
_MOST_FOR_A_JUMP = -3.2  # however often the opening came back, its first level alone is no restart

_LEVEL_SPREAD = 0.10  # of one level from boot to boot, natural log
_FIRST_SPREAD = 0.30  # more for the first windows, which are short and hold the inrush
_TAIL, _SHORT_TAIL, _LATE_TAIL = 0.05, 0.3, 0.5  # how often a window is not the template's: at least, short, and late
_ENDS = math.log(0.03)  # in any window
_STILL_OFF = 0.25  # the most that it says in one window that a level is still another
_BURST_TAIL = 0.45  # a level above the template's is mostly a burst's
_JUMP = 0.25
_PERSIST_SPREAD = 0.14
_MOST_NOVEL = 6.0
_MOST_NOVEL_SHORT = 0.7  # after a dip so short that a meter's range switching makes the same
_SHORT_SEEN, _SHORT_TOLD = 0.3, 2.5  # the most that the depth of so short a dip can say
_NOVEL_WINDOWS = 32
_LATE = 56  # the window from on which a boot is mostly over
_MOST_ALIKE = 40.0
_KNOWN = 0.7  # of the boots open as the one known does
_ANYHOW = 0.1  # do so in a way that tells nothing
_REALIGNED = 0.03  # how often a stage takes another time than the others, in a window
_ABOVE_COUNTS = 0.35  # a wake-up overshoots what was drawn before, a boot mostly starts below it
_SQRT_2PI = math.sqrt(2 * math.pi)


class Sort(StrEnum):
    """What a candidate looks like at first: each sort has its own prior."""

    COLLAPSE = "collapse"  # a dip to the standing level
    BLINK = "blink"  # the same for so short a time that a meter switching its range may have made it
    DIP = "dip"  # a dip that ended above it
    JUMP = "jump"  # no dip: the opening's level came from another


#: Those that fell to the standing level.
FALLEN = frozenset({Sort.COLLAPSE, Sort.BLINK})
#: Log odds from which on a candidate is told once there is no more to see.
LIKELY = {Sort.COLLAPSE: 0.7, Sort.BLINK: 1.3, Sort.DIP: 1.5, Sort.JUMP: 1.0}


def probability_of(log_odds: float) -> float:
    """Return the probability for log odds, without overflow."""
    return 1.0 / (1.0 + math.exp(-max(log_odds, -700.0)))


def _normal(distance: float, spread: float) -> float:
    return math.exp(-0.5 * (distance / spread) ** 2) / (spread * _SQRT_2PI)


def _normals(distances: Floats, spread: float) -> Floats:
    densities: Floats = np.exp(-0.5 * (distances / spread) ** 2) / (spread * _SQRT_2PI)
    return densities


def depth_evidence(
    low_a: float, before_a: float, standing_a: float, tolerance_a: float, fineness_a: float
) -> tuple[Sort, float]:
    """Return what sort of a dip it is by how low it went, and what that says.

    A device held in reset draws its standing current in seven cases of ten; one that sleeps draws anything from a
    thousandth to a fifth of what it draws when up (even on the logarithm). So the nearer a dip comes to the standing
    level, as far as the meter can tell (``fineness_a``), the less likely it was a sleep.
    """
    before = max(before_a - standing_a, 1e-12)
    collapsed = low_a <= standing_a + tolerance_a
    reach_a = max(abs(low_a - standing_a), fineness_a) if collapsed else tolerance_a
    sleeps_within = min(max(math.log(max(reach_a / before, 1e-9) / 0.001) / math.log(200.0), 0.03), 0.97)
    if collapsed:
        return Sort.COLLAPSE, math.log(0.7 / sleeps_within)
    shallow = 1.5 if (low_a - standing_a) / before > 0.25 else 0.0
    return Sort.DIP, math.log(0.3 / (1.0 - sleeps_within)) - shallow


def dip_evidence(depth: float, lasted_s: float, *, short: bool, told: bool) -> float:
    """Return what a dip's depth and length say together.

    ``short``: a meter may have made it; ``told``: the standing level was measured beforehand.

    A reset is over within two seconds or so, a sleep lasts for seconds to hours; supply supervisors commonly hold a
    reset for 0.14 s and longer (common practice, no source).
    """
    if short:
        return min(depth, _SHORT_TOLD if told else _SHORT_SEEN)
    length = min(max(0.8 * math.log(3.0 / lasted_s), -0.7), 1.5)
    return depth + (length if depth > 0.0 else 0.25 * length)


class Priors:
    """How likely a candidate of each sort is a restart before its shape is looked at, learnt from those before it.

    Each sort begins with odds that count as so many candidates; every candidate that was looked at adds its
    probability to one side and the rest to the other, and one that was set aside as unlikely a part of it. So a
    device that wakes every second teaches that its dips mean nothing, and one whose opening came back twice that the
    third time is no chance.
    """

    _FIRST: ClassVar[dict[Sort, tuple[float, float]]] = {
        Sort.COLLAPSE: (1.5, 1.5),
        Sort.BLINK: (1.0, 1.5),
        Sort.DIP: (0.1, 3.0),
        Sort.JUMP: (0.01, 20.0),
    }

    def __init__(self) -> None:
        self._for = {sort: yes for sort, (yes, _) in self._FIRST.items()}
        self._against = {sort: no for sort, (_, no) in self._FIRST.items()}

    def log_odds(self, sort: Sort) -> float:
        """Return the prior log odds now."""
        odds = math.log(self._for[sort] / self._against[sort])
        return min(odds, _MOST_FOR_A_JUMP) if sort is Sort.JUMP else odds

    def learn(self, sort: Sort, probability: float) -> None:
        """Take note of what became of a candidate."""
        self._for[sort] += probability
        self._against[sort] += 1.0 - probability


@dataclass(slots=True, eq=False)
class Candidate:
    """A moment at which another boot may have begun, and what has been seen since.

    ``at_s`` is when the device stopped being up, ``again_s`` when it began again; the same for a jump. ``repertoire``
    is what the device had drawn until then, ``odds`` what all but the shape says.
    """

    sort: Sort
    opening: Opening
    at_s: float
    uncertainty_s: float
    odds: float
    before: float
    repertoire: Repertoire
    low_a: float = 0.0
    place: int = 0
    edge_a: float = 0.0
    dip_ticks: int = 0
    window: int = 0
    alike: float = 0.0  # the shape of the opening known, against the other story
    novel: float = 0.0  # a boot not seen before, against the other story
    going: float = 0.0  # the boot before it going on as the opening known did, against the other story
    compared: int = 0
    usb: list[str] = field(default_factory=list)
    at_fall: float | None = None  # its evidence when the next collapse came: what followed may be another boot's
    next_s: float = 0.0  # when the next window is past
    _level: float | None = None
    _ticks: int = 0
    _gains: Floats = field(default_factory=lambda: np.zeros(len(ALIGNED)))
    _alike: Floats = field(default_factory=ALIGNED.copy)
    _going: Floats = field(default_factory=STRETCHED.copy)
    _ended: float = -math.inf  # of one of the two boots having ended by now
    _going_on: float = 0.0  # of both being under way
    _persists: bool = False  # the newest window was at the level of the one before
    _left: list[float] = field(default_factory=list)  # the levels shown and left
    _template: tuple[Floats, ...] = ()

    @property
    def again_s(self) -> float:
        """When the boot that it stands for began."""
        return self.opening.start_s

    @property
    def seen_s(self) -> float:
        """For how long it has been followed."""
        return self.opening.window_s(self.window - 1)[1] - self.again_s if self.window else 0.0

    def __post_init__(self) -> None:
        self.next_s = self.opening.window_s(0)[1]

    @property
    def evidence(self) -> float:
        """The log-likelihood ratio of all that was seen, without the prior."""
        # the other story has two forms: the device goes on anyhow, or as the template did at this time of its boot
        odds = self.odds - math.log(0.5 + 0.5 * math.exp(min(self.going, _MOST_ALIKE)))
        if self.sort is Sort.JUMP:
            return odds + self.alike
        if not self.compared:
            return odds + self.novel
        known = _KNOWN * math.exp(min(self.alike, _MOST_ALIKE))
        other = _ANYHOW if self.sort in FALLEN else 0.0
        return odds + math.log(known + (1.0 - _KNOWN - other) * math.exp(self.novel) + other)

    def settle(self) -> None:
        """Look no further: keep what was seen until the next collapse, if that says more.

        What came after it may be another boot's.
        """
        if self.at_fall is not None and self.at_fall > self.evidence:
            self.odds, self.alike, self.novel, self.going, self.compared = self.at_fall, 0.0, 0.0, 0.0, 0
        self.at_fall = None

    @property
    def hopeless(self) -> bool:
        """True once nothing that may follow is likely to change the matter."""
        if self.sort is Sort.JUMP:
            return self._going_on < _NOT_ALIKE or self._going_on - self.going < _NOT_ALIKE
        return self.evidence - self.odds < _HOPELESS

    def forget(self) -> None:
        """Begin to look anew."""
        self.window, self.alike, self.novel, self.going, self.compared = 0, 0.0, 0.0, 0.0, 0
        self._level, self._ticks, self._template, self._left = None, 0, (), []
        self._ended, self._going_on, self._persists = -math.inf, 0.0, False
        self._gains, self._alike, self._going = np.zeros(len(ALIGNED)), ALIGNED.copy(), STRETCHED.copy()
        self.next_s = self.opening.window_s(0)[1]

    def look(
        self,
        scale: Scale,
        template: Opening | None,
        under_way_s: float | None,
        longest: Opening | None,
        relative_noise: float,
        jumps_per_s: float,
    ) -> None:
        """Weigh the next window, which is past."""
        index, self.window = self.window, self.window + 1
        self.next_s = self.opening.window_s(self.window)[1] if self.window < len(EDGES) - 1 else math.inf
        # the first tick is a mixture of before and after wherever a meter averages
        level_a = self.opening.level_a(index) if index else None
        if level_a is None:
            self._level = None
            return
        here, broad = scale.of(level_a), 1.0 / scale.span
        band = template.aligned_a(index, self.at_s) if template is not None else None
        ticks = EDGES[index + 1] - EDGES[index]
        noise = relative_noise
        if band is not None:  # bursts fall elsewhere each time
            noise = max(noise, min(band[1] / math.exp(here), 1.0))
        wobble = 2 * noise * noise / ticks
        familiar = self.repertoire.density(here)
        other = self._weigh_other(here, index, ticks, wobble, familiar, broad, jumps_per_s)
        if self.sort is not Sort.JUMP and index < _NOVEL_WINDOWS:
            self._weigh_novel(level_a, here, familiar, broad)
        if band is not None:
            self._weigh_alike(index, here, scale.of_each(band[0]), wobble, other)
        if under_way_s is not None:
            self._weigh_going(index, here, (template, longest), under_way_s, scale, wobble, other)

    def _weigh_other(
        self, here: float, index: int, ticks: int, wobble: float, familiar: float, broad: float, jumps_per_s: float
    ) -> float:
        """Return the density of a level if the device just goes on; levels persist, and now and then jump."""
        anywhere = 0.5 * familiar + 0.5 * broad
        if self._level is None:
            self._level, self._ticks = here, ticks
            return max(0.6 * familiar + 0.4 * broad if self.sort is not Sort.JUMP else anywhere, 0.1 * broad)
        spread = math.sqrt(_PERSIST_SPREAD**2 + wobble)
        from_s, to_s = self.opening.window_s(index)
        jumps = min(max(1.0 - math.exp(-jumps_per_s * (to_s - from_s)), 0.02), 0.35)
        distance = here - self._level
        self._persists = abs(distance) <= 3 * spread
        if not self._persists:
            self._left.append(self._level)
            self._level, self._ticks = here, ticks
        else:
            self._ticks += ticks
            self._level += distance * ticks / self._ticks
        return max((1.0 - jumps) * _normal(distance, spread) + jumps * anywhere, 1e-3 * broad)

    def _weigh_novel(self, level_a: float, here: float, familiar: float, broad: float) -> None:
        if level_a < self.edge_a:  # back in the low: whatever this was, it ended
            self.novel = min(self.novel, 0.0)
            return
        step = -0.6 * math.log(min(max(familiar / broad, 0.1), 3.0))
        if step > 0 and here > self.before:
            step *= _ABOVE_COUNTS
        most = _MOST_NOVEL if self.sort is Sort.COLLAPSE else _MOST_NOVEL_SHORT
        self.novel = max(min(self.novel + step, most), -_MOST_NOVEL)

    def _weigh_alike(self, index: int, here: float, places: Floats, wobble: float, other: float) -> None:
        distance = np.abs(here - self._gains - places)
        spread = math.sqrt((_LEVEL_SPREAD + _FIRST_SPREAD / (index + 1) ** 2) ** 2 + wobble)
        tail = self._tail(index)
        core = _normals(distance, spread)
        tails = np.where(here > self._gains + places, max(tail, _BURST_TAIL), tail)
        ratio = np.log((1 - tails) * core / other + tails)
        entered = sum(abs(here - left) < _JUMP for left in self._left)
        if entered:  # what goes to and fro between two levels looks like itself
            ratio = np.where(ratio > 0, ratio / (1 + entered), ratio)
        if self._template:
            jumped = np.max([np.abs(places - earlier) for earlier in self._template], axis=0)
            # the template persists: that a level is still there tells nothing, that it came to be another tells much
            persists = jumped < max(_JUMP, 2 * math.sqrt(wobble))
            least = -_STILL_OFF if self._persists else -math.inf
            ratio[persists] = np.where(distance > 2 * spread, np.clip(ratio, least, 0.0), np.clip(ratio, -0.05, 0.01))[
                persists
            ]
        self._template = (*self._template[-1:], places)
        self._alike += np.nan_to_num(ratio)
        self.alike = _log_sum(self._alike)
        self._alike = np.logaddexp(self._alike + math.log(1 - _REALIGNED), self.alike + math.log(_REALIGNED) + ALIGNED)
        self.compared += 1
        near = distance < 2 * spread
        self._gains[near] += (np.clip(here - places, -0.3, 0.3) - self._gains)[near] / (self.compared + 2)

    @staticmethod
    def _tail(index: int) -> float:
        """Return how often a window is not the template's: a short one for a burst, a late one as the boot is over."""
        short = _SHORT_TAIL / (EDGES[index + 1] - EDGES[index])
        return max(_TAIL, short, _LATE_TAIL * min(index / _LATE, 1.0) ** 2)

    def _weigh_going(
        self,
        index: int,
        here: float,
        known: tuple[Opening | None, ...],
        under_way_s: float,
        scale: Scale,
        wobble: float,
        other: float,
    ) -> None:
        offset_s = self.again_s - under_way_s
        later = (boot.later_a(index, offset_s, self.at_s) for boot in known if boot is not None)
        levels_a = next((levels_a for levels_a in later if levels_a is not None), None)
        if levels_a is None:
            return
        core = _normals(np.abs(scale.of_each(levels_a) - here), math.sqrt(_LEVEL_SPREAD**2 + wobble))
        self._going += np.nan_to_num(np.log((1 - _TAIL) * core / other + _TAIL))
        self.going = _log_sum(self._going)


def _log_sum(odds: Floats) -> float:
    top = float(odds.max())
    return top + math.log(float(np.exp(odds - top).sum()))
