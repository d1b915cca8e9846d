"""The questions of the intake, one after another at a terminal; what was given by options is not asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

import msgspec

from wakerail.jobs.names import name_of
from wakerail.jobs.privacy import refuse_passcodes
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.job_requests import OpenJob


class Question(NamedTuple):
    """What is asked, and for which field. What is ``needed`` is asked until it is answered."""

    field: str
    asks: str
    needed: bool = False


QUESTIONS = (
    Question("family", "Device family", needed=True),
    Question("ticket", "Ticket (Enter: it gets a number)"),
    Question("serial", "Serial number"),
    Question("symptom", "What does it do, or not do?", needed=True),
    Question("exposure", "Was it exposed to liquid? Which, and when?"),
    Question("condition", "Condition: cracks, dents, opened before?"),
    Question("keep", "What must the customer not lose?"),
    Question("words", "What happened, in the customer's words?"),
    Question("customer", "Customer's name (may stay empty)"),
)


def take_intake(
    given: Mapping[str, str | None], families: Sequence[str], operator: str, ask: Callable[[str], str] | None
) -> OpenJob:
    """Return the request to open a job from what was given, and from answers to ``ask`` for what is None.

    Without ``ask`` nobody is there to be asked. Raises ConfigInvalid for what is wrong among the given, or missing.
    """
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        text = given.get(question.field)
        if text is not None or ask is None:
            answers[question.field] = _checked(question, text or "", families, f"--{question.field}")
        else:
            answers[question.field] = _asked(question, families, ask)
    return msgspec.convert(answers | {"operator": operator}, OpenJob)


def _asked(question: Question, families: Sequence[str], ask: Callable[[str], str]) -> str:
    usual = families[0] if question.field == "family" and len(families) == 1 else ""
    asks = question.asks + (f" (Enter: {usual})" if usual else "")
    while True:
        try:
            return _checked(question, ask(asks) or usual, families, "")
        except ConfigInvalid as wrong:
            asks = f"{str(wrong).removeprefix(': ')}\n{question.asks}"


def _checked(question: Question, text: str, families: Sequence[str], option: str) -> str:
    """Return an answer that can be taken. Raises ConfigInvalid, in a line that begins with the option."""
    text = text.strip()
    try:
        refuse_passcodes(**{question.field: text})
        if question.needed and not text:
            raise ConfigInvalid("must be answered")
        if question.field == "family" and text not in families:
            raise ConfigInvalid(f"no device family {text!r}; {nearest(text, families)}")
        if question.field == "ticket" and text:
            name_of(text)
    except ConfigInvalid as wrong:
        raise ConfigInvalid(f"{option}: {wrong}" if option else str(wrong)) from None
    return text
