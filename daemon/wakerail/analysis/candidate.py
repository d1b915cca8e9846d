"""How sure a restart is: what speaks for and against it, added up as log-likelihood ratios on top of a prior.

Every moment at which the current turns up from a low, or jumps to the level that the boot began with, is a candidate
for the beginning of another boot. For each, two stories are compared, window by window of its opening:

- *restart*: the levels that follow are those of the boot's opening seen before; or, after a dip, those of a boot not
  seen yet, which may be anything.
- *other*: the device goes on. After a dip it comes back to levels of its repertoire; otherwise levels persist, and
  now and then jump to anywhere.

A level that persists when the template persists tells nothing; every jump of the template that comes at its time
tells much. The densities have broad tails, so that one window (a burst) never decides. All is on the logarithm of
the current (``scale``). The spreads were chosen on the training part of the made-up corpus.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

from wakerail.analysis.likeness import LEVEL_SPREAD, SQRT_2PI, TAIL, Course, Likeness
from wakerail.analysis.opening import ALIGNED, ALIGNMENTS, EDGES, Opening, Placed
from wakerail.analysis.repertoire import Repertoire
from wakerail.analysis.scale import Scale
from wakerail.analysis.sorts import COLLAPSE, FALLEN, JUMP, Sort

_HOPELESS, _NOT_ALIKE = -5.0, -2.0
_HOPEFUL = -3.0  # of a part that is a tenth of the whole or more

_FIRST_SPREAD = 0.30  # of the level in the first windows, which are short and hold the inrush, from boot to boot
_SHORT_TAIL, _LATE_TAIL = 0.3, 0.5  # how often a window is not the template's if it is short, and if it is late
_MOST_UNSTEADY = 0.7
_LATE = 56  # the window from on which a boot is mostly over
_ANOTHER_STAGE = 0.3  # natural log; stages that differ by less nobody tells apart
_SAME = 0.25  # levels that differ by less are one
_PERSIST_SPREAD = 0.14
_LEAST_JUMPS, _MOST_JUMPS = 0.02, 0.35  # how likely a jump is in one window
_MOST_NOVEL = 6.0
_MOST_NOVEL_SHORT = 0.7  # after a dip so short that a meter's range switching makes the same
_NOVEL_WINDOWS = 32
_AS_IS = ALIGNMENTS.index((1.0, 0))
_CLEARLY = 22.0  # by how much, in log odds, the way that the device boots explains more than the opening does
_FAINT = 1.6  # natural log; what draws a fifth of the boot known, at its time, is no boot
_ABOVE_COUNTS = 0.35  # a wake-up overshoots what was drawn before, a boot mostly starts below it
_MOST_ALIKE = 40.0
_MOST_ALIKE_UNSURE = 1.5  # to what may be no boot itself
_KNOWN = 0.7  # of the boots open as the one known does
_ANYHOW = 0.1  # do so in a way that tells nothing


def _tail(index: int) -> float:
    """Return how often a window is not the template's: a short one for a burst, a late one as the boot is over."""
    short = _SHORT_TAIL / (EDGES[index + 1] - EDGES[index])
    return max(TAIL, short, _LATE_TAIL * min(index / _LATE, 1.0) ** 2)


def _opening() -> Course:
    return Course(ALIGNED)


_TICKS = [end - begin for begin, end in pairwise(EDGES)]  # of each window
_TAILS = [_tail(index) for index in range(len(_TICKS))]
_SPREADS = [(LEVEL_SPREAD + _FIRST_SPREAD / (index + 1) ** 2) ** 2 for index in range(len(_TICKS))]  # variances


