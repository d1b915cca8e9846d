"""Requests to the daemon: ``ask/<verb>`` in, one answer out on the response topic that the asker names."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from typing import Any

import msgspec
import structlog

from wakerail_kit import topics
from wakerail_kit.errors import (
    ConfigInvalid,
    ContractViolation,
    DeviceRefused,
    DeviceUnavailable,
    OutOfSync,
    WakerailError,
)
from wakerail_kit.messages import ASK_VERBS, Answer, Ask

log = structlog.get_logger(__name__)

Handler = Callable[[Any], Awaitable[Any]]

EXIT_FAILED = 1
EXIT_BAD_REQUEST = 2
EXIT_DEVICE = 5

_REMEMBERED = 256  # answers kept, so that a request delivered twice (QoS 1 allows it) is carried out once
_AT_ONCE = 32


class Requests:
    """Carries out what is asked on ``ask/<verb>``, each request once however often it is delivered.

    ``admit`` sees all that is asked before anything else does, and returns it as it is taken in; it raises
    ConfigInvalid for what must not come in.
    """

    def __init__(self, admit: Callable[[Any], Any] = lambda asked: asked) -> None:
        self._admit = admit
        self._handlers: dict[str, Handler] = {}
        self._carried_out: OrderedDict[tuple[str, str], asyncio.Task[Answer]] = OrderedDict()
        self._running = 0

    def handle(self, verb: str, handler: Handler) -> None:
        """Let ``handler`` carry out ``verb``; it is given the verb's own struct and returns the answer's data.

        Raises ContractViolation for a verb that the kit does not know, or one that is taken.
        """
        if verb not in ASK_VERBS:
            raise ContractViolation(f"there is no verb {verb!r}; the verbs are {_listed(ASK_VERBS)}")
        if verb in self._handlers:
            raise ContractViolation(f"the verb {verb!r} has a handler already")
        self._handlers[verb] = handler

    async def answer(self, topic: str, payload: bytes) -> tuple[str, Answer] | None:
        """Carry out one request; return the response topic and the answer, or None if there is nobody to answer.

        Never raises for what an asker may have sent, nor for what a handler raises.
        """
        try:
            asked = topics.parse(topic)
            ask = msgspec.json.decode(payload, type=Ask)
            back = topics.parse(ask.reply_to)
        except (ContractViolation, msgspec.DecodeError) as error:
            log.warning("a request that names no usable response topic was left out", topic=topic, error=str(error))
            return None
        if (back.bench, back.branch) != (asked.bench, "answer"):
            log.warning("a request wants its answer where no answers belong", topic=topic, reply_to=ask.reply_to)
            return None
        key = (ask.reply_to, ask.id)
        if key not in self._carried_out:
            # A task of its own: the second delivery of a request may wait for the first one's answer.
            self._carried_out[key] = asyncio.create_task(self._carry_out(asked.owner, ask), name=f"carries out {topic}")
            if len(self._carried_out) > _REMEMBERED:
                self._carried_out.popitem(last=False)
        return ask.reply_to, await self._carried_out[key]

    async def _carry_out(self, verb: str, ask: Ask) -> Answer:
        def refuse(says: str, exit_code: int) -> Answer:
            return Answer(id=ask.id, ok=False, says=says, exit_code=exit_code)

        try:
            return Answer(id=ask.id, ok=True, data=await self._call(verb, ask.args))
        except ConfigInvalid as error:
            return refuse(str(error), EXIT_BAD_REQUEST)
        except (DeviceUnavailable, DeviceRefused, OutOfSync) as error:
            return refuse(str(error), EXIT_DEVICE)
        except WakerailError as error:
            log.exception("a request failed", verb=verb)
            return refuse(str(error), EXIT_FAILED)
        except Exception:
            log.exception("a request failed", verb=verb)
            return refuse(f"the daemon failed while carrying out {verb!r}; its log says why", EXIT_FAILED)

    async def _call(self, verb: str, args: dict[str, Any]) -> Any:
        handler = self._handlers.get(verb)
        if handler is None:
            raise ConfigInvalid(f"there is no verb {verb!r} here; the verbs are {_listed(self._handlers)}")
        if self._running >= _AT_ONCE:
            raise DeviceUnavailable(f"{_AT_ONCE} requests are being carried out already; ask again later")
        try:
            checked = msgspec.convert(args, ASK_VERBS[verb])
        except msgspec.ValidationError as error:
            wrong = self._admit(_words(error))  # it may repeat an argument
            raise ConfigInvalid(f"bad arguments for {verb!r}: {wrong}") from error
        admitted = self._admit(checked)
        self._running += 1
        try:
            return await handler(admitted)
        finally:
            self._running -= 1


def _words(error: msgspec.ValidationError) -> str:
    """Return msgspec's message in words that speak of arguments, not of JSON objects."""
    text = str(error).replace("Object missing required field", "they lack the field")
    return text.replace("Object contains unknown field", "there is no field").replace("`$.", "`")


def _listed(verbs: Any) -> str:
    return ", ".join(sorted(verbs)) or "none yet"
