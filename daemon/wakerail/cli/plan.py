"""``wakerail plan``: what is likeliest at fault, and what to do next, from what was seen so far."""

from __future__ import annotations

import asyncio
import getpass
import signal
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import msgspec
import typer
from rich.console import Console
from rich.padding import Padding

from wakerail.cli.bench import ask
from wakerail.cli.log import JournalPath
from wakerail.cli.looks import indented
from wakerail.cli.options import AsJson, Config, place, served_bench
from wakerail.cli.plan_screen import causes_table
from wakerail.cli.run import Inputs, parse_inputs
from wakerail.family_plans import load_family_plans
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.plan_requests import PlanAdvice, PlanUndo

if TYPE_CHECKING:
    from wakerail.cli.isolating import Isolating
    from wakerail.planning.advice import Advice
    from wakerail.serve.isolations import Isolations

_T = TypeVar("_T")
_ANSWER_WITHIN_S = 30.0
_INCONCLUSIVE, _STOPPED = 3, 4

plan = typer.Typer(no_args_is_help=True)


Job = Annotated[str, typer.Option("--job", metavar="J", help="The job's ticket or name, or 'last'.")]
Seen = Annotated[
    list[str] | None,
    typer.Option(
        "--seen",
        metavar="WHAT",
        help="In their order: 'restart every 3 s', 'clean without scanner', 'port-check failed', 'fast-loop'.",
    ),
]
Boots = Annotated[int, typer.Option(help="Boots in each try, for a fault that comes and goes.", min=1, max=99)]
Operator = Annotated[str, typer.Option(help="Who does it.")]


@plan.command()
def start(
    job: Job,
    set_: Inputs = None,
    boots: Boots = 1,
    operator: Operator = "",
    yes: Annotated[
        bool, typer.Option("--yes", help="Agree to everything: only where a jig does the handwork.")
    ] = False,
    config: Config = None,
) -> None:
    """Find a job's cause at the bench: what to unplug, the boot, what it tells, until the end.

    Stop at any question, and go on another day or on another bench with the same command: the journal is the state.

    Exit code: 0 a cause or the board is named, 3 inconclusive, 4 stopped before the end.
    """
    from wakerail.cli.isolating import Isolating, Jig, Person  # noqa: PLC0415

    console = Console(highlight=False)

    async def go() -> int:
        async with served_bench(config) as client:
            isolating = Isolating(
                client=client,
                console=console,
                hands=Jig() if yes else Person(console),
                job=job,
                operator=operator or getpass.getuser(),
                boots=boots,
                inputs=parse_inputs(set_ or []),
            )
            return await isolate_on_screen(isolating)

    raise typer.Exit(asyncio.run(go()))


async def isolate_on_screen(isolating: Isolating) -> int:
    """Drive an isolation, which Ctrl-C stops; return the exit code."""
    from wakerail.cli.isolating import Stopped  # noqa: PLC0415

    asyncio.get_running_loop().add_signal_handler(signal.SIGINT, isolating.abort.set)
    try:
        advice = await isolating.go()
    except Stopped:
        isolating.console.print(f"\nStopped. `wakerail plan start --job {isolating.job}` goes on.")
        return _STOPPED
    return 0 if advice.next.causes else _INCONCLUSIVE


@plan.command()
def explain(
    family: Annotated[str, typer.Option("--family", metavar="F", help="The device family, one with a plan.")] = "",
    job: Annotated[
        str, typer.Option("--job", metavar="J", help="In place of it a job, with what was seen in it.")
    ] = "",
    seen: Seen = None,
    boots: Boots = 1,
    as_json: AsJson = False,
    journal: JournalPath = None,
    config: Config = None,
) -> None:
    """Rank the causes by what was seen, and say the next action and why. Nothing is switched on or kept."""
    if bool(family) == bool(job):
        raise ConfigInvalid("name either the --family and what was --seen, or the --job")
    if job:
        _show(_isolations(journal, config, lambda isolations: isolations.advice(job, boots, seen or ())[0]), as_json)
        return
    from wakerail.planning.advice import advise  # noqa: PLC0415  numpy is slow to load
    from wakerail.planning.course import Course  # noqa: PLC0415
    from wakerail.planning.said import read_observation  # noqa: PLC0415

    plans = load_family_plans(place(config).devices)
    if family not in plans:
        raise ConfigInvalid(f"--family {family!r} has no plan; {nearest(family, plans)}")
    known = plans[family].watched_in_boots(boots)
    course = Course(known)
    for number, text in enumerate(seen or (), 1):
        try:
            course = course.seen(read_observation(known, text))
        except ConfigInvalid as wrong:
            raise ConfigInvalid(*(f"--seen {number}: {problem}" for problem in wrong.problems)) from None
    advice = advise(course)
    if as_json:
        answer: dict[str, Any] = {
            "family": family,
            "ranked": [{"cause": cause, "share": share} for cause, share in advice.ranked],
            "next": {"kind": type(advice.next).__name__.lower(), **msgspec.to_builtins(advice.next)},
            "expected_s": advice.expected_s,
            "exact": advice.exact,
        }
        _print(answer)
        return
    console = Console(highlight=False, markup=False)
    console.print(f"{family}: what is at fault, from {_count(len(course.observations))}", style="bold")
    titled = [(known.cause[cause].title, share) for cause, share in advice.ranked]
    console.print(Padding(causes_table(titled), (0, 2)))
    _tell_next(console, advice)


