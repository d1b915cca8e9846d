"""The signs and colours of the terminal: every sign stands beside its word, so that colour is never needed."""

from __future__ import annotations

from dataclasses import dataclass

from rich.text import Text

from wakerail_kit.outcome import Outcome

_STYLES = {
    Outcome.PASSED: "bold green",
    Outcome.FAILED: "bold red",
    Outcome.INCONCLUSIVE: "bold yellow",
    Outcome.ABORTED: "bold magenta",
}


@dataclass(frozen=True, slots=True)
class Signs:
    """Signs for one sort of terminal. ``bars`` go from empty to full in equal steps."""

    passed: str
    failed: str
    inconclusive: str
    aborted: str
    going: str
    waiting: str
    restart: str
    warning: str
    hand: str
    rule: str
    left: str
    bars: str

    def of(self, outcome: Outcome | None) -> str:
        """Return the sign of an outcome; None is a step that was not done."""
        return {
            Outcome.PASSED: self.passed,
            Outcome.FAILED: self.failed,
            Outcome.INCONCLUSIVE: self.inconclusive,
            Outcome.ABORTED: self.aborted,
            None: self.waiting,
        }[outcome]

    def word(self, outcome: Outcome | None) -> Text:
        """Return an outcome as sign and word, coloured."""
        return Text(f"{self.of(outcome)} {outcome or 'not done'}", style=style_of(outcome))


UNICODE = Signs("✔", "✘", "?", "■", "▶", "·", "▼", "▲", "☞", "─", "━", " ▁▂▃▄▅▆▇█")
ASCII = Signs("+", "x", "?", "#", ">", ".", "v", "!", "=>", "-", "=", " .:-=+*#@")


def signs_for(*, ascii_only: bool) -> Signs:
    """Return the signs that a terminal can show."""
    return ASCII if ascii_only else UNICODE


def style_of(outcome: Outcome | None) -> str:
    """Return an outcome's colour."""
    return "dim" if outcome is None else _STYLES[outcome]
