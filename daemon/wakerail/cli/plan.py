"""``wakerail plan``: what is likeliest at fault, and what to do next, from what was seen so far."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
import typer
from rich.console import Console
from rich.padding import Padding
from rich.table import Table

from wakerail.cli.options import AsJson, Config, place
from wakerail.family_plans import load_family_plans
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest

if TYPE_CHECKING:
    from wakerail.planning.advice import Advice
    from wakerail.planning.model import FamilyPlan

plan = typer.Typer(no_args_is_help=True)

_BAR = 24
#: Causes less likely than this are told together.
_FAINT = 0.005


@plan.command()
def explain(
    family: Annotated[str, typer.Option("--family", metavar="F", help="The device family, one with a plan.")],
    seen: Annotated[
        list[str] | None,
        typer.Option(
            "--seen",
            metavar="WHAT",
            help="In their order: 'restart every 3 s', 'clean without scanner', 'port-check failed', 'fast-loop'.",
        ),
    ] = None,
    boots: Annotated[int, typer.Option(help="Boots in each try, for a fault that comes and goes.", min=1, max=99)] = 1,
    as_json: AsJson = False,
    config: Config = None,
) -> None:
    """Rank the causes by what was seen, and say the next action and why. Nothing is switched on or kept."""
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
        print(msgspec.json.encode(answer).decode())  # noqa: T201
        return
    console = Console(highlight=False, markup=False)
    console.print(f"{family}: what is at fault, from {_count(len(course.observations))}", style="bold")
    console.print(Padding(_causes(known, advice.ranked), (0, 2)))
    _tell_next(console, advice)


def _causes(known: FamilyPlan, ranked: Sequence[tuple[str, float]]) -> Table:
    """Return the causes with their shares and bars, the faint ones together."""
    table = Table.grid(padding=(0, 2))
    told = [(known.cause[cause].title, share) for cause, share in ranked if share >= _FAINT]
    if (rest := 1.0 - sum(share for _, share in told)) >= _FAINT:
        told.append(("others together", rest))
    for title, share in told:
        table.add_row(title, f"{100 * share:4.1f} %", "█" * round(_BAR * share) or "▏")
    return table


def _tell_next(console: Console, advice: Advice) -> None:
    from wakerail.planning.ending import Ending  # noqa: PLC0415  numpy is slow to load
    from wakerail.planning.telling import minutes  # noqa: PLC0415

    step = advice.next
    console.print("\nEnd" if isinstance(step, Ending) else "\nNext", style="bold")
    if isinstance(step, Ending):
        console.print(Padding(step.says, (0, 2)))
        return
    console.print(Padding(step.why, (0, 2)))
    for note in step.notes:
        console.print(Padding(note, (0, 2)), style="dim")
    if advice.expected_s:
        how = "" if advice.exact else ", by look-ahead"
        console.print(Padding(f"To a confirmed cause: about {minutes(advice.expected_s)} on average{how}.", (0, 2)))


def _count(observations: int) -> str:
    if not observations:
        return "the family's weights alone"
    return f"{observations} observation{'' if observations == 1 else 's'}"
