"""What a finished run tells the isolation of its job: observations, or why there are none.

A boot watch tells whether the fault was seen, as sure as its verdict is. How far the device came decides: the fault is
what the first boot with everything connected came to. A boot that came as far, and not up, showed the fault; one that
came further was clean of it; one that did not come as far tells nothing, since something else was in its way.
Stalling and restarting are as far as each other. What the bench or a person spoilt tells nothing, nor does a setting
that held the boot back, nor too little data.

A check failed if any of its tests did, whatever was mended afterwards: it tells what the device was like.
"""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.jobs.isolation import BOOT, CHECK, SIGN, Isolation
from wakerail.planning.observations import BootWatched, CheckSeen, Observation, SignSeen, restarts_by_itself, tells
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.messages import CERTAINTY, Verdict
from wakerail_kit.outcome import Finding, Outcome

#: How far each finding of a boot watch comes.
_REACHES = {
    Finding.HARD_SHORT: 0,
    Finding.STANDING_DRAW: 1,
    Finding.NO_DRAW: 2,
    Finding.STALLED: 3,
    Finding.RESTARTING: 3,
    Finding.RUNNING: 4,
}
_FAULT_REACHES = _REACHES[Finding.RESTARTING]  # as long as no boot has shown it
#: A finding without a certainty of its own was measured, and a supply measures well (common practice, no source).
_MEASURED = 0.99


@dataclass(frozen=True, slots=True)
class RunSeen:
    """A run to learn from. ``interval_s`` is the time from boot to boot in it, ``sign`` the row that its cadence fits.

    ``done`` are the plan's actions that were done meanwhile.
    """

    verdict: Verdict
    done: frozenset[str]
    interval_s: float | None = None
    sign: str | None = None


@dataclass(frozen=True, slots=True)
class Told:
    """What a run tells: observations, or none and why. ``says`` is what else their worth needs, or empty.

    ``by_itself``: the device may have restarted for want of a part, not by its fault.
    """

    observations: tuple[Observation, ...]
    says: str
    by_itself: bool = False


def told_by(isolation: Isolation, run: RunSeen, cadence_signs: frozenset[str]) -> Told:
    """Return what a run tells. ``cadence_signs`` are the names of the cadence table's rows.

    Raises ConfigInvalid for a run of another job, one that counts already, or one that is neither a boot watch nor a
    check of the plan.
    """
    verdict, plan, job = run.verdict, isolation.plan, isolation.job
    name = verdict.sequence.name
    if (verdict.job or "").lower() != job.name:
        whose = f"job {verdict.job}" if verdict.job else "no job"
        raise ConfigInvalid(f"run {verdict.run} belongs to {whose}, not to {job.name}")
    if (before := next((one.number for one in isolation.seen if one.run == verdict.run), None)) is not None:
        raise ConfigInvalid(f"run {verdict.run} counts already, as observation {before}; undo that one first")
    if name in {check.name for check in plan.checks}:
        return _of_check(isolation, run)
    if any(step.verb == "watch" for step in verdict.steps):
        return _of_boot(isolation, run, cadence_signs)
    checks = ", ".join(check.name for check in plan.checks)
    raise ConfigInvalid(f"run {verdict.run} is a {name}; a boot watch tells, or one of the plan's checks: {checks}")


def _of_check(isolation: Isolation, run: RunSeen) -> Told:
    verdict, name = run.verdict, run.verdict.sequence.name
    if (before := next((one for one in isolation.seen if one.kind == CHECK and one.name == name), None)) is not None:
        raise ConfigInvalid(f"the {name} counts already, as observation {before.number}; undo that one first")
    if verdict.outcome not in {Outcome.PASSED, Outcome.FAILED}:
        return _nothing(verdict)
    failed = any(step.outcome is Outcome.FAILED for step in verdict.steps)
    says = ""
    if failed and verdict.outcome is Outcome.PASSED:
        says = f"The {name} failed at first and passed in the end; that it failed is what tells of the cause."
    return Told((CheckSeen(name, float(failed)),), says)


