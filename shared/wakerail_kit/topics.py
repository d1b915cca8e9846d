"""The topic grammar, the one place where MQTT topics are made and read.

wakerail/v1/<bench>/<instrument>/{status|frame|event}
wakerail/v1/<bench>/sequence/<run>/{event|prompt|verdict}
wakerail/v1/<bench>/job/<job>/event
wakerail/v1/<bench>/ask/<verb>            requests; each names its own response topic:
wakerail/v1/<bench>/answer/<client>
wakerail/v1/<bench>/daemon/status         the daemon itself, with a last will
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from wakerail_kit.errors import ContractViolation

ROOT = "wakerail/v1"
DAEMON = "daemon"
RESERVED = frozenset({DAEMON, "sequence", "job", "ask", "answer"})
INSTRUMENT_LEAVES = ("status", "frame", "event")
RUN_LEAVES = ("event", "prompt", "verdict")
JOB_LEAF = "event"
NAME = re.compile(r"^[a-z0-9]([a-z0-9_-]{0,62}[a-z0-9])?$")


@dataclass(frozen=True, slots=True)
class Topic:
    """A topic taken apart. ``owner`` is an instrument, a run, a job, a verb or a client, by ``branch``."""

    bench: str
    branch: str  # "instrument", "sequence", "job", "ask", "answer"
    owner: str
    leaf: str = ""


def _level(name: str) -> str:
    if not NAME.match(name):
        raise ContractViolation(
            f"{name!r} cannot stand in a topic: use lower-case letters, digits, '-' and '_', at most 64"
        )
    return name


def instrument(bench: str, name: str, leaf: str) -> str:
    """Return the topic of an instrument's ``status``, ``frame`` or ``event``. Raises ContractViolation."""
    if leaf not in INSTRUMENT_LEAVES:
        raise ContractViolation(f"an instrument has no topic {leaf!r}; it has {', '.join(INSTRUMENT_LEAVES)}")
    return f"{ROOT}/{_level(bench)}/{_level(name)}/{leaf}"


def run(bench: str, run_id: str, leaf: str) -> str:
    """Return the topic of a run's ``event``, ``prompt`` or ``verdict``. Raises ContractViolation."""
    if leaf not in RUN_LEAVES:
        raise ContractViolation(f"a run has no topic {leaf!r}; it has {', '.join(RUN_LEAVES)}")
    return f"{ROOT}/{_level(bench)}/sequence/{_level(run_id)}/{leaf}"


def job(bench: str, name: str) -> str:
    """Return the topic of a job's events. Raises ContractViolation."""
    return f"{ROOT}/{_level(bench)}/job/{_level(name)}/{JOB_LEAF}"


def ask(bench: str, verb: str) -> str:
    """Return the topic on which the bench takes requests of one verb."""
    return f"{ROOT}/{_level(bench)}/ask/{_level(verb)}"


def answer(bench: str, client: str) -> str:
    """Return the response topic of one client."""
    return f"{ROOT}/{_level(bench)}/answer/{_level(client)}"


def everything(bench: str) -> str:
    """Return the filter that matches all topics of a bench."""
    return f"{ROOT}/{_level(bench)}/#"


def parse(topic: str) -> Topic:
    """Take a topic apart. Raises ContractViolation if it is none of ours."""
    levels = topic.split("/")
    if "/".join(levels[:2]) == ROOT and all(NAME.match(level) for level in levels[2:]):
        match levels[2:]:
            case [bench, "sequence", owner, leaf] if leaf in RUN_LEAVES:
                return Topic(bench, "sequence", owner, leaf)
            case [bench, "job", owner, leaf] if leaf == JOB_LEAF:
                return Topic(bench, "job", owner, leaf)
            case [bench, "ask" | "answer" as branch, owner]:
                return Topic(bench, branch, owner)
            case [bench, owner, leaf] if leaf in INSTRUMENT_LEAVES and owner not in RESERVED - {DAEMON}:
                return Topic(bench, "instrument", owner, leaf)
    raise ContractViolation(f"{topic!r} is not one of Wakerail's topics")


def matches(pattern: str, topic: str) -> bool:
    """Tell whether an MQTT filter (``+`` one level, ``#`` the rest) matches a topic (MQTT 3.1.1, 4.7)."""
    want, have = pattern.split("/"), topic.split("/")
    if topic.startswith("$") and want[0] in {"#", "+"}:
        return False
    for index, level in enumerate(want):
        if level == "#":
            return True
        if index >= len(have) or level not in {"+", have[index]}:
            return False
    return len(want) == len(have)
