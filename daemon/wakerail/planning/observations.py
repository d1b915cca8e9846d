"""What is seen on the way to a cause, and how likely each cause would have shown it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from wakerail.planning.model import FamilyPlan, Watching

#: A fault whose boots are no longer than this share of the time after which a missing part restarts the device would
#: have shown itself before; a longer one cannot be told from the missing part.
_SURELY_BEFORE = 0.5


@dataclass(frozen=True, slots=True)
class BootWatched:
    """A try at booting while the actions in ``done`` were done.

    shown: how sure it is that the fault was seen, from 0 (a clean boot) to 1. interval_s: the time from boot to boot,
    where it restarted. boots: how many boots the try had; None: as many as the plan asks for.
    """

    done: frozenset[str]
    shown: float
    interval_s: float | None = None
    boots: int | None = None


@dataclass(frozen=True, slots=True)
class CheckSeen:
    """The verdict of a check; ``failed`` is how sure it is that it failed, from 0 to 1."""

    check: str
    failed: float


@dataclass(frozen=True, slots=True)
class SignSeen:
    """A cadence or a stage that a boot showed."""

    sign: str


Observation = BootWatched | CheckSeen | SignSeen


def restarts_by_itself(plan: FamilyPlan, done: Iterable[str]) -> tuple[float, float] | None:
    """Return between which times after a boot the device restarts for want of what is off; None if it does not."""
    off = plan.off(done)
    spans = [effect.restarts_s for effect in plan.missing if effect.restarts_s is not None and effect.without in off]
    return min(spans, default=None)


def tells(plan: FamilyPlan, done: Iterable[str], usual_s: float | None) -> bool:
    """Return whether a try with these actions done can tell anything of the fault.

    ``usual_s`` is the time from boot to boot that the fault has shown, None if it is not known. Where the device
    restarts for want of a part, only a fault that is surely faster can be told from that.
    """
    by_itself = restarts_by_itself(plan, done)
    return by_itself is None or (usual_s is not None and usual_s <= _SURELY_BEFORE * by_itself[0])


def likelihood(
    plan: FamilyPlan, observation: Observation, causes: frozenset[str], usual_s: float | None = None
) -> float:
    """Return how likely an observation is if these causes are at fault together."""
    return likelihoods(plan, observation, usual_s)(causes)


def likelihoods(plan: FamilyPlan, observation: Observation, usual_s: float | None) -> Callable[[frozenset[str]], float]:
    """Return how likely an observation is, by the causes that are at fault together.

    A verdict that is itself only likely counts for what it is worth (virtual evidence: J. Pearl, Probabilistic
    Reasoning in Intelligent Systems, 1988, 2.2.2). What a missing part brings about by itself counts for nothing.
    """
    if isinstance(observation, SignSeen):
        (sign,) = [one for one in plan.signs if one.name == observation.sign]
        return sign.seen.given
    if isinstance(observation, CheckSeen):
        (check,) = [one for one in plan.checks if one.name == observation.check]
        failed = observation.failed
        return lambda causes: _weighed(check.fails.given(causes), failed)
    shown = observation.shown
    by_itself = restarts_by_itself(plan, observation.done)
    if by_itself is not None and shown >= 0.5:
        low_s, high_s = by_itself
        if observation.interval_s is None:
            return lambda _: 1.0  # nobody knows whether it was the fault or the missing part
        if low_s <= observation.interval_s <= high_s:
            if not tells(plan, observation.done, usual_s):
                return lambda _: 1.0
            shown = 0.0  # it stayed up for as long as a device without that part can
    watching, off = in_boots(plan, observation), plan.off(observation.done)
    connected, disconnected = _weighed(1.0 - watching.try_miss, shown), _weighed(watching.try_false, shown)
    return lambda causes: disconnected if causes <= off else connected


def in_boots(plan: FamilyPlan, watched: BootWatched) -> Watching:
    """Return how a try was watched, with as many boots as it had."""
    watching = plan.watching
    return watching if watched.boots is None else replace(watching, boots=watched.boots)


def _weighed(chance: float, seen: float) -> float:
    """Return how likely a yes-or-no is that was seen with a certainty between 0 and 1."""
    return seen * chance + (1.0 - seen) * (1.0 - chance)
