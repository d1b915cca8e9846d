"""One line for each event of a run that matters to a person: for logs, pipes and the foot of the live view."""

from __future__ import annotations

from wakerail_kit.events import (
    CoolingAsked,
    EventData,
    HeatStageStarted,
    InstrumentFaulted,
    InstrumentLost,
    InterlockTripped,
    OnsetSeen,
    PresenceAsked,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StepFinished,
    StepStarted,
)
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human


def news_of(data: EventData, start_s: float | None) -> str:  # noqa: PLR0911  one for each sort of news
    """Return an event as one line, empty if it is no news. ``start_s`` is when the run began."""
    match data:
        case RunStarted():
            others = [f"{role} is {name}" for role, name in data.roles.items() if role != name]
            return ", ".join([f"{data.sequence} began", *others])
        case StepStarted() if data.duration_s is not None:
            return f"step {data.number}, {human(data.duration_s, 's')}: {data.title}"
        case StepFinished(verb="prompt", outcome=Outcome.PASSED):
            return f"step {data.number}: confirmed"  # what was asked stands above
        case StepFinished():
            return f"step {data.number} {data.outcome}: {data.says or data.title}"
        case HeatStageStarted():
            return stage_words(data)
        case PresenceAsked():
            return f"are you at the plate? confirm within {human(round(data.left_s), 's')}, or the heat is cut"
        case CoolingAsked():
            return "cooling was asked for" + (f" by {data.operator}" if data.operator else "")
        case OnsetSeen():
            return f"onset at {since(data.at_s, start_s)}: it draws {human(data.level_a, 'A')}"
        case RestartSeen() | RestartRevised():
            return f"restart {data.number} at {since(data.at_s, start_s)}{_anew(data)}: {data.says}"
        case _:
            return trouble_of(data)


def stage_words(data: HeatStageStarted) -> str:
    """Return what a stage of a heat does and what a person does meanwhile."""
    to = "to" if data.kind in {"ramp", "cool"} else "at"
    duration = "" if data.duration_s is None else f" for {human(data.duration_s, 's')}"
    says = f": {data.says}" if data.says else ""
    return f"{data.kind} {to} {human(data.temperature_c, 'Cel')}{duration}{says}"


def _anew(data: RestartSeen | RestartRevised) -> str:
    """Return what a restart is by now, empty where it is told for the first time."""
    if isinstance(data, RestartSeen):
        return ""
    return f", now {100 * data.probability:.0f} % sure" if data.counts else ", which counts no more"


def trouble_of(data: EventData) -> str:
    """Return what is wrong on the bench as one line, empty if the event tells of nothing wrong."""
    match data:
        case InterlockTripped():
            return f"{data.instrument}: {data.says}"
        case InstrumentLost():
            return f"{data.instrument}: {data.why}"
        case InstrumentFaulted():
            return f"{data.instrument}: {data.text} ({data.code})"
        case _:
            return ""


def since(at_s: float, start_s: float | None) -> str:
    """Return a moment as seconds since the run began."""
    return f"{at_s - (at_s if start_s is None else start_s):.1f} s"
