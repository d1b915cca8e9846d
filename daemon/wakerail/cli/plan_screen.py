"""An isolation as a terminal shows it: the causes as bars, what was seen, what is off, what is next, how it went."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from wakerail.cli.looks import indented
from wakerail.planning.telling import listed, minutes
from wakerail_kit.plan_requests import FamilyStats, PlanAdvice

if TYPE_CHECKING:
    from wakerail.jobs.isolation import Isolation
    from wakerail.planning.branches import Branch

_BAR = 24
#: Causes less likely than this are told together.
_FAINT = 0.005
END = "end"


def causes_table(ranked: Sequence[tuple[str, float]], *, most: int = 99) -> Table:
    """Return causes by their titles with their shares and bars, the faint ones and those after ``most`` together."""
    table = Table.grid(padding=(0, 2))
    told = [(title, share) for title, share in ranked if share >= _FAINT][:most]
    if (rest := 1.0 - sum(share for _, share in told)) >= _FAINT:
        told.append(("others together", rest))
    for title, share in told:
        table.add_row(title, f"{100 * share:4.1f} %", "█" * round(_BAR * share) or "▏")
    return table


def advice_screen(answer: PlanAdvice) -> RenderableType:
    """Return where an isolation stands, and what is next."""
    learned = f" and {_count(answer.learned, 'closed job')}" if answer.learned else ""
    seen = _count(len(answer.seen), "observation") if answer.seen else "the family's weights alone"
    parts: list[RenderableType] = [_title(f"{answer.job}  {answer.family}: what is at fault, from {seen}{learned}")]
    if answer.seen:
        table = Table.grid(padding=(0, 2))
        for one in answer.seen:
            table.add_row(f"{one.number}", one.says, style="dim")
        parts.append(Padding(table, (0, 2)))
    parts.append(Padding(causes_table([(one.says, one.share) for one in answer.ranked]), (0, 2)))
    step = answer.next
    parts += [Text(), _title("End" if step.kind == END else "Next"), indented(step.says)]
    parts += [indented(note, "dim") for note in step.notes]
    if step.kind != END and answer.expected_s:
        how = "" if answer.exact else ", by look-ahead"
        average = f"To a confirmed cause: about {minutes(answer.expected_s)} on average{how}."
        parts.append(indented(average))
    return Group(*parts)


def off_now(answer: PlanAdvice) -> str:
    """Return what is off just now, in a sentence."""
    if not answer.off:
        return "Just now everything is connected."
    names = [f"the {deed.action.replace('-', ' ')}" for deed in answer.off]
    return f"Just now off: {listed(names)}."


def stats_screen(stats: Sequence[FamilyStats]) -> RenderableType:
    """Return what the shop has seen of families."""
    parts: list[RenderableType] = []
    for family in stats:
        taught = f"{family.taught} taught the plan"
        if family.two_causes:
            taught += f", {family.two_causes} of them with two causes"
        parts.append(_title(f"{family.family}: {_count(family.closed, 'job')} closed, {taught}"))
        table = Table(box=None, header_style="dim", pad_edge=False, padding=(0, 2, 0, 0))
        for title in ("cause", "jobs", "as stated", "as learned"):
            table.add_column(title, justify="left" if title == "cause" else "right")
        for one in family.causes:
            jobs = str(one.jobs) if one.jobs else "·"
            table.add_row(one.says, jobs, f"{100 * one.stated:.1f} %", f"{100 * one.learned:.1f} %")
        parts.append(Padding(table, (0, 2)))
        if family.isolation_s is not None and family.observations is not None:
            took = (
                f"An isolation took {minutes(family.isolation_s)} and {family.observations:g} observations (medians)."
            )
            parts.append(indented(took))
        parts.append(Text())
    return Group(*parts[:-1])


def tree_screen(isolation: Isolation, found: Sequence[Branch]) -> RenderableType:
    """Return an isolation as a tree: the likeliest causes after each observation, and those of the way not taken."""
    plan = isolation.plan

    def likeliest(shares: Sequence[tuple[str, float]]) -> str:
        ranked = sorted(shares, key=lambda pair: -pair[1])[:3]
        return ", ".join(f"{plan.cause[cause].title} {100 * share:.0f} %" for cause, share in ranked)

    parts: list[RenderableType] = [_title(f"{isolation.job.name}  {plan.family}: the isolation as a tree")]
    for event, branch in zip(isolation.seen, found, strict=True):
        parts.append(Text.assemble((f"{event.number:>3} ", "bold"), branch.says))
        parts.append(Text(f"    ├─ {likeliest(list(branch.shares.items()))}"))
        if branch.other is not None:
            other = f"    └─ had it been {branch.other_says}: {likeliest(list(branch.other.items()))}"
            parts.append(Text(other, style="dim"))
    return Group(*parts) if found else Group(*parts, Text("    nothing was seen yet", style="dim"))


def closing_line(answer: PlanAdvice) -> str:
    """Return the line that closes the job, once what was found has been mended."""
    causes = "".join(f" --cause {cause}" for cause in answer.next.causes[:2])
    return f"wakerail job close {answer.job} --as repaired{causes}"


def _title(text: str) -> Text:
    return Text(text, style="bold")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
