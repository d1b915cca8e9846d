"""An observation as it is typed: ``restart without scanner every 3.2 s``, ``port-check failed``, ``fast-loop``."""

from __future__ import annotations

import re

from wakerail.planning.course import opened
from wakerail.planning.model import FamilyPlan
from wakerail.planning.observations import BootWatched, CheckSeen, Observation, SignSeen
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.units import UnitInvalid, parse_quantity

_BOOT = re.compile(
    r"(?P<what>restart|clean)(?: without (?P<without>[\w-]+(?:\s*,\s*[\w-]+)*))?"
    r"(?: every (?P<every>[\d.]+ ?\w+))?(?: sure (?P<sure>[\d.]+ ?%))?"
)
_CHECK = re.compile(r"(?P<check>[\w-]+) (?P<verdict>failed|passed)(?: sure (?P<sure>[\d.]+ ?%))?")
_FORMS = "write 'restart' or 'clean', then 'without scanner,speaker' and 'every 3.2 s' where it is so"


def read_observation(plan: FamilyPlan, text: str) -> Observation:
    """Return what was typed as an observation; covers that must be off for what was unplugged are taken to be off.

    Raises ConfigInvalid, in one line. Whether it can be is for the course to say.
    """
    words = " ".join(text.split())
    if (boot := _BOOT.fullmatch(words)) is not None:
        names = [name.strip() for name in (boot["without"] or "").split(",") if name.strip()]
        sure = _number(text, boot["sure"], "1", 1.0)
        shown = sure if boot["what"] == "restart" else 1.0 - sure
        interval_s = _number(text, boot["every"], "s", 0.0) or None
        return BootWatched(opened(plan, names), shown, interval_s)
    if (check := _CHECK.fullmatch(words)) is not None:
        sure = _number(text, check["sure"], "1", 1.0)
        return CheckSeen(check["check"], sure if check["verdict"] == "failed" else 1.0 - sure)
    signs = [sign.name for sign in plan.signs]
    if words in signs:
        return SignSeen(words)
    hint = nearest(words, [*signs, "restart", "clean"], f"{_FORMS}; or '<check> failed', '<check> passed'; or a sign: ")
    raise ConfigInvalid(f"{text!r} is nothing that can be seen; {hint}")


def _number(text: str, amount: str | None, unit: str, default: float) -> float:
    if amount is None:
        return default
    try:
        return parse_quantity(amount, unit)
    except UnitInvalid as wrong:
        raise ConfigInvalid(f"{text!r}: {wrong}") from None
