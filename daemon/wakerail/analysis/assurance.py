"""How sure a clean watch makes: bounds on the chance of a restart, and the clean boots still owed.

A boot without a restart says little by itself: with one clean boot a device that restarts in nine boots of ten is
still possible. What has been shown is a bound, and it is said as one.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

from wakerail.analysis.cadence import Cadence, Regularity
from wakerail.analysis.words import brief, percent

_CONFIDENCE = 0.95
#: What a technician may well call good enough, to say how much longer it would take.
_GOOD_ENOUGH = 0.1


def rule_of_three(trials: int) -> float:
    """Return 3 / trials, the rough 95 % upper bound on the chance of what was seen in none of ``trials``; at most 1.

    Always above the exact bound, and near it from 30 trials on. J. A. Hanley and A. Lippman-Hand, JAMA 249, 1983,
    1743-1745. Raises ValueError for fewer than one trial.
    """
    if trials < 1:
        raise ValueError(f"the rule needs a trial; {trials} are none")
    return min(3 / trials, 1.0)


def upper_bound(events: int, trials: int, confidence: float = _CONFIDENCE) -> float:
    """Return the exact one-sided upper bound on the chance of an event (Clopper-Pearson); 1 without any trial.

    For no event in n trials it is 1 - (1 - confidence)^(1/n). Raises ValueError for impossible counts.
    """
    from scipy.special import betaincinv  # noqa: PLC0415  slow to load, and seldom needed

    _check_counts(events, trials, confidence)
    return 1.0 if events == trials else float(betaincinv(events + 1, trials - events, confidence))


def clopper_pearson(events: int, trials: int, confidence: float = _CONFIDENCE) -> tuple[float, float]:
    """Return the exact two-sided interval for the chance of an event; 0 to 1 without any trial.

    It holds the true chance with at least that confidence, whatever it is. C. J. Clopper and E. S. Pearson,
    Biometrika 26, 1934, 404-413. Raises ValueError for impossible counts.
    """
    _check_counts(events, trials, confidence)
    one_sided = (1 + confidence) / 2
    return 1 - upper_bound(trials - events, trials, one_sided), upper_bound(events, trials, one_sided)


def clean_trials_needed(bound: float, confidence: float = _CONFIDENCE) -> int:
    """Return how many trials without an event bring the upper bound down to ``bound`` (29 for 10 %, 59 for 5 %)."""
    if not (0 < bound < 1 and 0 < confidence < 1):
        raise ValueError(f"bound {bound} and confidence {confidence} must lie between 0 and 1")
    return math.ceil(math.log1p(-confidence) / math.log1p(-bound))


def _check_counts(events: int, trials: int, confidence: float) -> None:
    if not 0 <= events <= trials:
        raise ValueError(f"{events} events do not go with {trials} trials; there are from 0 to as many as trials")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence {confidence} must lie between 0 and 1")


class Repair(enum.StrEnum):
    """What a sequential test says so far."""

    FIXED = "fixed"
    NOT_FIXED = "not fixed"
    GO_ON = "go on"


@dataclass(frozen=True, slots=True)
class SequentialTest:
    """Wald's sequential probability ratio test of an intermittent fault; each boot restarts or does not.

    p_fixed: the chance of a restart in a boot that one accepts of a device that is fixed. p_faulty: the chance at
    which the fault is as bad as it was. alpha: the chance to call a fixed device faulty. beta: the chance to call a
    faulty one fixed. After n boots it is fixed at ``-accept_at + slope n`` restarts and fewer, not fixed at
    ``reject_at + slope n`` and more. The error rates are nearly kept, as the sums overshoot the lines a little.

    A. Wald, Ann. Math. Stat. 16, 1945, 117-186; NIST/SEMATECH e-Handbook 6.2.6. Raises ValueError unless
    0 < p_fixed < p_faulty < 1, and alpha and beta are above zero and together below one.
    """

    p_fixed: float
    p_faulty: float
    alpha: float
    beta: float

    def __post_init__(self) -> None:
        if not 0 < self.p_fixed < self.p_faulty < 1:
            raise ValueError(f"p_fixed {self.p_fixed} and p_faulty {self.p_faulty} must ascend, above 0 and below 1")
        if not (self.alpha > 0 and self.beta > 0 and self.alpha + self.beta < 1):
            raise ValueError(f"alpha {self.alpha} and beta {self.beta} must be above 0 and together below 1")

    @property
    def _per_restart(self) -> float:
        """How much more a restart than a clean boot speaks for the fault, as a log-likelihood ratio."""
        return math.log(self.p_faulty / self.p_fixed) - self._per_clean_boot

    @property
    def _per_clean_boot(self) -> float:
        return math.log1p(-self.p_faulty) - math.log1p(-self.p_fixed)

    @property
    def accept_at(self) -> float:
        """How far below zero the accept line begins, in restarts."""
        return math.log((1 - self.alpha) / self.beta) / self._per_restart

    @property
    def reject_at(self) -> float:
        """Where the reject line begins, in restarts."""
        return math.log((1 - self.beta) / self.alpha) / self._per_restart

    @property
    def slope(self) -> float:
        """By how many restarts each boot raises both lines."""
        return -self._per_clean_boot / self._per_restart

    def state(self, restarts: int, boots: int) -> Repair:
        """Return the state after ``restarts`` of ``boots`` boots. Asked boot by boot, the first decision stands."""
        _check_counts(restarts, boots, _CONFIDENCE)
        if restarts <= self.slope * boots - self.accept_at:
            return Repair.FIXED
        if restarts >= self.slope * boots + self.reject_at:
            return Repair.NOT_FIXED
        return Repair.GO_ON


@dataclass(frozen=True, slots=True)
class CleanBootsOwed:
    """Where an intermittent fault stands: ``clean_boots`` in a row are still owed to call it fixed.

    It is 0 once it is fixed, None once it is not. accept_below: it is fixed at this many restarts and fewer after
    these boots, reject_above: not fixed at this many and more; a negative accept line is not yet in reach.
    """

    state: Repair
    clean_boots: int | None
    accept_below: float
    reject_above: float
    says: str


def clean_boots_owed(restarts: int, boots: int, test: SequentialTest) -> CleanBootsOwed:
    """Return the state of the test after ``restarts`` of ``boots`` boots, and the clean boots still owed."""
    state = test.state(restarts, boots)
    owed: int | None = 0
    if state is Repair.NOT_FIXED:
        owed = None
    elif state is Repair.GO_ON:
        owed = math.ceil((restarts + test.accept_at) / test.slope) - boots
        # the division may round to either side of the line; the line itself decides
        while test.state(restarts, boots + owed) is not Repair.FIXED:
            owed += 1
        while test.state(restarts, boots + owed - 1) is Repair.FIXED:
            owed -= 1
    return CleanBootsOwed(
        state=state,
        clean_boots=owed,
        accept_below=test.slope * boots - test.accept_at,
        reject_above=test.slope * boots + test.reject_at,
        says=_tell_owed(state, owed, restarts, boots, test),
    )


def _tell_owed(state: Repair, owed: int | None, restarts: int, boots: int, test: SequentialTest) -> str:
    seen = f"{_count(restarts, 'restart')} in {_count(boots, 'boot')}"
    faulty = f"a device that restarts in {percent(test.p_faulty)} of its boots"
    if state is Repair.FIXED:
        return f"Fixed: {seen}; {faulty} would pass for fixed with a chance of about {percent(test.beta)}."
    if state is Repair.NOT_FIXED:
        fixed = f"a fixed device, with restarts in {percent(test.p_fixed)} of its boots,"
        return f"Not fixed: {seen}; {fixed} would come to this with a chance of about {percent(test.alpha)}."
    return f"Go on: {seen}; {_count(owed or 0, 'more clean boot')} in a row to call it fixed."


@dataclass(frozen=True, slots=True)
class WindowAssurance:
    """What a clean window has shown.

    intervals: how many of the earlier intervals went by in it whole; None without an earlier cadence.
    bound: the upper bound, with 95 % confidence, on the chance of a restart: for each such interval, or for each boot
    without an earlier cadence. enough_s: what length of window would say something; None where this one did.
    """

    intervals: int | None
    bound: float
    enough_s: float | None
    says: str


def window_says(window_s: float, cadence_before: Cadence | None) -> WindowAssurance:
    """Return what a window without a restart shows, given the cadence seen before the repair, if there was one.

    A stretch as long as the earlier median interval counts as one trial. Raises ValueError for a negative window.
    """
    if not window_s >= 0:
        raise ValueError(f"the window of {window_s} s must not be negative")
    if cadence_before is None:
        bound = upper_bound(0, 1)
        needed = clean_trials_needed(_GOOD_ENOUGH)
        says = (
            f"One clean boot of {brief(window_s)}: with 95 % confidence it restarts in less than {percent(bound)} "
            f"of its boots, which says little. {needed} clean boots would bring that below {percent(_GOOD_ENOUGH)}."
        )
        return WindowAssurance(None, bound, None, says)
    period_s = cadence_before.median_s
    intervals = math.floor(window_s / period_s)
    before = f"Before, it restarted about every {brief(period_s)}"
    if intervals < 1:
        enough_s = watching_time_s(max(cadence_before.longest_s, cadence_before.high_s), 1)
        says = (
            f"{before}; a window of {brief(window_s)} is shorter than that and says nothing. "
            f"Watch for more than {brief(enough_s)}, better three times as long."
        )
        return WindowAssurance(0, 1.0, enough_s, says)
    bound = upper_bound(0, intervals)
    clean = f"{before}; now {_count(intervals, 'such interval')} went by without a restart"
    sure = f"With 95 % confidence the chance of a restart is below {percent(bound)} for each"
    # one interval may be a late restart; in two the loop would have come round for certain
    if cadence_before.regularity is Regularity.REGULAR and window_s >= watching_time_s(cadence_before.longest_s, 2):
        says = f"{clean}: the regular loop is gone. {sure}."
    else:
        needed_s = clean_trials_needed(_GOOD_ENOUGH) * period_s
        more = "" if bound <= _GOOD_ENOUGH else f", and {brief(needed_s)} clean would bring that below 10 %"
        says = f"{clean}. {sure}{more}."
    return WindowAssurance(intervals, bound, None, says)


def watching_time_s(period_s: float, restarts: int) -> float:
    """Return how long to watch to be certain of ``restarts`` restarts of a loop with this period, whatever its phase.

    One shows that it loops, two give one spacing, three give two spacings to compare.
    """
    return restarts * period_s


def _count(number: int, of: str) -> str:
    """Return a number and what is counted, in the plural where it is not one."""
    return f"{number or 'no'} {of}{'' if number == 1 else 's'}"
