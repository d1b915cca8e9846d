"""Drives an isolation at the bench: what to do by hand, one thing at a time, the boot or check, and what that tells.

The journal is the state. So it can be stopped at any question, and goes on by the same command on another day or bench.
"""

from __future__ import annotations

import asyncio
import itertools
import math
from collections.abc import Callable, Coroutine, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Protocol

import msgspec
from msgspec import Struct
from rich.console import Console

from wakerail.bus import BusClient
from wakerail.cli.bench import ask_over
from wakerail.cli.following import follow_run
from wakerail.cli.looks import indented
from wakerail.cli.plan_screen import END, advice_screen, closing_line, off_now
from wakerail.cli.run import Screen
from wakerail.cli.terminal import Reply, drop_typed, read_line
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.messages import Prompt, RunSequence
from wakerail_kit.outcome import Finding
from wakerail_kit.plan_requests import Deed, PlanAdvice, PlanAdvise, PlanObserve, PlanObserved, PlanUndo

BOOT_WATCH = "boot-watch"
#: A boot is watched for so long as it is by itself, and at least so many rounds of a fault whose time is known.
_WINDOW_S, _ROUNDS = 60.0, 2.5
_ANSWER_WITHIN_S = 30.0
_VAIN_RUNS = 3


class Said(Enum):
    """What was answered to a question."""

    DONE = "done"
    STOP = "n"
    UNDO = "undo"
    WHY = "w"


class Stopped(Exception):
    """The person stopped; the isolation goes on another time."""


class Undone(Exception):
    """The last answer was taken back; what is next is to be asked anew."""


class Hands(Protocol):
    """Who does what is to be done by hand."""

    @property
    def prompts(self) -> Callable[[Prompt], Reply] | None:
        """What does as a run's prompts ask; None: the person at the screen is asked."""
        ...

    async def do(self, question: str, deed: Deed | None, *, undo: bool) -> Said:
        """Do a deed or undo it (without one: agree to what the question says), and say so."""
        ...


class Person:
    """The person at the terminal."""

    prompts: Callable[[Prompt], Reply] | None = None

    def __init__(self, console: Console) -> None:
        self._console = console

    async def do(self, question: str, deed: Deed | None, *, undo: bool) -> Said:  # noqa: ARG002
        drop_typed()
        self._console.print(f"[bold]{question}[/bold]  (Enter when done, n to stop, undo, w why) ", end="")
        said = await read_line()
        return Said.STOP if said is None else understood(said)


class Jig:
    """A jig that has done it already; it confirms every prompt, as no person."""

    prompts: Callable[[Prompt], Reply] | None = staticmethod(lambda prompt: Reply(bool(prompt.text), person=False))

    async def do(self, question: str, deed: Deed | None, *, undo: bool) -> Said:  # noqa: ARG002
        return Said.DONE


def understood(said: str) -> Said:
    """Return what an answer means: what begins with n is no, and Enter that it was done."""
    word = said.strip().lower()
    if word in {Said.UNDO.value, "u"}:
        return Said.UNDO
    if word in {Said.WHY.value, "why", "?"}:
        return Said.WHY
    return Said.STOP if word.startswith("n") else Said.DONE


