"""What is asked of the daemon in the isolation of a job's cause, and what it answers."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

#: How many boots a try may have.
Boots = Annotated[int, Meta(ge=1, le=99)]
Text = Annotated[str, Meta(max_length=400)]


class PlanAdvise(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask what to do next in the isolation of a job. ``boots``: in each try, for a fault that comes and goes."""

    job: str
    boots: Boots = 1
    operator: str = ""


class PlanObserve(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tell what was seen: ``said`` as a person types it, or the finished ``run`` that saw it.

    ``done`` are the plan's actions that were done meanwhile; None: what was off at the last boot.
    """

    job: str
    said: Text = ""
    run: str = ""
    done: list[str] | None = None
    operator: str = ""


class PlanUndo(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Take an observation back, by its number; the newest that counts if none is named."""

    job: str
    number: int | None = None
    operator: str = ""


class PlanWhatIf(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask what would be next if this were ``seen``; nothing is kept."""

    job: str
    seen: list[Text] = []
    boots: Boots = 1


class PlanStats(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Ask what the shop has seen of a family, or of all that have a plan."""

    family: str = ""


PLAN_VERBS: dict[str, type[Struct]] = {
    "plan-advise": PlanAdvise,
    "plan-observe": PlanObserve,
    "plan-undo": PlanUndo,
    "plan-whatif": PlanWhatIf,
    "plan-stats": PlanStats,
}


# --- answers ---


class CauseShare(Struct, frozen=True, kw_only=True):
    """A cause, what a person calls it, and how likely it is to be at fault."""

    cause: str
    says: str
    share: float


class Deed(Struct, frozen=True, kw_only=True):
    """Something to do or to undo by hand, and what a person is asked."""

    action: str
    says: str


class SeenSoFar(Struct, frozen=True, kw_only=True):
    """An observation that counts: its number, and what it was."""

    number: int
    says: str


class PlanStep(Struct, frozen=True, kw_only=True):
    """What is next: a ``try`` of hands (``done``: what is done then), a ``check`` (the sequence ``name``), the ``end``.

    ``sort``, ``causes`` and ``probability`` are those of the end. ``notes``: what the device then does with no fault.
    """

    kind: str
    says: str
    to_undo: list[Deed] = []
    to_do: list[Deed] = []
    done: list[str] = []
    time_s: float = 0.0
    notes: list[str] = []
    name: str = ""
    sort: str = ""
    causes: list[str] = []
    probability: float = 0.0


class PlanAdvice(Struct, frozen=True, kw_only=True):
    """Where an isolation stands, and what is next.

    ``off`` is what is done now. ``expected_s`` is the expected cost to a confirmed cause, ``exact`` whether it was
    reckoned exactly. ``usual_s`` is the longest time from boot to boot that the fault has shown; None if not known.
    ``learned`` is from how many closed jobs the weights were learned.
    """

    job: str
    family: str
    seen: list[SeenSoFar]
    off: list[Deed]
    ranked: list[CauseShare]
    next: PlanStep
    expected_s: float
    exact: bool
    usual_s: float | None = None
    learned: int = 0


class PlanObserved(Struct, frozen=True, kw_only=True):
    """What came of an observation: the numbers under which it counts (none if it tells nothing), and a sentence.

    ``shown`` is whether a boot rather showed the fault than not; None where it is not about a boot.
    """

    numbers: list[int]
    says: str
    shown: bool | None = None


class CauseStats(Struct, frozen=True, kw_only=True):
    """A cause in the shop's closed jobs: in how many it was found, and its share before and after learning."""

    cause: str
    says: str
    jobs: int
    stated: float
    learned: float


class FamilyStats(Struct, frozen=True, kw_only=True):
    """What the shop has seen of a family: jobs closed, those that taught, minutes and tries of an isolation (medians).

    ``isolation_s`` is from the first observation of an isolation to its end; None where none has ended yet.
    """

    family: str
    closed: int
    taught: int
    two_causes: int
    isolation_s: float | None
    observations: float | None
    causes: list[CauseStats]
