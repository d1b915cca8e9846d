"""The run as its steps see it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

import structlog

from wakerail.analysis.cadence import Cadence, CadenceRow
from wakerail.analysis.known_good import Boot, Comparison, compare
from wakerail.analysis.settings import ReaderSettings
from wakerail.sequences.access import Bench, History, InstrumentAccess, Recorded
from wakerail.sequences.arrivals import Arrivals
from wakerail.sequences.prompts import Prompts
from wakerail.sequences.record import RunRecord
from wakerail.sequences.steps.action import HeatInHand, Reader
from wakerail.sequences.timing import within
from wakerail_kit.errors import ContractViolation
from wakerail_kit.events import EventData, PromptAnswered
from wakerail_kit.families import DeviceFamily
from wakerail_kit.messages import Measurement

#: What the history of earlier runs gets to answer: a watch that waits for it looks back for six times as long.
HISTORY_LIMIT_S = 5.0

_T = TypeVar("_T")
log = structlog.get_logger()


@dataclass(slots=True)
class RunContext:
    """Fulfils StepContext. ``absent`` grows while the run loses instruments that it can do without."""

    run: str
    sequence: str
    job: str | None
    bench: Bench
    history: History | None
    values: Mapping[str, float]
    names: Mapping[str, str]
    known_family: DeviceFamily | None
    arrivals: Arrivals
    make_reader: Callable[[ReaderSettings], Reader]
    cadence_rows: Sequence[CadenceRow]
    roles: Mapping[str, str]
    absent: Mapping[str, str]
    record: RunRecord
    prompts: Prompts
    applied: dict[str, dict[str, float | bool]] = field(default_factory=dict)
    put_back: dict[str, dict[str, float]] = field(default_factory=dict)
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

    async def ask(self, text: str, choices: Sequence[str] = ()) -> tuple[PromptAnswered, Recorded]:
        return await self.prompts.ask(text, choices)

    async def cadence_before(self, of: str = "") -> Cadence | None:
        if self.history is None or self.job is None:
            return None
        return await self._recalled(self.history.cadence_before(self.job, of or self.sequence))

    async def compared(self, boot: Boot, usb_family: str) -> Comparison | None:
        family = usb_family if self.known_family is None else self.known_family.name
        if self.history is None or not family:
            return None
        known = await self._recalled(self.history.known_good(family, self.sequence, self.run))
        return None if known is None else await asyncio.to_thread(compare, boot, known)

    async def _recalled(self, work: Coroutine[Any, Any, _T]) -> _T | None:
        try:
            return await within(self.bench.clock, HISTORY_LIMIT_S, work, "the history")
        except Exception as wrong:  # noqa: BLE001  no run fails for want of what earlier ones would tell
            log.warning("earlier runs could not be looked up", run=self.run, why=str(wrong) or type(wrong).__name__)
            return None
