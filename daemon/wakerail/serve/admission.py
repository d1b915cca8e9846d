"""What comes in with a request: no passcode in any field; what makes things safer is never refused for one."""

from __future__ import annotations

from typing import Any

from wakerail.jobs.privacy import refuse_passcodes_in
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.messages import AbortRun, CoolRun, MakeSafe


def admitted(request: Any) -> Any:
    """Return a request as it is taken in. Raises ConfigInvalid, without repeating it, for a text like a passcode.

    A request to end something is carried out all the same, without its texts.
    """
    try:
        refuse_passcodes_in(request)
    except ConfigInvalid:
        match request:
            case AbortRun(run=run) | CoolRun(run=run):
                return type(request)(run=run)
            case MakeSafe():
                return MakeSafe()
            case _:
                raise
    return request