@plan.command()
def whatif(
    job: Job,
    seen: Seen = None,
    boots: Boots = 1,
    as_json: AsJson = False,
    journal: JournalPath = None,
    config: Config = None,
) -> None:
    """Say what would be likeliest and next in a job if this were seen as well. Nothing is kept."""
    if not seen:
        raise ConfigInvalid("say what if: --seen 'clean without scanner'")
    _show(_isolations(journal, config, lambda isolations: isolations.advice(job, boots, seen)[0]), as_json)


@plan.command()
def undo(
    job: Job,
    number: Annotated[int | None, typer.Argument(help="Which observation; the newest if none is named.")] = None,
    operator: Operator = "",
    config: Config = None,
    as_json: AsJson = False,
) -> None:
    """Take an observation of a job back: it was wrong, and counts no more."""
    request = PlanUndo(job=job, number=number, operator=operator or getpass.getuser())
    answer = asyncio.run(ask(config, "plan-undo", request, _ANSWER_WITHIN_S)).data
    _print(answer) if as_json else typer.echo(answer["says"])


@plan.command()
def stats(
    family: Annotated[str, typer.Option("--family", metavar="F", help="This family alone.")] = "",
    as_json: AsJson = False,
    journal: JournalPath = None,
    config: Config = None,
) -> None:
    """Tell what the shop has seen: jobs closed, causes found, what the plan's weights were and have become."""
    found = _isolations(journal, config, lambda isolations: isolations.stats(family))
    if as_json:
        _print(found)
        return
    from wakerail.cli.plan_screen import stats_screen  # noqa: PLC0415

    Console(highlight=False).print(stats_screen(found))


@plan.command()
def tree(job: Job, as_json: AsJson = False, journal: JournalPath = None, config: Config = None) -> None:
    """Show a job's isolation as a tree: the likeliest causes after each observation, and had it gone the other way."""
    from wakerail.cli.plan_screen import tree_screen  # noqa: PLC0415
    from wakerail.planning.branches import branches  # noqa: PLC0415

    isolation = _isolations(journal, config, lambda isolations: isolations.isolation(job)[0])
    found = branches(isolation.course)
    if as_json:
        _print(
            [
                {"number": event.number, **msgspec.to_builtins(one)}
                for event, one in zip(isolation.seen, found, strict=True)
            ]
        )
    else:
        Console(highlight=False).print(tree_screen(isolation, found))


def _isolations(journal: str | None, config: Path | None, what: Callable[[Isolations], _T]) -> _T:
    """Ask the isolations of the journal that the options name; no daemon is needed for it."""
    from wakerail.journal import JournalReader  # noqa: PLC0415
    from wakerail.serve.isolations import Isolations  # noqa: PLC0415

    where = place(config)
    with JournalReader(journal if journal is not None else where.journal) as reader:
        return what(Isolations(reader, where.devices))


def _show(answer: PlanAdvice, as_json: bool) -> None:
    if as_json:
        _print(answer)
        return
    from wakerail.cli.plan_screen import advice_screen, off_now  # noqa: PLC0415

    console = Console(highlight=False)
    console.print(advice_screen(answer))
    console.print(f"  {off_now(answer)}")


def _print(told: object) -> None:
    print(msgspec.json.encode(told).decode())  # noqa: T201  this is the command line


def _tell_next(console: Console, advice: Advice) -> None:
    from wakerail.planning.ending import Ending  # noqa: PLC0415  numpy is slow to load
    from wakerail.planning.telling import minutes  # noqa: PLC0415

    step = advice.next
    console.print("\nEnd" if isinstance(step, Ending) else "\nNext", style="bold")
    if isinstance(step, Ending):
        console.print(indented(step.says))
        return
    console.print(indented(step.why))
    for note in step.notes:
        console.print(indented(note, "dim"))
    if advice.expected_s:
        how = "" if advice.exact else ", by look-ahead"
        console.print(indented(f"To a confirmed cause: about {minutes(advice.expected_s)} on average{how}."))


def _count(observations: int) -> str:
    if not observations:
        return "the family's weights alone"
    return f"{observations} observation{'' if observations == 1 else 's'}"
