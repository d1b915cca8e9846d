"""How lines look at a terminal: colours, columns, times, room at their sides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from wakerail.journal import Tone

STYLES: Mapping[Tone, str] = {
    Tone.PLAIN: "",
    Tone.QUIET: "dim",
    Tone.GOOD: "green",
    Tone.BAD: "bold red",
    Tone.CAUTION: "yellow",
    Tone.ASKING: "bold cyan",
}


def grid_of(lines: Iterable[tuple[str, str, Text]]) -> Table:
    """Return lines of time, who, and what happened in columns."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(style="dim", no_wrap=True)
    grid.add_column(style="cyan", no_wrap=True, min_width=12)
    grid.add_column()
    for line in lines:
        grid.add_row(*line)
    return grid


def indented(says: str, style: str = "") -> Padding:
    """Return a text with room beside each of its lines, every sign in it as it is: brackets are no markup."""
    return Padding(Text(says, style), (0, 2))


def local(time: str) -> str:
    """Return an RFC 3339 time as a clock on this wall shows it."""
    return datetime.fromisoformat(time).astimezone().strftime("%Y-%m-%d %H:%M:%S")


def took(started: str, ended: str | None) -> str:
    """Return how long something took between two RFC 3339 times; empty if it has not ended."""
    if ended is None:
        return ""
    seconds = (datetime.fromisoformat(ended) - datetime.fromisoformat(started)).total_seconds()
    if seconds < 0:  # somebody set the machine's clock back meanwhile
        return "unknown"
    if seconds < 60:
        return f"{seconds:.1f} s"
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02} min" if hours else f"{minutes} min {seconds:02} s"
