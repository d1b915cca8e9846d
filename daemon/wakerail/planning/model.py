"""What a device family knows for the isolation: causes, actions, and what each observation is worth.

An action is one thing done by hand and undone again: a cover taken off, a connector unplugged. While it is done, the
parts that it disconnects are off, and the actions that it needs stay done as well. All times are in seconds; a risk
is the chance that doing the action breaks something, and is charged as that share of ``damage_s``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

#: A fault that comes and goes stays away from so many of the boots, each as likely (common practice, no source).
_COMES_AND_GOES = (0.25, 0.5, 0.75)


class CauseSort(StrEnum):
    """What sort of thing a cause is."""

    PART = "part"
    PORT = "port"
    RAIL = "rail"
    LAYER = "layer"
    BOARD = "board"


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that may be at fault. ``weight`` is how often it is, against the other causes' weights."""

    name: str
    sort: CauseSort
    weight: float
    says: str = ""

    @property
    def title(self) -> str:
        """What a person calls it."""
        return self.says or self.name.replace("-", " ")


@dataclass(frozen=True, slots=True)
class Action:
    """Something done by hand. ``disconnects`` names causes, ``after`` the actions done before it, which stay done."""

    name: str
    disconnects: frozenset[str]
    do_s: float
    undo_s: float
    risk: float = 0.0
    after: frozenset[str] = frozenset()
    says: str = ""

    @property
    def title(self) -> str:
        """What a person is asked to do."""
        return self.says or ("unplug the " if self.disconnects else "take off the ") + self.name.replace("-", " ")


@dataclass(frozen=True, slots=True)
class BootWay:
    """A way to prompt the boot; it works while every part that it goes ``through`` is connected."""

    name: str
    through: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class MissingEffect:
    """What a device does for want of a part, with no fault in it.

    restarts_s: it restarts so long after a boot, between these two; None if it does not restart for it.
    """

    without: str
    says: str
    restarts_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Likelihood:
    """How likely something is to be seen: by the cause that is at fault, and for all causes not named."""

    of_cause: Mapping[str, float]
    otherwise: float

    def given(self, causes: Iterable[str]) -> float:
        """Return it for causes at fault together: as likely as for the likeliest of them."""
        return max(self.of_cause.get(cause, self.otherwise) for cause in causes)


@dataclass(frozen=True, slots=True)
class Check:
    """A check with its own verdict, such as a port check; ``fails`` is how likely it is to fail."""

    name: str
    time_s: float
    fails: Likelihood


@dataclass(frozen=True, slots=True)
class Sign:
    """What a boot shows besides the fault itself: a row of the cadence table, or a stage."""

    name: str
    seen: Likelihood


@dataclass(frozen=True, slots=True)
class Watching:
    """One try at booting: how long it takes, and how often a boot's verdict is wrong.

    miss: the chance that a boot shows nothing though the fault is connected; false: that it shows the fault though
    it is not. boots: how many boots one try has; any that shows the fault makes it shown. comes_and_goes: the share of
    faults that show in some boots only; ``miss`` is then for the others.
    """

    time_s: float
    miss: float
    false: float
    boots: int = 1
    comes_and_goes: float = 0.0

    @property
    def steadiness(self) -> tuple[tuple[float, float], ...]:
        """How often a boot may miss the fault, each with its share of faults: steady ones, and such as come and go."""
        more = [miss for miss in _COMES_AND_GOES if miss > self.miss] if self.comes_and_goes else []
        return ((self.miss, 1.0 - self.comes_and_goes), *((miss, self.comes_and_goes / len(more)) for miss in more))

    @property
    def try_s(self) -> float:
        """How long a try takes."""
        return self.time_s * self.boots

    @property
    def try_miss(self) -> float:
        """The chance that no boot of a try shows the fault though it is connected."""
        return self.miss**self.boots

    @property
    def try_false(self) -> float:
        """The chance that some boot of a try shows the fault though it is not connected."""
        return 1.0 - (1.0 - self.false) ** self.boots


@dataclass(frozen=True)
class FamilyPlan:
    """All that the plan of a device family is made from.

    pairs: the share of devices with two causes at once. confirm: how likely a cause must be to be named.
    strength: how many closed jobs the weights are worth. reversal_s: a reversal that costs no more is asked for.
    """

    family: str
    causes: tuple[Cause, ...]
    actions: tuple[Action, ...]
    ways: tuple[BootWay, ...]
    watching: Watching
    missing: tuple[MissingEffect, ...] = ()
    checks: tuple[Check, ...] = ()
    signs: tuple[Sign, ...] = ()
    pairs: float = 0.0
    confirm: float = 0.95
    damage_s: float = 3600.0
    reversal_s: float = 360.0
    strength: float = 20.0

    @cached_property
    def cause(self) -> Mapping[str, Cause]:
        """The causes by name."""
        return {cause.name: cause for cause in self.causes}

    @cached_property
    def action(self) -> Mapping[str, Action]:
        """The actions by name."""
        return {action.name: action for action in self.actions}

    @cached_property
    def needs(self) -> Mapping[str, frozenset[str]]:
        """What must be done for each action, itself included. Raises ValueError for an order in a circle."""
        found: dict[str, frozenset[str]] = {}

        def closure(name: str, path: tuple[str, ...]) -> frozenset[str]:
            if name in path:
                raise ValueError(" after ".join([*path[path.index(name) :], name]))
            if name not in found:
                before = [closure(other, (*path, name)) for other in sorted(self.action[name].after)]
                found[name] = frozenset({name}).union(*before)
            return found[name]

        for action in self.actions:
            closure(action.name, ())
        return found

    def off(self, done: Iterable[str]) -> frozenset[str]:
        """Return the causes that are disconnected while these actions are done."""
        return frozenset().union(*(self.action[name].disconnects for name in done))

    def boot_ways(self, done: Iterable[str]) -> tuple[BootWay, ...]:
        """Return the ways to prompt the boot that are left while these actions are done."""
        off = self.off(done)
        return tuple(way for way in self.ways if not way.through & off)

    @cached_property
    def removable(self) -> frozenset[str]:
        """The causes that can be disconnected with a way left to prompt the boot."""
        return frozenset().union(
            *(action.disconnects for action in self.actions if self.boot_ways(self.needs[action.name]))
        )

    def cost_s(self, action: Action) -> float:
        """Return what doing an action costs: its time, and its risk as a share of the damage."""
        return action.do_s + action.risk * self.damage_s

    @cached_property
    def steadiness(self) -> tuple[tuple[FamilyPlan, float], ...]:
        """The plan for each steadiness of a fault, with its share of faults."""
        return tuple((self.missed_in(miss), share) for miss, share in self.watching.steadiness)

    def missed_in(self, share: float) -> FamilyPlan:
        """Return the plan for a fault of which it is known how often a boot misses it."""
        return replace(self, watching=replace(self.watching, miss=share, comes_and_goes=0.0))

    def watched_in_boots(self, boots: int) -> FamilyPlan:
        """Return the plan with so many boots to a try, as an intermittent fault needs them."""
        return replace(self, watching=replace(self.watching, boots=boots))
