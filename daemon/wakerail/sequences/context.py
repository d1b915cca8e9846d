"""The run as its steps see it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from wakerail.analysis.cadence import CadenceRow
from wakerail.analysis.settings import ReaderSettings
from wakerail.sequences.access import Bench, InstrumentAccess, Recorded
from wakerail.sequences.arrivals import Arrivals
from wakerail.sequences.prompts import Prompts
from wakerail.sequences.record import RunRecord
from wakerail.sequences.steps.action import HeatInHand, Reader
from wakerail_kit.errors import ContractViolation
from wakerail_kit.events import EventData, PromptAnswered
from wakerail_kit.families import DeviceFamily
from wakerail_kit.messages import Measurement


@dataclass(slots=True)
class RunContext:
    """Fulfils StepContext. ``absent`` grows while the run loses instruments that it can do without."""

    run: str
    bench: Bench
    values: Mapping[str, float]
    known_family: DeviceFamily | None
    arrivals: Arrivals
    make_reader: Callable[[ReaderSettings], Reader]
    cadence_rows: Sequence[CadenceRow]
    roles: Mapping[str, str]
    absent: Mapping[str, str]
    record: RunRecord
    prompts: Prompts
    applied: dict[str, dict[str, float | bool]] = field(default_factory=dict)
    levels: dict[tuple[str, str], Measurement] = field(default_factory=dict)
    on_since_s: dict[str, float] = field(default_factory=dict)
    prompted_s: float | None = None
    heat: HeatInHand | None = None

    @property
    def family(self) -> DeviceFamily:
        if self.known_family is None:
            raise ContractViolation("a step asks for the device family of a run that was given none")
        return self.known_family

    def instrument(self, role: str) -> InstrumentAccess:
        return self.bench.instruments[self.roles[role]]

    def has(self, role: str) -> bool:
        return role in self.roles and role not in self.absent

    async def tell(self, data: EventData) -> Recorded:
        return await self.record.event(data)

    async def ask(self, text: str) -> tuple[PromptAnswered, Recorded]:
        return await self.prompts.ask(text)
