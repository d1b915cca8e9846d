"""How jobs are named: by the ticket, or by a number of their own."""

from __future__ import annotations

import re
from collections.abc import Iterable

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.topics import NAME

#: Stands for the job that was opened last, wherever a job is asked for.
LAST = "last"
_OWN = re.compile(r"^j-(\d{4,9})$")


def name_of(ticket: str) -> str:
    """Return the name of the job with this ticket: the ticket in lower case, since it stands in topics.

    Raises ConfigInvalid for a ticket that cannot stand in one.
    """
    name = ticket.strip().lower()
    if NAME.match(name) and name != LAST:
        return name
    could = re.sub(r"[^a-z0-9_-]+", "-", name).strip("-_")[:64].rstrip("-_")
    right = could.upper() if NAME.match(could) and could != LAST else "T-114"
    raise ConfigInvalid(
        f"ticket {ticket.strip()!r} cannot name a job: it takes letters, digits, '-' and '_', at most 64; "
        f"write it like {right!r}"
    )


def next_name(taken: Iterable[str]) -> str:
    """Return the next name for a job without a ticket: ``j-0001``, ``j-0002`` and so on."""
    numbers = [int(found[1]) for name in taken if (found := _OWN.match(name))]
    return f"j-{max(numbers, default=0) + 1:04}"
