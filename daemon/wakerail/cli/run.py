"""``wakerail run``: run a sequence on the running daemon, from this terminal."""

from __future__ import annotations

import asyncio
import getpass
import signal
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import msgspec
import typer
from msgspec import Struct
from rich.console import Console
from rich.live import Live
from rich.table import Table

from wakerail.cli.options import AsJson, Config, served_bench
from wakerail.cli.terminal import (
    STOP_KEY,
    Reply,
    Wish,
    chosen,
    drop_typed,
    echo,
    keys_of,
    read_key,
    read_line,
    understood,
)
from wakerail.jobs.privacy import refuse_passcodes
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import HeatStageStarted, HeatStarted, PresenceAsked, RunFinished, RunStarted, read_event
from wakerail_kit.messages import Event, Prompt, RunSequence, Verdict

if TYPE_CHECKING:
    from wakerail.bus import BusClient

#: While something heats, this key cools; any other says that somebody is there.
COOL_KEY = "c"

Inputs = Annotated[
    list[str] | None, typer.Option("--set", help='An input with its unit, e.g. --set volts="3.85 V"; again for more.')
]


def run(
    sequence: Annotated[str, typer.Argument(help="Which sequence; `wakerail sequences` lists them.")],
    set_: Inputs = None,
    family: Annotated[str, typer.Option(help="The device family on the bench; what heats needs its profile.")] = "",
    job: Annotated[str | None, typer.Option(help="The job that this run belongs to; it must be open.")] = None,
    operator: Annotated[str, typer.Option(help="Who runs it.")] = "",
    yes: Annotated[
        bool,
        typer.Option(
            "--yes", help="Confirm every prompt: only where a jig does the handwork. It is no person, so nothing heats."
        ),
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the verdict and its picture into this folder.")
    ] = None,
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Run a sequence on the running daemon, and answer its prompts here. Ctrl-C aborts it safely.

    While it heats, Enter says that you are there, and c cools at once.

    Exit code: 0 Passed, 1 Failed, 3 Inconclusive, 4 Aborted; 2 if something typed or written must be corrected, or no
    broker is where the configuration says (nothing was started); 5 if the bench, its daemon or an instrument failed.
    """
    from wakerail.sequences import exit_code_of  # noqa: PLC0415  only once there is something to run

    request = RunSequence(
        sequence=sequence,
        inputs=parse_inputs(set_ or []),
        family=family,
        job=job,
        operator=operator or getpass.getuser(),
    )
    screen = Screen(as_json=as_json, do=_confirm_all if yes else None)
    verdict = asyncio.run(run_on_screen(served_bench(config), request, screen, out))
    raise typer.Exit(exit_code_of(verdict))


def parse_inputs(texts: list[str]) -> dict[str, str]:
    """Return ``name=value`` texts as a mapping. Raises ConfigInvalid."""
    inputs = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            raise ConfigInvalid(f'--set {text!r}: write it as name=value, for example --set volts="3.85 V"')
        inputs[name.strip()] = value.strip()
    return inputs


async def run_on_screen(
    connection: AbstractAsyncContextManager[BusClient], request: RunSequence, screen: Screen, out: Path | None
) -> Verdict:
    """Run a sequence over a connection and show it; Ctrl-C aborts it. Raises what ``follow_run`` raises."""
    from wakerail.cli.following import follow_run  # noqa: PLC0415

    abort = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGINT, abort.set)
    async with connection as client:
        with screen:
            verdict = await follow_run(client, request, screen, abort)
    screen.conclude(verdict, out)
    return verdict


class Screen:
    """A run as a terminal shows it: live while it goes, the verdict at its end. It answers prompts as ``do`` says.

    Without ``do`` the person at the terminal is asked. With ``as_json`` only the verdict goes to stdout.
    """

    def __init__(self, *, as_json: bool, do: Callable[[Prompt], Reply] | None = None) -> None:
        from wakerail.report.live import LiveRun  # noqa: PLC0415
        from wakerail.report.run_trace import RunTrace  # noqa: PLC0415

        self._as_json = as_json
        self._do = do
        self._console = Console(stderr=as_json, highlight=False)
        self._live_run = LiveRun("" if do is not None else "Enter: I am here   c: cool now")
        self._trace = RunTrace()
        self._live = Live(
            self._live_run, console=self._console, refresh_per_second=8, transient=True, auto_refresh=True
        )
        self._shows = self._console.is_terminal
        self._heats = asyncio.Event()
        self._heats_no_more = asyncio.Event()

    def __enter__(self) -> Screen:
        self._draw()
        return self

    def __exit__(self, *_: object) -> None:
        self._draw_no_more()

    def _draw(self) -> None:
        if self._shows:
            echo(on=False)
            self._live.start()

    def _draw_no_more(self) -> None:
        if self._shows:
            self._live.stop()
            echo(on=True)

    def take(self, topic: str, message: Struct) -> None:
        """Show a message; where no terminal is, only what matters is printed, a line each."""
        if isinstance(message, Event):
            if (started := read_event(message, RunStarted)) is not None:
                self._warn(started.cautions)
            self._mind_heat(message)
            if self._shows and read_event(message, PresenceAsked) is not None:
                self._console.bell()
        self._live_run.take(topic, message)
        self._trace.take(message)
        if not self._shows and (line := self._live_run.news()):
            self._console.print(line)

    async def answer(self, prompt: Prompt) -> Reply:
        """Ask the person at the terminal, or do what was set."""
        if self._do is not None:
            return await asyncio.to_thread(self._do, prompt)
        self._draw_no_more()
        if self._shows:
            self._console.print(f"[bold]{prompt.text}[/bold]")  # without a terminal the news have said it
        drop_typed()
        while True:
            self._console.print(_how_to_answer(prompt), end="", markup=False)
            said = await read_line()
            reply = chosen(said, prompt.choices) if prompt.choices else understood(said)
            if reply is None:
                continue
            try:
                refuse_passcodes(note=reply.note)
            except ConfigInvalid as wrong:
                self._console.print(str(wrong), style="yellow", markup=False)
                continue
            self._draw()
            return reply

    async def wish(self) -> Wish:
        """Wait, while something heats, for the key that says what to do."""
        while True:
            await self._heats.wait()
            if self._do is not None or (key := await self._key()) is None:
                await asyncio.Event().wait()  # nobody is there to want anything
            elif self._heats.is_set():
                return Wish.COOL if key.lower().startswith(COOL_KEY) else Wish.PRESENT

    async def _key(self) -> str | None:
        """Return the next key, or "" once it heats no more: what is typed then belongs to the next prompt."""
        key, over = asyncio.ensure_future(read_key()), asyncio.ensure_future(self._heats_no_more.wait())
        try:
            await asyncio.wait({key, over}, return_when=asyncio.FIRST_COMPLETED)
            return key.result() if key.done() else ""
        finally:
            key.cancel()
            over.cancel()
            await asyncio.gather(key, over, return_exceptions=True)

    def _mind_heat(self, event: Event) -> None:
        """Take note of when something heats, and when it does so no more."""
        if read_event(event, HeatStarted) is not None:
            self._heats.set()
            self._heats_no_more.clear()
            if not self._shows and self._do is None:
                self._console.print("(Enter: you are there; c and Enter: cool now)")
        stage = read_event(event, HeatStageStarted)
        if (stage is not None and stage.kind == "cool") or read_event(event, RunFinished) is not None:
            self._heats.clear()
            self._heats_no_more.set()

    def _warn(self, cautions: list[str]) -> None:
        """Show a run's cautions: it has just begun, and nothing is switched on yet."""
        grid = Table.grid(padding=(0, 1))
        for caution in cautions:
            grid.add_row(" !", caution, style="bold yellow")
        self._console.print(grid)

    def conclude(self, verdict: Verdict, out: Path | None) -> None:
        """Print the verdict and write its files."""
        from wakerail.report.words import verdict_text  # noqa: PLC0415

        if self._as_json:
            print(msgspec.json.encode(verdict).decode())  # noqa: T201
        else:
            self._console.print(verdict_text(verdict))
        if out is not None:
            for file in self._trace.write(verdict, out):
                self._console.print(f"  written: {file}")


def _how_to_answer(prompt: Prompt) -> str:
    if not prompt.choices:
        return "(Enter when done, n to stop; note TEXT keeps a note) "
    keys = ", ".join(f"{key} {choice}" for key, choice in keys_of(prompt.choices).items())
    return f"({keys}, {STOP_KEY} to stop; a text after the key is kept) "


def _confirm_all(prompt: Prompt) -> Reply:
    return Reply(confirmed=bool(prompt.text), person=False)