@dataclass(frozen=True, slots=True)
class Known:
    """The boots that a candidate is held against, None where there is none.

    ``template`` is the boot whose opening is known; ``under_way_s`` when the boot began that a candidate may be part
    of, which may go on as ``courses`` did; ``whole`` is when the device last came up from standing, and the course that
    it took after such a start before.
    """

    template: Opening | None
    under_way_s: float | None
    courses: tuple[Opening, ...]
    whole: tuple[float, Opening] | None
    template_is_sure: bool


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
    novel: float = 0.0  # a boot not seen before, against the other story
    at_fall: float | None = None  # its evidence when the next collapse came: what followed may be another boot's
    next_s: float = 0.0  # when the next window is past
    _like: Likeness = field(default_factory=Likeness)  # the opening known, against the other story
    _course: Course = field(default_factory=Course)  # the boot before it going on, against the other story
    _whole: Course = field(default_factory=Course)  # the same, since the device last came up from standing
    _again: Course = field(default_factory=_opening)  # the opening known, weighed in the same way as that
    _most_alike: float = _MOST_ALIKE
    _level: float | None = None
    _ticks: int = 0
    staged: bool = False  # it has shown a second level before it fell back
    _fell_back: bool = False
    _first: float | None = None  # the first level
    _away: float | None = None  # the level of the newest window, if it is another
    _persists: bool = False  # the newest window was at the level of the one before
    _left: list[float] = field(default_factory=list)  # the levels shown and left

    @property
    def again_s(self) -> float:
        """When the boot that it stands for began."""
        return self.opening.start_s

    @property
    def alike(self) -> float:
        """What the shape of the opening known says, against the other story."""
        return self._like.log_ratio

    @property
    def going(self) -> float:
        """What speaks for the boot before it going on as one known did, against the other story."""
        going, whole = self._course.log_ratio, self._whole.log_ratio
        # what repeats itself all the time looks like itself at any time
        if whole > going and whole > _CLEARLY + max(self._again.log_ratio, 0.0):
            return whole
        return going

    @property
    def compared(self) -> int:
        """How many windows were held against the opening known."""
        return self._like.compared

    def __post_init__(self) -> None:
        self.next_s = self.opening.window_s(0)[1]

    @property
    def evidence(self) -> float:
        """The log-likelihood ratio of all that was seen, without the prior."""
        if self.sort is JUMP:
            return self.odds + self.as_jump
        odds = self.odds - self._goes_on
        if not self.compared:
            return odds + self.novel
        known = _KNOWN * math.exp(
            min(self.alike, _MOST_ALIKE if self.staged and self.sort in FALLEN else self._most_alike)
        )
        other = _ANYHOW if self.sort in FALLEN else 0.0
        return odds + math.log(known + (1.0 - _KNOWN - other) * math.exp(self.novel) + other)

    @property
    def as_jump(self) -> float:
        """The log-likelihood ratio of the opening that followed, whatever was before it."""
        return self.alike - self._goes_on

    @property
    def _goes_on(self) -> float:
        # the other story has two forms: the device goes on anyhow, or as the template did at this time of its boot
        going = self.going
        return math.log(0.5 + 0.5 * math.exp(min(going, _MOST_ALIKE))) if going else 0.0

    def settle(self) -> None:
        """Look no further: keep what was seen until the next collapse, if that says more.

        What came after it may be another boot's.
        """
        if self.at_fall is not None and self.at_fall > self.evidence:
            self.odds, self.novel, self._like = self.at_fall, 0.0, Likeness()
            self._course, self._whole, self._again = Course(), Course(), _opening()
        self.at_fall = None

    @property
    def hopeless(self) -> bool:
        """True once nothing that may follow is likely to change the matter."""
        alike = self._like.log_ratio
        if self.sort is JUMP:
            return alike < _NOT_ALIKE or alike - self.going < _NOT_ALIKE
        if not self.staged and not self._fell_back and self.window < _NOVEL_WINDOWS:
            return False  # its second stage is still to come
        # each way to be a boot is a part of the evidence: mostly one of them is enough
        if self._like.compared and not self.going and (alike > _HOPEFUL or self.novel > _HOPEFUL):
            return False
        return self.evidence - self.odds < _HOPELESS

    def forget(self) -> None:
        """Begin to look anew."""
        self.window, self.novel, self._like = 0, 0.0, Likeness()
        self._course, self._whole, self._again = Course(), Course(), _opening()
        self._level, self._ticks, self._left, self._persists = None, 0, [], False
        self.staged = self._fell_back = False
        self._first = self._away = None
        self.next_s = self.opening.window_s(0)[1]

    def look(self, scale: Scale, known: Known, relative_noise: float, jumps_per_s: float) -> None:
        """Weigh the next window, which is past."""
        index, opening, jump = self.window, self.opening, self.sort is JUMP
        self.window = index + 1
        self.next_s = opening.past_s(index + 1) if index + 1 < len(_TICKS) else math.inf
        # the first tick is a mixture of before and after wherever a meter averages
        level_a = opening.level_a(index) if index else None
        if level_a is None:
            self._level = None
            return
        self._most_alike = _MOST_ALIKE if known.template_is_sure else _MOST_ALIKE_UNSURE
        here, broad = scale.of(level_a), scale.broad
        template = known.template.placed(index, self.at_s, scale) if known.template is not None else None
        ticks = _TICKS[index]
        noise = relative_noise
        if template is not None:  # bursts fall elsewhere each time
            scatter = template.spread_a / math.exp(here)
            if scatter > noise:
                noise = scatter if scatter < 1.0 else max(noise, 1.0)
        wobble = 2 * noise * noise / ticks
        familiar = self.repertoire.density(here)
        if not jump and not self.staged and not self._fell_back:
            self._look_for_stage(here, wobble, low=level_a < self.edge_a)
        other = self._weigh_other(here, ticks, wobble, familiar, broad, jumps_per_s)
        if not jump and index < _NOVEL_WINDOWS:
            faint = template is not None and here < template.places[_AS_IS] - _FAINT
            self._weigh_novel(here, familiar, broad, low=faint or level_a < self.edge_a)
        if template is not None:
            self._weigh_alike(index, here, template, wobble, other)
        if known.under_way_s is not None and known.courses:
            self._weigh_going(self._course, index, here, known.courses, known.under_way_s, scale, wobble, other)
        if template is not None and known.whole is not None:
            up_s, course = known.whole
            self._again.weigh(here, template.places, other, wobble)
            self._weigh_going(self._whole, index, here, (course,), up_s, scale, wobble, other)

    def _look_for_stage(self, here: float, wobble: float, *, low: bool) -> None:
        """Tell a second level from the first, until it is back in the ``low``.

        A window that holds the end of the first level lies between: the second has to be there in two.
        """
        if low:
            self._fell_back = True
            return
        apart = max(_ANOTHER_STAGE, 3 * math.sqrt(wobble))
        self._first = here if self._first is None else self._first
        away = abs(here - self._first) > apart
        self.staged = away and self._away is not None and abs(here - self._away) < apart
        self._away = here if away else None

    def _weigh_other(
        self, here: float, ticks: int, wobble: float, familiar: float, broad: float, jumps_per_s: float
    ) -> float:
        """Return the density of a level if the device just goes on; levels persist, and now and then jump."""
        anywhere = 0.5 * familiar + 0.5 * broad
        if self._level is None:
            self._level, self._ticks = here, ticks
            return max(anywhere if self.sort is JUMP else 0.6 * familiar + 0.4 * broad, 0.1 * broad)
        variance = _PERSIST_SPREAD**2 + wobble
        jumps = 1.0 - math.exp(-jumps_per_s * ticks * self.opening.spacing_s)
        jumps = _LEAST_JUMPS if jumps < _LEAST_JUMPS else _MOST_JUMPS if jumps > _MOST_JUMPS else jumps
        distance = here - self._level
        self._persists = distance * distance <= 9 * variance
        if not self._persists:
            self._left.append(self._level)
            self._level, self._ticks = here, ticks
        else:
            self._ticks += ticks
            self._level += distance * ticks / self._ticks
        persists = math.exp(-0.5 * distance * distance / variance) / (math.sqrt(variance) * SQRT_2PI)
        other, least = (1.0 - jumps) * persists + jumps * anywhere, 1e-3 * broad
        return other if other > least else least

    def _weigh_novel(self, here: float, familiar: float, broad: float, *, low: bool) -> None:
        if low:  # back in the low, or hardly out of it: whatever this was, it ended
            self.novel = min(self.novel, 0.0)
            return
        step = -0.6 * math.log(min(max(familiar / broad, 0.1), 3.0))
        if step > 0 and here > self.before:
            step *= _ABOVE_COUNTS
        most = _MOST_NOVEL if self.sort is COLLAPSE else _MOST_NOVEL_SHORT
        self.novel = max(min(self.novel + step, most), -_MOST_NOVEL)

    def _weigh_alike(self, index: int, here: float, template: Placed, wobble: float, other: float) -> None:
        spread = math.sqrt(_SPREADS[index] + wobble)
        entered = 0
        for left in self._left:
            entered += abs(here - left) < _SAME
        tail, unsteady = _TAILS[index], template.unsteady
        if unsteady > tail:
            tail = unsteady if unsteady < _MOST_UNSTEADY else max(tail, _MOST_UNSTEADY)
        self._like.weigh(here, template, other, spread, wobble, tail, entered=entered, still=self._persists)

    def _weigh_going(
        self,
        course: Course,
        index: int,
        here: float,
        courses: tuple[Opening, ...],
        under_way_s: float,
        scale: Scale,
        wobble: float,
        other: float,
    ) -> None:
        offset_s = self.again_s - under_way_s
        for boot in courses:
            levels_a = boot.later_a(index, offset_s, self.at_s)
            if levels_a is not None:
                course.weigh(here, map(scale.of, levels_a), other, wobble)
                return
