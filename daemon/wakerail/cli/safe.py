"""``wakerail safe``: everything off, by hand, at any time, whether the daemon lives or not."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path

import msgspec
import typer
from rich import box
from rich.console import Console
from rich.table import Table

from wakerail.cli.options import AsJson, Config, config_file
from wakerail.config import BenchPlace, load_place
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid, WakerailError
from wakerail_kit.messages import ListInstruments, MakeSafe, SafeState

#: A daemon that has not answered a simple question after this is not waited for.
ALIVE_WITHIN_S = 2.0
#: One that has gets this long to switch everything off.
SAFE_WITHIN_S = 12.0
BENCH_FAULT = 5


def safe(config: Config = None, as_json: AsJson = False) -> None:
    """Switch every output and heater off, now: by the daemon, or without it where it does not answer.

    Runs are ended. Exit code 0 only if every instrument that can hurt was seen in its safe state.
    """
    file = config_file(config)
    place = load_place(file)
    by_daemon = _Asked(place).answer()
    states = by_daemon if by_daemon is not None and _all_safe(by_daemon) else _directly(file, place, by_daemon)
    if as_json:
        print(msgspec.json.encode(states).decode())  # noqa: T201
    else:
        _show(states)
    raise typer.Exit(0 if _all_safe(states) else BENCH_FAULT)


class _Asked:
    """The daemon is asked in a thread of its own, which is left behind if no answer comes in time."""

    def __init__(self, place: BenchPlace) -> None:
        self._place = place
        self._alive = threading.Event()
        self._done = threading.Event()
        self._states: list[SafeState] | None = None
        self._failed = False

    def answer(self) -> list[SafeState] | None:
        """Return what the daemon did, or None if it is not there or does not answer."""
        if self._place.client_url.endswith(":0"):
            return None  # no client can know its port
        threading.Thread(target=self._ask, name="asks the daemon", daemon=True).start()
        clock = RealClock()
        if clock.wait(self._alive, ALIVE_WITHIN_S) and not self._failed:
            clock.wait(self._done, SAFE_WITHIN_S)
        return self._states

    def _ask(self) -> None:
        try:
            asyncio.run(self._talk())
        except WakerailError:
            self._failed = True
        finally:
            self._alive.set()
            self._done.set()

    async def _talk(self) -> None:
        from wakerail.bus import BusClient  # noqa: PLC0415

        async with BusClient(self._place.client_url, self._place.name) as client:
            await client.ask("instruments", ListInstruments())
            self._alive.set()
            answer = await client.ask("safe", MakeSafe(), SAFE_WITHIN_S)
            if answer.ok:
                self._states = msgspec.convert(answer.data, list[SafeState])
            self._done.set()


def _directly(file: Path, place: BenchPlace, by_daemon: list[SafeState] | None) -> list[SafeState]:
    """Open the instruments here and switch them off: all, or those that the daemon did not reach."""
    from wakerail.bench import load_plugins  # noqa: PLC0415  plugins are needed here only
    from wakerail.config import load_bench_config  # noqa: PLC0415
    from wakerail.serve.lock import lock_folder, lock_holder  # noqa: PLC0415
    from wakerail.serve.safe_state import make_safe  # noqa: PLC0415

    plugins, clock = load_plugins(), RealClock()
    try:
        bench = load_bench_config(file, plugins.types, clock)
    except ConfigInvalid as wrong:
        hint = "NOTHING WAS SWITCHED OFF: the daemon does not answer, and without this the instruments are not known"
        raise ConfigInvalid(*plugins.refused, *wrong.problems, f"{hint}; pull their plugs") from None
    reached = {state.instrument: state for state in by_daemon or () if state.safe}
    tried = {
        state.instrument: state
        for state in make_safe([each for each in bench.instruments if each.name not in reached], clock)
    }
    states = [reached.get(each.name) or tried[each.name] for each in bench.instruments]
    holder = lock_holder(lock_folder(place.journal), place.name)
    if holder is None:
        return states
    hint = f"; the daemon (process {holder}) may hold its port: `kill {holder}` ends it and switches off"
    return [state if state.safe else msgspec.structs.replace(state, says=state.says + hint) for state in states]


def _all_safe(states: list[SafeState]) -> bool:
    return all(state.safe for state in states)


def _show(states: list[SafeState]) -> None:
    table = Table(box=box.SIMPLE_HEAD)
    for heading in ("instrument", "kind", "state", ""):
        table.add_column(heading, overflow="fold")
    for state in states:
        mark = "[green]✔ safe[/green]" if state.safe else "[bold red]✘ NOT SAFE[/bold red]"
        table.add_row(state.instrument, state.kind, mark if state.can_hurt else "–", state.says)
    Console(highlight=False).print(table)
