"""The hands of the demo's technician on the simulated bench: they do what prompts ask, and stay while it heats."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from msgspec import Struct
from rich.console import Console

from wakerail.cli.isolating import Said
from wakerail.cli.run import Screen
from wakerail.cli.terminal import Reply, Wish
from wakerail.planning.model import FamilyPlan
from wakerail_kit.errors import WakerailError
from wakerail_kit.events import HeatStageStarted, PresenceAsked, read_event
from wakerail_kit.messages import Event, Prompt
from wakerail_kit.plan_requests import Deed
from wakerail_sim.hands import tell

#: What the words of a prompt ask the hands to do at the simulated bench; anything else is confirmed as it is.
ASKED = (
    ("Clean the port", ("clean port",)),
    ("Bridge the power-button pads", ("press power-button",)),
    ("Clamp the board flat on the plate", ("clamp boards",)),
    ("Clamp the lower board flat on the plate, set the upper one on it", ("clamp boards", "set upper-board")),
    ("Take the boards off", ("take-off boards",)),
    ("Look at the seam", ("take-off boards",)),
    ("Put the supply on the battery terminals", ("clip battery",)),
    ("put the supply on its charge port", ("clip port",)),
)
#: The prompt that says when the upper board is to be lifted, and how often the tweezers try.
_LIFT, _TRIED_EVERY_S = "Lift the upper board", 0.2


@dataclass
class DemoHands:
    """The hands, over the socket of the simulated bench in ``folder``."""

    folder: Path
    plan: FamilyPlan
    console: Console

    def do_line(self, line: str) -> None:
        """Do one thing at the bench. Raises WakerailError with the reason if it cannot be done."""
        if (said := tell(self.folder, line)) != "ok":
            raise WakerailError(f"the hands cannot {line}: {said.removeprefix('error: ')}")

    def confirm(self, prompt: Prompt) -> Reply:
        """Do what a prompt asks, and say so; a function works as long as no part of the device is unplugged."""
        for words, lines in ASKED:
            if words in prompt.text:
                for line in lines:
                    self.do_line(line)
        if not prompt.choices:
            return Reply(confirmed=True)
        return Reply(confirmed=True, choice="no" if self._unplugged() else "yes")

    @property
    def prompts(self) -> Callable[[Prompt], Reply] | None:
        return self.confirm

    async def do(self, question: str, deed: Deed | None, *, undo: bool) -> Said:
        """Plug and unplug for the isolation."""
        self.console.print(f"  ☞ {question}")
        parts: Sequence[str] = () if deed is None else sorted(self.plan.action[deed.action].disconnects)
        for part in parts:
            await asyncio.to_thread(self.do_line, f"{'replug' if undo else 'unplug'} {part}")
        return Said.DONE

    def connect_all(self) -> None:
        """Plug in again whatever is unplugged."""
        for part in self._unplugged():
            self.do_line(f"replug {part}")

    def _unplugged(self) -> list[str]:
        off = tell(self.folder, "state").rpartition("unplugged=")[2]
        return [] if off == "-" else off.split(",")


class AttendedScreen(Screen):
    """A run's screen with the demo's hands beside it: they say that they are there, and lift the upper board."""

    def __init__(self, hands: DemoHands) -> None:
        super().__init__(as_json=False, do=hands.prompts)
        self._hands = hands
        self._asked, self._may_lift = asyncio.Event(), asyncio.Event()

    def take(self, topic: str, message: Struct) -> None:
        super().take(topic, message)
        if not isinstance(message, Event):
            return
        if read_event(message, PresenceAsked) is not None:
            self._asked.set()
        if (stage := read_event(message, HeatStageStarted)) is not None and stage.says.startswith(_LIFT):
            self._may_lift.set()

    async def wish(self) -> Wish:
        lifting = asyncio.create_task(self._lift(), name="lifts the upper board")
        try:
            await self._asked.wait()
        finally:
            lifting.cancel()
        self._asked.clear()
        return Wish.PRESENT

    async def _lift(self) -> None:
        """Try the upper board now and then, from the moment that it may be lifted until the solder lets it go."""
        await self._may_lift.wait()
        while await asyncio.to_thread(tell, self._hands.folder, "lift upper-board") != "ok":  # noqa: ASYNC110  solder tells nobody
            await asyncio.sleep(_TRIED_EVERY_S)
        self._may_lift.clear()
