"""What every verb offers: it is read from YAML into an Action, which says what it will do and can do it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from wakerail.analysis.cadence import Cadence, CadenceRow
from wakerail.analysis.known_good import Boot, Comparison
from wakerail.analysis.reading import BootReading
from wakerail.analysis.seen import Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.sequences.access import Bench, InstrumentAccess, Recorded
from wakerail.sequences.arrivals import Arrivals
from wakerail_kit.events import EventData, PromptAnswered, UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.families import DeviceFamily
from wakerail_kit.messages import Event, Evidence, Frame, Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in a UCUM unit, or a share of an input's value (``$volts``, ``50 % of $volts``)."""

    unit: str
    number: float
    of: str = ""

    def value(self, values: Mapping[str, float]) -> float:
        """Return the plain number, given the inputs' values."""
        return self.number * values[self.of] if self.of else self.number

    def words(self, values: Mapping[str, float]) -> str:
        """Return the quantity as people write it."""
        return human(self.value(values), self.unit)


#: In the place of an input's unit: it is a name and no quantity.
NAME_INPUT = "name"


@dataclass(frozen=True, slots=True)
class Word:
    """A name, or that which an input holds (``$connector``)."""

    name: str
    of: str = ""

    @property
    def told(self) -> str:
        """The name, or the input's, for a person."""
        return f"the {self.of}" if self.of else self.name

    def value(self, names: Mapping[str, str]) -> str:
        """Return the name, given the inputs' names."""
        return names[self.of] if self.of else self.name


class OfFamily(ABC):
    """A verb that goes by what a device family's file says."""

    __slots__ = ()

    @property
    @abstractmethod
    def needs(self) -> str:
        """What it takes from the family, for a person: "a connector"."""

    @abstractmethod
    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:
        """Return what a family lacks for it, as in "has no ..."; empty if nothing.

        ``names`` and ``values`` are the inputs'.
        """


@dataclass(frozen=True, slots=True)
class StepOutput:
    """What a step came to. ``finding`` and ``says`` are empty where there is nothing to tell."""

    outcome: Outcome = Outcome.PASSED
    finding: Finding | None = None
    says: str = ""
    measurements: tuple[Measurement, ...] = ()
    evidence: tuple[Evidence, ...] = ()


def evidence_of(event: Event, row: int | None, says: str, at_s: float | None = None) -> Evidence:
    """Return an event as evidence; ``row`` is its place in the journal, below 0 or None if it has none."""
    return Evidence(
        event_id=event.id,
        type=event.type,
        time=event.time,
        at_s=at_s,
        says=says,
        journal_row=row if row is not None and row >= 0 else None,
    )


class Reader(Protocol):
    """Reads a boot as it happens (``wakerail.analysis.watch.BootReader``)."""

    def take_frame(self, frame: Frame) -> Sequence[Seen]: ...
    def take_usb(self, event: UsbAttached | UsbDetached | UsbEnumerationFailed) -> Sequence[Seen]: ...
    def finish(self, end_s: float) -> BootReading: ...


class HeatInHand(Protocol):
    """A heat that a run has begun (``wakerail.sequences.heating.heating.Heating``)."""

    @property
    def heats(self) -> bool:
        """Whether the heater is meant to be on."""
        ...

    async def cool(self, operator: str) -> None:
        """End the heating; the heater is off when this returns. Raises ConfigInvalid if it does not heat."""
        ...

    def so_far(self) -> tuple[tuple[Measurement, ...], tuple[Evidence, ...]]:
        """Return the figures of what was heated so far, and the evidence; nothing once it has come to its own end."""
        ...

    def warning(self) -> str:
        """Return what a person must know of a plate that is left hot; empty if it is cool."""
        ...


class StepContext(Protocol):
    """The run, as a step may use it."""

    @property
    def run(self) -> str: ...
    @property
    def bench(self) -> Bench: ...
    @property
    def values(self) -> Mapping[str, float]: ...
    @property
    def names(self) -> Mapping[str, str]:
        """The inputs that are names."""
        ...

    @property
    def family(self) -> DeviceFamily:
        """The device family on the bench, where a step goes by one. Raises ContractViolation if there is none."""
        ...

    @property
    def arrivals(self) -> Arrivals: ...
    @property
    def make_reader(self) -> Callable[[ReaderSettings], Reader]: ...
    @property
    def cadence_rows(self) -> Sequence[CadenceRow]: ...

    #: Settings that this run has applied, by instrument.
    applied: dict[str, dict[str, float | bool]]
    #: Settings to be put back once the run is over and everything is safe, by instrument; best effort.
    put_back: dict[str, dict[str, float]]
    #: The newest mean or median of a signal, by instrument and signal.
    levels: dict[tuple[str, str], Measurement]
    #: When this run switched an instrument on (monotonic seconds); absent while it is off.
    on_since_s: dict[str, float]
    #: When the prompt directly before this step was raised, if there was one.
    prompted_s: float | None
    #: The heat that this run has begun, if it has.
    heat: HeatInHand | None

    def instrument(self, role: str) -> InstrumentAccess:
        """Return the instrument that stands in for a role. Raises KeyError for one that the bench lacks or lost."""
        ...

    def has(self, role: str) -> bool:
        """Tell whether a role has its instrument now."""
        ...

    async def tell(self, data: EventData) -> Recorded:
        """Record one of the run's own events. Raises RunEnded if that cannot be done."""
        ...

    async def ask(self, text: str, choices: Sequence[str] = ()) -> tuple[PromptAnswered, Recorded]:
        """Raise a prompt and wait until a person confirms, or gives one of ``choices``. Raises RunEnded on a no."""
        ...

    async def cadence_before(self, of: str = "") -> Cadence | None:
        """Return how this job's device restarted in an earlier run of a sequence; None if that is not known.

        ``of`` is that sequence, this run's own if it is not said.
        """
        ...

    async def compared(self, boot: Boot, usb_family: str) -> Comparison | None:
        """Compare a boot with the known-good one of its device family, as named for the run or else as USB knows it.

        None if neither knows it, or earlier runs cannot be looked up.
        """
        ...


class Action(Protocol):
    """A verb with what it was given."""

    @property
    def verb(self) -> str:
        """The verb as it stands in events, like ``set``, ``measure`` or ``prompt``."""
        ...

    @property
    def roles(self) -> frozenset[str]:
        """The roles without which it cannot be done."""
        ...

    @property
    def checks(self) -> bool:
        """True if it can fail: it looks at the device."""
        ...

    @property
    def known_as(self) -> str:
        """The name by which later steps ask whether it failed; empty for none."""
        ...

    def words(self, values: Mapping[str, float]) -> str:
        """Return what it does, for a person."""
        ...

    def duration_s(self, values: Mapping[str, float]) -> float | None:
        """Return how long it takes, or None where that is not known beforehand."""
        ...

    async def run(self, context: StepContext) -> StepOutput:
        """Do it. Raises DeviceRefused, DeviceUnavailable or OutOfSync for the bench, RunEnded to end the run."""
        ...