@dataclass
class Isolating:
    """An isolation under way, over a connection to the daemon. ``inputs`` are those of the boot watch."""

    client: BusClient
    console: Console
    hands: Hands
    job: str
    operator: str
    boots: int = 1
    inputs: Mapping[str, str] = field(default_factory=dict)
    abort: asyncio.Event = field(default_factory=asyncio.Event)

    async def go(self) -> PlanAdvice:
        """Go on to the end and return it. Raises Stopped where the person stopped, and what the daemon refused."""
        first = True
        while True:
            answer = await self._ask("plan-advise", PlanAdvise(job=self.job, boots=self.boots, operator=self.operator))
            advice = msgspec.convert(answer, PlanAdvice)
            self.job = advice.job
            self.console.print()
            self.console.print(advice_screen(advice))
            if advice.next.kind == END:
                self._tell_end(advice)
                return advice
            if first and advice.seen:
                self.console.print(f"  {off_now(advice)}", style="bold")
            first = False
            try:
                await self._step(advice)
            except Undone:
                continue

    async def _step(self, advice: PlanAdvice) -> None:
        step = advice.next
        if step.kind == "check":
            await self._agree(f"Run the {step.name} now.", advice)
            await self._see(step.name, {}, advice, [deed.action for deed in advice.off])
            return
        for deed in step.to_undo:
            await self._agree(_capital(deed.says), advice, deed, undo=True)
        for deed in step.to_do:
            await self._agree(_capital(deed.says), advice, deed)
        if advice.seen and not (step.to_undo or step.to_do):
            await self._agree("Boot it with everything as it is.", advice)
        for number in range(self.boots):
            if number:
                self.console.print(f"  Boot {number + 1} of {self.boots}.")
            if await self._see(BOOT_WATCH, self._inputs(advice), advice, step.done):
                break  # one that shows the fault is enough

    async def _see(self, sequence: str, inputs: Mapping[str, str], advice: PlanAdvice, done: list[str]) -> bool:
        """Run a sequence until it tells something of the cause; return whether it was a boot that showed the fault.

        Raises DeviceUnavailable if no person is there to mend what keeps it from telling.
        """
        for vain in itertools.count(1):
            observed = await self._run(sequence, inputs, advice, done)
            if observed.numbers:
                return bool(observed.shown)
            if self.hands.prompts is not None and vain >= _VAIN_RUNS:
                raise DeviceUnavailable(f"{vain} runs of {sequence} on end told nothing; the last: {observed.says}")
            await self._agree(f"Run the {sequence} once more.", advice)
        raise AssertionError("unreachable")

    async def _agree(self, question: str, advice: PlanAdvice, deed: Deed | None = None, *, undo: bool = False) -> None:
        while True:
            said = await self._unless_aborted(self.hands.do(question, deed, undo=undo))
            if said is Said.DONE:
                return
            if said is Said.STOP:
                raise Stopped
            if said is Said.UNDO:
                taken = await self._ask("plan-undo", PlanUndo(job=self.job, operator=self.operator))
                self.console.print(indented(msgspec.convert(taken, PlanObserved).says))
                raise Undone
            self.console.print(indented(advice.next.says))

    async def _unless_aborted(self, asking: Coroutine[None, None, Said]) -> Said:
        asked, stopped = asyncio.ensure_future(asking), asyncio.ensure_future(self.abort.wait())
        try:
            await asyncio.wait({asked, stopped}, return_when=asyncio.FIRST_COMPLETED)
            return asked.result() if asked.done() else Said.STOP
        finally:
            for task in (asked, stopped):
                task.cancel()
            await asyncio.gather(asked, stopped, return_exceptions=True)

    async def _run(self, sequence: str, inputs: Mapping[str, str], advice: PlanAdvice, done: list[str]) -> PlanObserved:
        """Run a sequence with the live screen, tell the job what it saw, and return what that is worth."""
        request = RunSequence(sequence=sequence, inputs=dict(inputs), job=advice.job, operator=self.operator)
        screen = Screen(as_json=False, do=self.hands.prompts)
        with screen:
            verdict = await follow_run(self.client, request, screen, self.abort)
        self.console.print(indented(f"{verdict.outcome}, {verdict.finding}: {verdict.reason}"))
        if verdict.finding is Finding.STOPPED:
            raise Stopped
        told = await self._ask(
            "plan-observe", PlanObserve(job=advice.job, run=verdict.run, done=done, operator=self.operator)
        )
        observed = msgspec.convert(told, PlanObserved)
        self.console.print(indented(observed.says, "bold"))
        return observed

    def _inputs(self, advice: PlanAdvice) -> Mapping[str, str]:
        """Return the boot watch's inputs: with a window long enough for the fault, unless one was given."""
        if "window" in self.inputs or advice.usual_s is None or _ROUNDS * advice.usual_s <= _WINDOW_S:
            return self.inputs
        return {**self.inputs, "window": f"{10 * math.ceil(_ROUNDS * advice.usual_s / 10)} s"}

    async def _ask(self, verb: str, args: Struct) -> object:
        return (await ask_over(self.client, verb, args, _ANSWER_WITHIN_S)).data

    def _tell_end(self, advice: PlanAdvice) -> None:
        if advice.next.causes:
            self.console.print("\nOnce it is mended and proved, this closes the job, and the next plans learn from it:")
            self.console.print(f"  {closing_line(advice)}", style="bold")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
