"""What comes in with a request: no passcode, and no endless text; what makes things safer is never refused for one."""

from __future__ import annotations

from typing import Any

from wakerail.jobs.privacy import refuse_passcodes_in, texts_in
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.messages import AbortRun, CoolRun, MakeSafe

#: All texts of one request together, in characters; an intake with every answer as long as may be has fewer.
#: The daemon looks through them on its event loop, which holds up everything else for as long.
MAX_TEXTS = 40_000


def admitted(request: Any) -> Any:
    """Return a request as it is taken in.

    Raises ConfigInvalid, without repeating it, for a text like a passcode, and for more than ``MAX_TEXTS`` characters.

    A request to end something is carried out all the same, without its texts.
    """
    try:
        _refuse_endless(request)
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


def _refuse_endless(request: object) -> None:
    long = sum(max(1, len(text)) for _, text in texts_in(request))  # a text costs something even if it is empty
    if long > MAX_TEXTS:
        raise ConfigInvalid(f"the request's texts have {long} characters together, and at most {MAX_TEXTS} are taken")