def _of_boot(isolation: Isolation, run: RunSeen, cadence_signs: frozenset[str]) -> Told:
    verdict = run.verdict
    reaches = _REACHES.get(verdict.finding)
    judged = verdict.outcome in {Outcome.PASSED, Outcome.FAILED} or verdict.finding is Finding.STALLED
    if reaches is None or not judged:
        return _nothing(verdict)
    fault_reaches = _fault_reaches(isolation, run)
    if reaches < fault_reaches:
        return Told((), f"{_run(verdict)} tells nothing of the cause: {_IN_THE_WAY[verdict.finding]}")
    sure = next((one.value for one in verdict.measurements if one.name == CERTAINTY and one.value is not None), None)
    certainty = _MEASURED if sure is None else sure
    if reaches > fault_reaches:
        return Told((BootWatched(run.done, 1.0 - certainty, boots=1),), _clean_says(isolation, run))
    seen: list[Observation] = []
    if _sign_counts(isolation, run, cadence_signs):
        seen.append(SignSeen(str(run.sign)))
    seen.insert(0, BootWatched(run.done, certainty, run.interval_s, boots=1))
    return Told(tuple(seen), _shown_says(isolation, run), _by_itself(isolation, run))


def _fault_reaches(isolation: Isolation, run: RunSeen) -> int:
    """Return how far a boot comes that shows the fault: as far as the first one with everything connected."""
    seen = [(one.name, isolation.plan.off(one.done)) for one in isolation.seen if one.kind == BOOT and one.name]
    seen.append((run.verdict.finding, isolation.plan.off(run.done)))
    for name, off in seen:
        reaches = _REACHES[Finding(name)]
        if not off and reaches < _REACHES[Finding.RUNNING]:
            return reaches
    return _FAULT_REACHES


_IN_THE_WAY = {
    Finding.HARD_SHORT: "a short was found before the boot. Look for what was trapped or not seated.",
    Finding.STANDING_DRAW: "it drew too much before the boot, so the boot was not watched.",
    Finding.NO_DRAW: "no boot began. See that the boot is prompted by a way that is left, and boot again.",
    Finding.STALLED: "it did not come as far as before.",
    Finding.RESTARTING: "it did not come as far as before.",
}


def _sign_counts(isolation: Isolation, run: RunSeen, cadence_signs: frozenset[str]) -> bool:
    """Return whether the cadence is evidence still: once for all boots, and where it is the fault's own."""
    if run.sign is None or run.sign not in {sign.name for sign in isolation.plan.signs}:
        return False
    if any(one.kind == SIGN and one.name in cadence_signs for one in isolation.seen):
        return False
    return not _by_itself(isolation, run)


def _by_itself(isolation: Isolation, run: RunSeen) -> bool:
    """Return whether the restarts may be those of a device that lacks a part."""
    span = restarts_by_itself(isolation.plan, run.done)
    return span is not None and (run.interval_s is None or run.interval_s >= span[0])


def _shown_says(isolation: Isolation, run: RunSeen) -> str:
    plan, span = isolation.plan, restarts_by_itself(isolation.plan, run.done)
    if span is not None and run.interval_s is not None and span[0] <= run.interval_s <= span[1]:
        off = plan.off(run.done)
        why = next(effect.says for effect in plan.missing if effect.restarts_s == span and effect.without in off)
        if tells(plan, run.done, isolation.course.usual_s):
            return f"{why} It came that far, so the boot counts as clean."
        return f"{why} So it tells nothing of the cause."
    return ""


def _clean_says(isolation: Isolation, run: RunSeen) -> str:
    if tells(isolation.plan, run.done, isolation.course.usual_s):
        return ""
    return "The fault is not known to be fast enough to have shown by now."


def _nothing(verdict: Verdict) -> Told:
    return Told((), f"{_run(verdict)} tells nothing of the cause: {verdict.reason}")


def _run(verdict: Verdict) -> str:
    return f"This {verdict.sequence.name} ({verdict.outcome}, {verdict.finding})"
