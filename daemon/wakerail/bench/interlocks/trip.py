"""What an interlock sees, and what it says when it acts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

#: What a person is told to do when no command helps.
PULL_ITS_PLUG = "PULL ITS PLUG"


@dataclass(frozen=True, slots=True)
class Samples:
    """One reading: times (monotonic seconds) and, by signal, a value for each; None is no data."""

    t_s: Sequence[float]
    signals: Mapping[str, Sequence[float | None]]


@dataclass(frozen=True, slots=True)
class Trip:
    """Why an interlock acted, in words and numbers (``unit`` is UCUM)."""

    interlock: str
    says: str
    value: float | None = None
    limit: float | None = None
    unit: str = "1"


class Interlock:
    """A guard over one instrument. What a guard has no use for it leaves as it is here. Times are monotonic seconds."""

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:  # noqa: ARG002
        """Return why a setting must not be sent, or None if it may."""
        return None

    def commanded(self, setting: str, value: float | bool | None, now_s: float) -> None:
        """Take what is sent to the instrument from here; None: what became of it is not known."""

    def judge(self, samples: Samples) -> Trip | None:  # noqa: ARG002
        """Look at a reading; return a Trip if the instrument must be made safe now."""
        return None

    def check(self, now_s: float) -> Trip | None:  # noqa: ARG002
        """Look at the time alone, whether or not anything was read."""
        return None

    def lost(self, now_s: float, why: str) -> Trip | None:  # noqa: ARG002
        """Take that the link to the instrument was lost."""
        return None

    def tripped(self, now_s: float) -> None:
        """Take that an interlock of this instrument has acted; from now on only what alarms a person is returned."""

    def reset(self, now_s: float) -> None:
        """Take that a person has looked and lets the instrument be used again."""
