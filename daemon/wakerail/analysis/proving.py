"""How long a clean boot must be watched to prove a repair, and what charging and a checklist come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wakerail.analysis.assurance import clean_trials_needed, watching_time_s
from wakerail.analysis.cadence import Cadence, Regularity
from wakerail.analysis.words import brief
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.proving import Charging
from wakerail_kit.units import human

#: A regular loop has gone for certain after two of its rounds; a third lets one be late (common practice, no source).
_ROUNDS = 3
#: Of a fault that comes and goes: its chance in each interval is to be below this, with 95 % confidence.
_BOUND = 0.1


@dataclass(frozen=True, slots=True)
class ProvingTime:
    """How long to watch. ``says`` tells why, where it is not the least that was asked for."""

    window_s: float
    says: str = ""


def proving_time(least_s: float, most_s: float, before: Cadence | None) -> ProvingTime:
    """Return how long to watch a device that restarted with this cadence before; ``least_s`` if none is known.

    Three rounds of a regular loop; for one that comes and goes as many clean intervals as bring its chance below 10 %
    (29, by ``clean_trials_needed``). Never more than ``most_s``; what that leaves open is said.
    """
    if before is None:
        return ProvingTime(least_s)
    if before.regularity is Regularity.REGULAR:
        needed_s = watching_time_s(max(before.longest_s, before.high_s), _ROUNDS)
        why = f"{_ROUNDS} rounds of the loop that it had before"
    else:
        trials = clean_trials_needed(_BOUND)
        needed_s = trials * before.median_s
        why = f"{trials} of the intervals at which it restarted before"
    if needed_s <= least_s:
        return ProvingTime(least_s)
    if needed_s <= most_s:
        return ProvingTime(needed_s, f"Watched for {brief(needed_s)}, {why}.")
    says = f"Watched for {brief(most_s)}, the most that was allowed; {brief(needed_s)} would be {why}."
    return ProvingTime(most_s, says)


@dataclass(frozen=True, slots=True)
class Proof:
    """What one part of a proof comes to."""

    outcome: Outcome
    finding: Finding | None
    says: str
    measurements: tuple[Measurement, ...] = ()


def judge_charging(charging: Charging, current_a: float, lowest_v: float, *, limiting: bool) -> Proof:
    """Judge what a device took at its charge port on average, and how far the voltage sagged meanwhile."""
    low_a, high_a = charging.low_a, charging.high_a
    too_little, too_much, sagged = current_a < low_a, current_a > high_a or limiting, lowest_v < charging.sag_v
    measurements = (
        Measurement(
            name="charge.current mean",
            value=current_a,
            unit="A",
            low=low_a,
            high=high_a,
            source=charging.source,
            outcome=Outcome.FAILED if too_little or too_much else Outcome.PASSED,
        ),
        Measurement(
            name="charge.voltage min",
            value=lowest_v,
            unit="V",
            low=charging.sag_v,
            source=charging.source,
            outcome=Outcome.FAILED if sagged else Outcome.PASSED,
        ),
    )
    says = f"It charges with {human(current_a, 'A')}"
    wanted = f"{human(low_a, 'A')} to {human(high_a, 'A')}"
    if too_little:
        says += f", less than the {human(low_a, 'A')} wanted. A full cell takes little, too: discharge it, try again."
    elif too_much:
        held = ", held by the supply's limit" if limiting else ""
        says += f"{held}, more than the {human(high_a, 'A')} allowed."
    elif sagged:
        says += f", but the voltage sags to {human(lowest_v, 'V')}: look at the leads and the port."
    else:
        return Proof(Outcome.PASSED, None, f"{says}, within {wanted}.", measurements)
    return Proof(Outcome.FAILED, Finding.CHARGE_FAULT, says, measurements)


YES, NO, NOT_THERE = CHOICES = ("yes", "no", "not there")


@dataclass(frozen=True, slots=True)
class Answered:
    """A function and what a person said of it; ``choice`` is empty where nobody looked."""

    function: str
    choice: str
    note: str = ""


def judge_checklist(answers: Sequence[Answered]) -> Proof:
    """Judge the answers: one no fails it, and what nobody looked at proves nothing."""
    measurements = tuple(
        Measurement(
            name=f"function {one.function}",
            value=float(one.choice == YES),
            unit="1",
            low=1.0,
            outcome=Outcome.PASSED if one.choice == YES else Outcome.FAILED,
        )
        for one in answers
        if one.choice in {YES, NO}
    )
    failed = [f"{one.function} ({one.note})" if one.note else one.function for one in answers if one.choice == NO]
    unseen = [one.function for one in answers if not one.choice]
    absent = [one.function for one in answers if one.choice == NOT_THERE]
    besides = f" Not on this device: {', '.join(absent)}." if absent else ""
    if failed:
        says = f"{len(failed)} of {len(answers) - len(absent)} functions failed: {', '.join(failed)}."
        return Proof(Outcome.FAILED, Finding.FUNCTION_FAILED, says + besides, measurements)
    if unseen or len(absent) == len(answers):
        says = f"Nobody looked at {', '.join(unseen)}." if unseen else "None of the functions is on this device."
        return Proof(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says + besides * bool(unseen), measurements)
    return Proof(Outcome.PASSED, None, f"All {len(measurements)} functions work.{besides}", measurements)
