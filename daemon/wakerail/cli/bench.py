"""Commands about the bench itself: check it, ask what it has."""

from __future__ import annotations

import asyncio
import getpass
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
import typer
from rich import box
from rich.console import Console
from rich.table import Table

from wakerail.cli.options import AsJson, Config, config_file, place, served_bench
from wakerail.heat_limits import HEAT_LIMITS
from wakerail.serve.admission import admitted
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import ConfigInvalid, WakerailError
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.messages import (
    AbortRun,
    Answer,
    ConfirmPresence,
    CoolRun,
    InstrumentState,
    ListInstruments,
    ResetInterlock,
    Status,
)
from wakerail_kit.units import human

if TYPE_CHECKING:
    from wakerail.bus import BusClient
    from wakerail.config import BenchConfig, InstrumentConfig
    from wakerail.sequences.model import Input

MARKS = {
    InstrumentState.READY: "●",
    InstrumentState.CONNECTING: "○",
    InstrumentState.UNAVAILABLE: "✗",
    InstrumentState.TRIPPED: "▲",
    InstrumentState.STOPPED: "○",
    InstrumentState.GONE: "✗",
}


def check(config: Config = None, as_json: AsJson = False) -> None:
    """Check a whole configuration and every sequence, without touching an instrument."""
    from wakerail.bench import load_plugins  # noqa: PLC0415  plugins are needed here only
    from wakerail.config import load_bench_config  # noqa: PLC0415
    from wakerail.sequences import check_sequence, load_sequence  # noqa: PLC0415

    plugins = load_plugins()
    problems = list(plugins.refused)
    file = config_file(config)
    try:
        bench = load_bench_config(file, plugins.types, RealClock())
    except ConfigInvalid as wrong:
        raise ConfigInvalid(*problems, *wrong.problems) from None
    kinds = [instrument.type.kind for instrument in bench.instruments]
    families = {family.name: family for family in bench.families}
    rows: list[dict[str, Any]] = []
    for sequence_file in sorted(bench.sequences.glob("*.yaml")):
        try:
            sequence = load_sequence(sequence_file)
            rows.append({"sequence": sequence.name, "missing": check_sequence(sequence, kinds, families)})
        except ConfigInvalid as wrong:
            problems += wrong.problems
    if problems:
        raise ConfigInvalid(*problems)
    profiles = _profiles(bench)
    if as_json:
        found = {"bench": bench.name, "sequences": rows, "profiles": profiles}
        print(msgspec.json.encode(found).decode())  # noqa: T201
        return
    console = Console(highlight=False)
    console.print(f"[bold]{bench.name}[/bold]  {file}")
    table = Table(box=box.SIMPLE_HEAD)
    for heading in ("instrument", "kind", "driver", "dialect", "rate", "limits"):
        table.add_column(heading)
    for instrument in bench.instruments:
        table_limits = "\n".join(_limits(instrument))
        table.add_row(
            instrument.name,
            instrument.type.kind.name,
            instrument.type.name,
            instrument.dialect or "–",
            f"{instrument.rate_hz:g} /s",
            table_limits or "–",
        )
    console.print(table)
    for row in rows:
        says = "; ".join(row["missing"]) or "this bench has all it needs"
        console.print(f"  sequence [bold]{row['sequence']}[/bold]: {says}")
    for row in profiles:
        refused = row["refused"] or [f"{row['family']}, profile {row['profile']!r}: this bench may heat so"]
        console.print(f"  heat for {'; '.join(refused)}")
    console.print("No mistakes found; no instrument was touched.")


def _profiles(bench: BenchConfig) -> list[dict[str, Any]]:
    """Return each heat profile that the bench knows, and why its plate must not heat so; none without a plate."""
    from wakerail.sequences.heating.course import Course  # noqa: PLC0415

    limits_c = [one.limits["temperature"] for one in bench.instruments if one.type.kind is HEAT_SOURCE]
    return [
        {"family": family.name, "profile": name, "refused": Course.of(family.name, profile).problems(max(limits_c))}
        for family in bench.families
        for name, profile in family.profiles.items()
        if limits_c
    ]


def _limits(instrument: InstrumentConfig) -> Iterator[str]:
    """Return what a setting may be at most, and the limits of interlocks that are not as they are by default."""
    settings = instrument.type.kind.settings
    for name, value in instrument.limits.items():
        if name in settings:
            yield f"{name} ≤ {human(value, settings[name].unit or '1')}"
        elif value != HEAT_LIMITS[name].default:
            yield f"{name} {human(value, HEAT_LIMITS[name].unit)}"


