"""``watch: {for: $window, signals: [supply.current, usb], fail_on: restart}``: read a boot as it happens."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from wakerail.analysis.cadence import Cadence, reading_of
from wakerail.analysis.known_good import BOOT_S, Boot, boot_since
from wakerail.analysis.proving import ProvingTime, proving_time
from wakerail.analysis.reading import BootReading
from wakerail.analysis.samples import Gathering, Samples
from wakerail.analysis.seen import Onset, Revision, Seen
from wakerail.analysis.settings import ReaderSettings
from wakerail.sequences.arrivals import Arrival, StillOn
from wakerail.sequences.endings import sentence
from wakerail.sequences.steps.action import Amount, Reader, StepContext, StepOutput, evidence_of
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.events import EventData, OnsetSeen, RestartRevised, RestartSeen, StageLevel, StagesRead, UsbAttached
from wakerail_kit.kinds import POWER_SOURCE, USB_WATCHER
from wakerail_kit.messages import CERTAINTY, Evidence, Frame, Measurement
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section

#: How many restarts a watch with ``fail_on: restart`` sees before it ends early: three give two gaps to compare.
STOP_AFTER = 3
#: So much of what was drawn before the prompt is read as well, where it was measured as standing.
_SEEN_STANDING_S = 1.0
#: More stages than a person reads, or an event should hold.
_MOST_STAGES = 200


@dataclass(frozen=True, slots=True)
class Watch:
    """A boot watch on a supply's current and, where the bench has one, a USB watcher.

    What a prompt asks for is done while the prompt stands, so a watch directly after one begins where the prompt
    was raised, or a second before where the standing draw was measured; its window counts from the confirmation.
    The outcome is the boot reader's, with what the trade reads from the cadence, and how the boot compares with the
    known-good one of its device family, where that is known.
    ``stop_after`` restarts that still count end the watch early; with None the whole window is watched.
    With ``at_most`` the window is as long as the job's earlier restarts ask for, but no longer; those are looked for
    in earlier runs of ``cadence_of``, of this sequence if it is empty.
    """

    window: Amount
    supply: str
    usb: str
    stop_after: int | None
    at_most: Amount | None = None
    cadence_of: str = ""
    verb: str = "watch"
    checks: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.supply})

    def words(self, values: Mapping[str, float]) -> str:
        signals = f"{self.supply}.current" + (f" and {self.usb}" if self.usb else "")
        more = "" if self.at_most is None else f", up to {self.at_most.words(values)} if earlier restarts ask for it"
        return f"Watch {signals} for {self.window.words(values)}{more}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:
        return self.window.value(values) if self.at_most is None else None

    async def run(self, context: StepContext) -> StepOutput:
        supply = context.instrument(self.supply)
        usb = [context.instrument(self.usb).name] if self.usb and context.has(self.usb) else []
        start_s = context.bench.clock.monotonic_s()
        before = await context.cadence_before(self.cadence_of)
        time = self._time(context.values, before)
        end_s = start_s + time.window_s
        facts = replace(_known_facts(context, supply.name), cadence_before=before)
        reader = context.make_reader(facts)
        watched = _Watched(context, reader, StillOn(supply, context.on_since_s.get(supply.name)), start_s)
        since_s = context.prompted_s if context.prompted_s is not None else start_s
        if facts.standing_a is not None:  # a meter shows how it scatters only while nothing is drawn
            since_s -= _SEEN_STANDING_S
        with context.arrivals.listen(supply, usb) as listener:
            for arrival in context.arrivals.recent([supply.name, *usb], since_s):
                await watched.take(arrival)
            while watched.at_s < end_s and (self.stop_after is None or len(watched.counting) < self.stop_after):
                await watched.take(await listener.next())
        watched.still_on.finish()
        reading = reader.finish(watched.at_s)
        await watched.tell_last(reading)
        says = f"{time.says} {reading.says}".strip() if reading.outcome is Outcome.PASSED else reading.says
        if reading.cadence is not None and (trade := reading_of(reading.cadence, context.cadence_rows)) is not None:
            says = f"{says} {trade.says}"
        boot = watched.boot(reading.onset_s)
        if boot is not None and (compared := await context.compared(boot, watched.usb_family)) is not None:
            says = f"{says} {compared.told}"
        certainty = Measurement(name=CERTAINTY, value=round(reading.probability, 4), unit="1", outcome=Outcome.PASSED)
        measured = (*reading.measurements, certainty)
        return StepOutput(reading.outcome, reading.finding, says, measured, watched.in_time())

    def _time(self, values: Mapping[str, float], before: Cadence | None) -> ProvingTime:
        least_s = self.window.value(values)
        if self.at_most is None:
            return ProvingTime(least_s)
        return proving_time(least_s, max(least_s, self.at_most.value(values)), before)


@dataclass(slots=True)
class _Watched:
    """A watch so far. Whatever is seen is recorded at once: the verdict rests on it.

    ``usb_family`` is the device family that USB knows it for, empty where it knows none.
    """

    context: StepContext
    reader: Reader
    still_on: StillOn
    at_s: float
    counting: set[int] = field(default_factory=set)
    evidence: list[Evidence] = field(default_factory=list)
    usb_family: str = ""
    _gathering: Gathering = field(default_factory=Gathering)
    _samples: list[Samples] = field(default_factory=list)
    _onset_s: float = math.inf

    async def take(self, arrival: Arrival) -> None:
        if isinstance(arrival, Frame):
            self.still_on.take(arrival)
            self.at_s = max(self.at_s, arrival.t_s[-1])
            if arrival.t_s[0] <= self._onset_s + BOOT_S:
                self._samples += self._gathering.take(arrival)
            await self._record(self.reader.take_frame(arrival))
            return
        if isinstance(arrival, UsbAttached):
            self.usb_family = arrival.family or self.usb_family
        await self._record(self.reader.take_usb(arrival))

    def boot(self, onset_s: float | None) -> Boot | None:
        """Return the boot that began at an onset; None if there was none."""
        if onset_s is None:
            return None
        self._samples += self._gathering.rest()
        return boot_since(((part.t_s, part.current_a) for part in self._samples), onset_s)

    async def tell_last(self, reading: BootReading) -> None:
        """Record what became sure at the end, and the stages: the verdict is a conclusion and rests on them."""
        await self._record(reading.last_seen)
        if not reading.stages:
            return
        stages = [
            StageLevel(
                start_s=stage.start_s,
                end_s=stage.end_s,
                mean_a=stage.mean_a,
                spread_a=stage.spread_a,
                peak_a=stage.peak_a,
                charge_ma_s=stage.charge_ma_s,
                energy_j=stage.energy_j,
            )
            for stage in reading.stages[:_MOST_STAGES]
        ]
        await self.context.tell(StagesRead(run=self.context.run, count=len(reading.stages), stages=stages))

    def in_time(self) -> tuple[Evidence, ...]:
        """Return the evidence by when it happened: a restart that was told late stands in its place."""
        return tuple(sorted(self.evidence, key=lambda one: one.at_s or 0.0))

    async def _record(self, seen: Sequence[Seen]) -> None:
        for item in seen:
            data, says = self._event(item)
            recorded = await self.context.tell(data)
            self.evidence.append(evidence_of(recorded.event, recorded.row, says, item.at_s))

    def _event(self, item: Seen) -> tuple[EventData, str]:
        run = self.context.run
        if isinstance(item, Onset):
            self._onset_s = item.at_s
            onset = OnsetSeen(run=run, at_s=item.at_s, level_a=item.level_a)
            return onset, f"The device began to draw, {human(item.level_a, 'A')} at first."
        if isinstance(item, Revision):
            (self.counting.add if item.counts else self.counting.discard)(item.number)
            revised = RestartRevised(
                run=run,
                number=item.number,
                at_s=item.at_s,
                probability=item.probability,
                counts=item.counts,
                says=item.says,
            )
            # it stands below its restart, whose number is of no use where they are in the order of time
            return revised, sentence(f"told anew: {item.says}{'' if item.counts else ', which counts no more'}")
        self.counting.add(item.number)
        restart = RestartSeen(
            run=run,
            at_s=item.at_s,
            again_s=item.again_s,
            number=item.number,
            evidence=list(item.evidence),
            says=item.says,
            probability=item.probability,
        )
        return restart, sentence(item.says)


def _known_facts(context: StepContext, supply: str) -> ReaderSettings:
    """Return what the run knows of the device before the watch: what was set, what it drew standing, the prompt."""
    applied = context.applied.get(supply, {})
    facts = ReaderSettings(prompted_s=context.prompted_s, limit_a=applied.get("limit"), set_v=applied.get("volts"))
    standing = context.levels.get((supply, "current"))
    if standing is not None:
        facts = replace(facts, standing_a=standing.value)
        if standing.high is not None:
            facts = replace(facts, standing_max_a=standing.high)
    return facts


def read(section: Section, scope: Scope) -> Watch:
    """Read a watch step."""
    given = section.section("watch")
    window = scope.amount(given, "for", "s", above_zero=True)
    supply = usb = ""
    for text in given.texts("signals"):
        role, dot, signal = text.partition(".")
        kind = scope.role(given, "signals", role)
        if kind is None:
            continue
        if kind is POWER_SOURCE and not supply and dot and signal == "current":
            supply = role
        elif kind is USB_WATCHER and not usb and not dot:
            usb = role
        else:
            given.note("signals", f"{text!r} cannot be watched here; one supply's current and one usb-watcher can")
    if not supply and "signals" in given and None not in scope.roles.values():
        given.note("signals", "a boot is read from a supply's current; name one, like 'supply.current'")
    fail_on = given.text("fail_on", "", one_of=["restart"]) if "fail_on" in given else given.raw("fail_on", "")
    stop_after = given.integer("stop_after", STOP_AFTER, low=1, high=1000)
    if "stop_after" in given and not fail_on:
        given.note("stop_after", "has a meaning only beside 'fail_on: restart'")
    at_most = scope.optional_amount(given, "at_most", "s")
    cadence_of = given.name("cadence_of", "")
    return Watch(window, supply, usb, stop_after if fail_on else None, at_most, cadence_of)
