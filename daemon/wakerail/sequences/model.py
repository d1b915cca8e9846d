"""A bench sequence as data: what it needs, what can be set, its steps. Nothing here touches an instrument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import NAME_INPUT, Action, OfFamily
from wakerail.sequences.steps.heat import Heat
from wakerail_kit.kinds import Kind
from wakerail_kit.outcome import Finding

#: By this name the device family stands among a run's inputs; no input of a sequence may be called so.
FAMILY = "family"


@dataclass(frozen=True, slots=True)
class Input:
    """A quantity that whoever starts the sequence may set. Plain numbers in the UCUM ``unit``.

    Without a ``default`` it may be left out, and the steps that take it do what they do without it.
    One whose unit is ``NAME_INPUT`` is a name instead, and ``name_default`` its default.
    """

    name: str
    unit: str
    default: float | None
    low: float | None
    high: float | None
    says: str
    name_default: str = ""

    @property
    def is_name(self) -> bool:
        return self.unit == NAME_INPUT


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a sequence. ``title`` is empty where the action's own words do.

    ``only_if_failed`` names the earlier test without whose failure the step is not due. ``goes_on``: what follows it
    means something, and is safe, though it failed; the failure stands.
    """

    action: Action
    title: str
    only_if_failed: str | None
    goes_on: bool = False

    def words(self, values: Mapping[str, float]) -> str:
        """Return what the step does, for a person, with the inputs' values put in."""
        return self.title or self.action.words(values)


@dataclass(frozen=True, slots=True)
class Sequence:
    """A checked sequence. ``passed`` is its finding when nothing failed and no step found something of its own.

    ``needs`` and ``uses`` map roles to kinds; a bench without a kind in ``uses`` can run it all the same.
    ``tells_all``: the reason of a run that passed is what every check says, not the last one alone.
    ``cautions`` are shown before anything is switched on. ``sha256`` is that of the text it was read from.
    """

    name: str
    purpose: str
    cautions: tuple[str, ...]
    needs: Mapping[str, Kind]
    uses: Mapping[str, Kind]
    inputs: Mapping[str, Input]
    steps: tuple[Step, ...]
    finally_: tuple[Step, ...]
    passed: Finding
    sha256: str
    tells_all: bool = False

    @property
    def of_family(self) -> bool:
        """Whether it goes by what is known of a device family, so that one must be named."""
        return any(isinstance(step.action, Heat | OfFamily) for step in self.steps)

    @property
    def profiles(self) -> tuple[str, ...]:
        """The heat profiles that a device family must have for it."""
        return tuple(step.action.profile for step in self.steps if isinstance(step.action, Heat))