def instruments(config: Config = None, as_json: AsJson = False) -> None:
    """List the instruments of the running daemon and how they are."""
    answer = asyncio.run(ask(config, "instruments", ListInstruments()))
    found = msgspec.convert(answer.data, list[Status])
    if as_json:
        print(msgspec.json.encode(found).decode())  # noqa: T201
        return
    table = Table(box=box.SIMPLE_HEAD)
    for heading in ("instrument", "kind", "state", "who it says it is"):
        table.add_column(heading, overflow="fold")
    for status in found:
        state = f"{MARKS[status.state]} {status.state}"
        words = "" if status.words == status.state else f": {status.words}"
        table.add_row(status.instrument, status.kind, state + words, status.identity.text if status.identity else "–")
    Console(highlight=False).print(table)


def sequences(config: Config = None, as_json: AsJson = False) -> None:
    """List the sequences of the configuration, and what each is for."""
    from wakerail.sequences import load_sequences  # noqa: PLC0415

    found = load_sequences(place(config).sequences)
    if as_json:
        rows = [{"sequence": name, "purpose": one.purpose} for name, one in found.items()]
        print(msgspec.json.encode(rows).decode())  # noqa: T201
        return
    table = Table(box=box.SIMPLE_HEAD)
    for heading in ("sequence", "what it answers", "inputs"):
        table.add_column(heading, overflow="fold")
    for name, one in found.items():
        needed = ["the device family (--family)"] if one.of_family else []
        inputs = [f"{key} {_usual(value)}" for key, value in one.inputs.items()]
        table.add_row(name, one.purpose, "\n".join(needed + inputs))
    Console(highlight=False).print(table)


def _usual(one: Input) -> str:
    if one.is_name:
        return one.name_default
    return "(may be left out)" if one.default is None else human(one.default, one.unit)


def abort(run: Annotated[str, typer.Argument(help="The run to end.")], config: Config = None) -> None:
    """End a run at once; the bench is made safe and the run still gives a verdict."""
    asyncio.run(ask(config, "abort", AbortRun(run=run)))


def cool(
    run: Annotated[str, typer.Argument(help="The run; whichever heats if none is named.")] = "",
    operator: Annotated[str, typer.Option(help="Who says that it is done.")] = "",
    config: Config = None,
) -> None:
    """End the heating of a run now: it is done when it is done. The run goes on with cooling down."""
    asyncio.run(ask(config, "cool", CoolRun(run=run, operator=operator)))


def reset(
    instrument: Annotated[str, typer.Argument(help="The instrument whose interlock tripped.")],
    operator: Annotated[str, typer.Option(help="Who looked.")],
    config: Config = None,
) -> None:
    """Let a tripped instrument be used again, after you have looked at it."""
    asyncio.run(ask(config, "reset", ResetInterlock(instrument=instrument, operator=operator)))


def present(
    operator: Annotated[str, typer.Option(help="Who is at the bench.")] = "",
    config: Config = None,
) -> None:
    """Confirm that you are at the bench, so that heat may start or go on; any answered prompt does the same."""
    answer = asyncio.run(ask(config, "present", ConfirmPresence(operator=operator or getpass.getuser())))
    left_s = msgspec.convert(answer.data, dict[str, float])["left_s"]
    print(f"heat may go on for {human(round(left_s), 's')}")  # noqa: T201


async def ask(config: Path | None, verb: str, args: msgspec.Struct, timeout_s: float = 5.0) -> Answer:
    """Ask the daemon of a configuration for something. Raises what it refuses as ConfigInvalid or WakerailError."""
    args = admitted(args)  # before anybody else hears of it
    async with served_bench(config) as client:
        return await ask_over(client, verb, args, timeout_s)


async def ask_over(client: BusClient, verb: str, args: msgspec.Struct, timeout_s: float = 5.0) -> Answer:
    """Ask over a connection that is there; a refusal becomes the error that gives its exit code, as ``ask`` has it."""
    answer = await client.ask(verb, admitted(args), timeout_s)
    if answer.ok:
        return answer
    if answer.exit_code == 2:
        raise ConfigInvalid(*answer.says.splitlines())
    raise WakerailError(answer.says)
