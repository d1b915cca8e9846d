"""How a step or a run comes to its end before its last line, and what that means for the verdict.

A fault of the bench is not a finding about the device: nothing here ever concludes Failed.
"""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.sequences.access import InstrumentAccess
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.messages import InstrumentState
from wakerail_kit.outcome import Finding, Outcome


@dataclass(frozen=True, slots=True)
class Ending:
    """What a run concludes: outcome, finding, and the reason in one plain sentence."""

    outcome: Outcome
    finding: Finding
    reason: str


class RunEnded(Exception):
    """A step found that the whole run is over."""

    def __init__(self, ending: Ending) -> None:
        self.ending = ending
        super().__init__(ending.reason)


def stopped(why: str) -> Ending:
    """Return the ending of a run that a person stopped."""
    return Ending(Outcome.ABORTED, Finding.STOPPED, sentence(f"Aborted: {why}"))


def interlock(says: str) -> Ending:
    """Return the ending of a run in which an interlock acted."""
    return Ending(Outcome.ABORTED, Finding.INTERLOCK, sentence(says))


def bench_fault(says: str) -> Ending:
    """Return the ending of a run that the bench itself spoilt."""
    return Ending(Outcome.INCONCLUSIVE, Finding.BENCH_FAULT, sentence(says))


def lost(name: str, why: str) -> Ending:
    """Return the ending of a run that lost an instrument which it cannot do without."""
    return bench_fault(f"the bench lost {name}: {why}")


def ending_of(error: DeviceRefused | DeviceUnavailable | OutOfSync, concerned: list[InstrumentAccess]) -> Ending:
    """Return what an instrument's refusal or failure means; a tripped one refuses because of its interlock."""
    for instrument in concerned:
        if instrument.state is InstrumentState.TRIPPED:
            return interlock(f"An interlock of {instrument.name} has tripped: {instrument.words}")
    return bench_fault(f"The bench could not go on: {error}")


def sentence(text: str) -> str:
    """Return ``text`` with a capital at its start and a full stop at its end."""
    text = " ".join(text.split())
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
