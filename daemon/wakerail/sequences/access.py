"""What a sequence needs of its bench: instruments to use, a journal to record into and to ask, a bus to listen on.

The bench host fulfils these protocols; nothing here knows how.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import Protocol

from wakerail.analysis.cadence import Cadence
from wakerail.analysis.injection import Injected
from wakerail.analysis.known_good import KnownGood
from wakerail.bus import Bus
from wakerail_kit.clock import Clock
from wakerail_kit.events import EventData
from wakerail_kit.families import DeviceFamily
from wakerail_kit.kinds import Kind
from wakerail_kit.messages import Event, Identity, InstrumentState, Prompt, Verdict


class Recorded(Protocol):
    """An event that was recorded; ``row`` is its place in the journal, below 0 if the journal could not take it."""

    @property
    def event(self) -> Event: ...
    @property
    def row(self) -> int: ...


class InstrumentAccess(Protocol):
    """One hosted instrument."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> Kind: ...
    @property
    def driver(self) -> str: ...
    @property
    def dialect(self) -> str: ...
    @property
    def calibrated(self) -> str: ...
    @property
    def rate_hz(self) -> float: ...
    @property
    def limits(self) -> Mapping[str, float]:
        """The highest value that the bench allows for each setting that it limits."""
        ...

    @property
    def identity(self) -> Identity | None: ...
    @property
    def state(self) -> InstrumentState: ...
    @property
    def words(self) -> str: ...

    def allow(self, most: Injected, power_w: float) -> None:
        """Let no more come out of a supply for as long as the run that has it has it: an interlock sees to that."""
        ...

    async def apply(self, setting: str, value: float | bool, *, run: str | None) -> None:
        """Apply one setting of the kind, in the setting's own unit.

        Raises DeviceRefused (an interlock or the instrument said no), DeviceUnavailable or OutOfSync.
        """
        ...

    async def test(self, test: str, *, run: str | None) -> EventData:
        """Run one of the kind's tests. The host records what it found as the instrument's event. Raises as apply."""
        ...


class Bench(Protocol):
    """The bench as a run sees it."""

    @property
    def name(self) -> str: ...
    @property
    def clock(self) -> Clock: ...
    @property
    def bus(self) -> Bus: ...
    @property
    def families(self) -> Mapping[str, DeviceFamily]: ...
    @property
    def instruments(self) -> Mapping[str, InstrumentAccess]: ...

    def present_left_s(self) -> float:
        """Return for how long heat may still go on before a person must confirm again to be there; 0 if it may not."""
        ...

    async def record(
        self, data: EventData, *, owner: str, run: str | None = None, cause: str | None = None
    ) -> Recorded:
        """Write an event to the journal, then announce it."""
        ...

    async def record_prompt(self, prompt: Prompt) -> int:
        """Write a prompt to the journal, then announce it; return its row."""
        ...

    async def record_verdict(self, verdict: Verdict) -> int:
        """Write a verdict to the journal, then announce it; return its row. Raises if it could not be made durable."""
        ...

    def claim(self, run: str, instruments: Iterable[str], *, operator: str = "") -> AbstractContextManager[None]:
        """Hold instruments for one run. Entering raises DeviceRefused if another run holds one.

        Without an ``operator`` there is no person behind the run, and heat is refused to it.
        """
        ...

    async def make_safe(self, instruments: Sequence[str]) -> Mapping[str, bool]:
        """Put instruments into their safe state; tell of each whether that was reached."""
        ...


class History(Protocol):
    """What earlier runs tell. May raise anything: a run does without, and goes on."""

    async def cadence_before(self, job: str, sequence: str) -> Cadence | None:
        """Return how a job's device restarted when a sequence was last run on it; None if it is not known to have."""
        ...

    async def known_good(self, family: str, sequence: str, but: str) -> KnownGood:
        """Return the known-good boot of a device family, from its runs of a sequence that passed, but not from one."""
        ...
