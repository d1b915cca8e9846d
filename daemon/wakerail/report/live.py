"""A run while it goes, on a terminal of 80 by 24 or larger: steps, the current or the heat now, countdown, restarts."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

import msgspec
from msgspec import Struct
from rich.console import Console, ConsoleOptions, RenderResult
from rich.padding import Padding
from rich.table import Column, Table
from rich.text import Text

from wakerail.report.live_heat import LiveHeat
from wakerail.report.news import news_of, since, trouble_of
from wakerail.report.signs import Signs, signs_for, style_of
from wakerail.report.sparkline import RecentSignal, block_chart
from wakerail_kit.events import (
    EVENT_TYPES,
    EventData,
    HeatStarted,
    OnsetSeen,
    PromptAnswered,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StepFinished,
    StepStarted,
    any_data,
)
from wakerail_kit.messages import Event, Frame, Prompt, Verdict
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human

_CHART_ROWS = 3
_MOST_RESTARTS = 5
_FIXED_LINES = 11  # heading, chart, what stands around them, and the line of the cursor


@dataclass(slots=True)
class _Step:
    number: int
    title: str
    at_s: float
    duration_s: float | None
    ended: bool = False
    outcome: Outcome | None = None


@dataclass(slots=True)
class _Seen:
    """What is known of the run so far."""

    heading: str = ""
    operator: str = ""
    supply: str | None = None
    roles: dict[str, str] = field(default_factory=dict)
    steps: list[_Step] = field(default_factory=list)
    now_s: float | None = None
    volts: float | None = None
    limiting: bool = False
    onset_s: float | None = None
    restarts: list[RestartSeen] = field(default_factory=list)
    prompt: str = ""
    trouble: str = ""
    verdict: Verdict | None = None
    start_s: float | None = None
    heat: LiveHeat | None = None

    def take_heat(self, data: EventData) -> None:
        """Keep what an event says of a heat."""
        if isinstance(data, HeatStarted):
            self.heat = LiveHeat(data)
        if self.heat is not None:
            self.heat.take_event(data)

    def take_restart(self, data: RestartSeen | RestartRevised) -> None:
        """Keep what is known of a restart now; one that does not count any more is shown no more."""
        if isinstance(data, RestartSeen):
            self.restarts.append(data)
            return
        self.restarts = [
            msgspec.structs.replace(one, probability=data.probability) if one.number == data.number else one
            for one in self.restarts
            if one.number != data.number or data.counts
        ]


class LiveRun:
    """The live view of one run. Feed it what is on the bus by ``take``; print it, or hand it to ``rich.live.Live``.

    ``keys`` are those that do something while it heats, in words.

    Safe to take messages in one thread and be rendered in another. ``news`` is for where no terminal is.
    """

    def __init__(self, keys: str = "") -> None:
        self._keys = keys
        self._seen = _Seen()
        self._current = RecentSignal()
        self._news: list[Text] = []
        self._lock = threading.Lock()

    def take(self, topic: str, message: Struct) -> None:  # noqa: ARG002  what watches a run is handed both
        """Take a message of the run, or of the bench."""
        with self._lock:
            match message:
                case Frame():
                    self._take_frame(message)
                case Prompt():
                    self._seen.prompt = message.text
                    self._tell(f"please: {message.text}")
                case Verdict():
                    self._seen.verdict = message
                case Event() if message.type in EVENT_TYPES:
                    self._take_event(any_data(message), message.source.split("/")[2])
                case _:
                    pass

    def news(self) -> Text | None:
        """Return what is new since the last call, if it matters, as one or more lines."""
        with self._lock:
            told, self._news = self._news, []
        return Text("\n").join(told) if told else None

    def _tell(self, line: str) -> None:
        if line:
            self._news.append(Text(line))

    def _take_frame(self, frame: Frame) -> None:
        seen = self._seen
        if seen.heat is not None:
            seen.heat.take_frame(frame)
        current = frame.signals.get("current")
        if current is None or (seen.roles and frame.instrument not in seen.roles.values()):
            return
        seen.supply = seen.supply or frame.instrument
        if frame.instrument == seen.supply:
            seen.now_s = frame.t_s[-1]
            seen.volts = (frame.signals.get("voltage") or [None])[-1]
            seen.limiting = (frame.signals.get("limiting") or [None])[-1] == 1
            self._current.take(frame.t_s, current)

    def _take_event(self, data: EventData, bench: str) -> None:
        seen = self._seen
        match data:
            case RunStarted():
                seen.heading, seen.operator, seen.roles = f"{data.sequence} on {bench}", data.operator, data.roles
                seen.start_s = data.at_s
            case StepStarted():
                if seen.start_s is None:  # a daemon that does not tell when the run began
                    seen.start_s = data.at_s
                seen.steps.append(_Step(data.number, data.title, data.at_s, data.duration_s))
            case StepFinished():
                for step in seen.steps:
                    if step.number == data.number:
                        step.ended, step.outcome = True, data.outcome
            case OnsetSeen():
                seen.onset_s = data.at_s
            case RestartSeen() | RestartRevised():
                seen.take_restart(data)
            case PromptAnswered():
                seen.prompt = ""
            case _:
                seen.trouble = trouble_of(data) or seen.trouble
        seen.take_heat(data)
        self._tell(news_of(data, seen.start_s))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        signs = signs_for(ascii_only=options.ascii_only)
        width = options.max_width
        with self._lock:
            seen = self._seen
            yield _two_ends(
                Text(f"  {seen.heading}", style="bold"), Text(f"by {seen.operator}" if seen.operator else "")
            )
            yield Text()
            restarts = seen.restarts[-_MOST_RESTARTS:]
            heat = [] if seen.heat is None else seen.heat.lines(signs, width)
            others = sum(map(bool, (*restarts, seen.prompt, seen.trouble, seen.verdict)))
            spare = console.size.height - _FIXED_LINES - others
            if seen.heat is not None:
                spare -= len(heat) - _CHART_ROWS + bool(seen.heat.says) * 2 + 1
            yield from self._show_steps(max(spare, 3), signs, width)
            yield Text()
            yield from heat or self._show_current(signs, width)
            yield Text()
            yield from self._show_restarts(restarts, signs)
            if seen.heat is not None and (presence := seen.heat.presence()):
                yield _two_ends(Text.assemble("  ", presence), Text(self._keys, style="dim"))
            if seen.heat is not None and seen.heat.says and seen.verdict is None:
                yield Padding(Text(f"{signs.hand} {seen.heat.says}", style="bold"), (0, 2, 0, 2))
            if seen.prompt:
                yield _line(f"  {signs.hand} {seen.prompt}", "bold")
            if seen.trouble:
                yield _line(f"  {signs.warning} {seen.trouble}", "bold red")
            if seen.verdict is not None:
                yield Text.assemble("  ", signs.word(seen.verdict.outcome), f"   {seen.verdict.finding}")

    def _show_steps(self, lines: int, signs: Signs, width: int) -> RenderResult:
        steps = self._seen.steps
        for step in steps[-lines:]:
            if step.ended:
                sign = Text(signs.of(step.outcome), style=style_of(step.outcome))
                yield _two_ends(
                    Text.assemble("  ", sign, f" {step.number}  {step.title}"),
                    Text(str(step.outcome or ""), style=style_of(step.outcome)),
                )
                continue
            left_s = self._left_s(step)
            count = Text() if left_s is None else Text(f"{left_s:.0f} s left")
            yield _two_ends(Text.assemble("  ", (f"{signs.going} {step.number}  {step.title}", "bold")), count)
            if left_s is not None and step.duration_s:
                room = width - 9
                gone = round(room * (1 - left_s / step.duration_s))
                yield Text.assemble("       ", (signs.left * gone, "cyan"), (signs.rule * (room - gone), "dim"))

    def _left_s(self, step: _Step) -> float | None:
        now_s = self._seen.now_s
        if step.duration_s is None or now_s is None:
            return None
        return min(max(step.at_s + step.duration_s - now_s, 0.0), step.duration_s)

    def _show_current(self, signs: Signs, width: int) -> RenderResult:
        seen, top = self._seen, self._current.highest
        now = self._current.now
        chart = block_chart(self._current.columns(width - 28), top or 0.0, _CHART_ROWS, signs.bars)
        facts = [
            Text("no data" if now is None else human(_rounded(now), "A"), style="bold"),
            Text("" if seen.volts is None else human(_rounded(seen.volts), "V")),
            Text("at its limit" if seen.limiting else "", style="bold yellow"),
        ]
        scale = ["" if top is None else human(_rounded(top), "A"), "", "0 A"]
        for fact, line, mark in zip(facts, chart, scale, strict=True):
            fact.pad_right(13 - len(fact))
            yield Text.assemble("  ", fact, (line, "cyan"), (f" {mark}", "dim"))
        yield Text(f"{'':15}last {human(self._current.span_s, 's')}", style="dim")

    def _show_restarts(self, restarts: list[RestartSeen], signs: Signs) -> RenderResult:
        seen = self._seen
        count = len(seen.restarts)
        if count:
            yield _line(f"  {signs.restart} {count} restart{'s' if count > 1 else ''}", "bold red")
        elif seen.onset_s is not None:
            yield _line(f"  No restart so far; it began to draw at {since(seen.onset_s, seen.start_s)}.")
        for restart in restarts:
            at, down_s = since(restart.at_s, seen.start_s), restart.again_s - restart.at_s
            evidence = ", ".join(restart.evidence)
            sure = "" if restart.probability is None else f", {100 * restart.probability:.0f} % sure"
            yield _line(f"    {restart.number:>3}  at {at:>7}, down for {down_s:.2f} s{sure}   by {evidence}")


def _rounded(value: float) -> float:
    """Return a value to three digits, so that the last ones do not flicker."""
    return float(f"{value:.3g}")


def _line(text: str, style: str = "") -> Text:
    return Text(text, style=style, no_wrap=True, overflow="ellipsis")


def _two_ends(left: Text, right: Text) -> Table:
    table = Table.grid(Column(ratio=1, no_wrap=True, overflow="ellipsis"), Column(justify="right", no_wrap=True))
    table.expand = True
    right.pad_right(2)
    table.add_row(left, right)
    return table
