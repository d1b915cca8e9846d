"""Prompts of a run: raised one at a time, durable before anyone sees them, answered once."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from wakerail.sequences.access import Bench, Recorded
from wakerail.sequences.endings import RunEnded, stopped
from wakerail.sequences.record import RunRecord
from wakerail_kit.clock import rfc3339
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import PromptAnswered, PromptRaised
from wakerail_kit.ids import new_id
from wakerail_kit.messages import Prompt


class Prompts:
    """The prompt that a run waits on, if it does. The first one of a run carries its cautions."""

    def __init__(self, bench: Bench, record: RunRecord, cautions: Sequence[str]) -> None:
        self._bench = bench
        self._record = record
        self._cautions = list(cautions)
        self._open: tuple[Prompt, asyncio.Future[PromptAnswered]] | None = None
        #: When the newest prompt was raised (monotonic seconds).
        self.raised_s = 0.0

    async def ask(self, text: str, choices: Sequence[str] = ()) -> tuple[PromptAnswered, Recorded]:
        """Raise a prompt and wait for a yes, or with ``choices`` for one of them; return it as it was recorded.

        Raises RunEnded on a no, or if the prompt cannot be recorded.
        """
        now = self._bench.clock.now()
        prompt = Prompt(
            id=new_id(now),
            bench=self._bench.name,
            run=self._record.run,
            step=self._record.number,
            text=text,
            choices=list(choices),
            cautions=self._cautions,
            time=rfc3339(now),
        )
        self._cautions = []
        answer: asyncio.Future[PromptAnswered] = asyncio.get_running_loop().create_future()
        self._open = prompt, answer  # before it is announced: the answer may come at once
        self.raised_s = self._bench.clock.monotonic_s()
        try:
            await self._record.keep(self._bench.record_prompt(prompt))
            await self._record.event(PromptRaised(run=prompt.run, prompt=prompt.id, text=text))
            answered = await answer
        finally:
            self._open = None
        recorded = await self._record.event(answered)
        if not answered.confirmed:
            why = f"; {answered.note}" if answered.note else ""
            raise RunEnded(stopped(f"the answer was no to the prompt '{text.rstrip('.')}'{why}"))
        return answered, recorded

    def answer(
        self,
        prompt_id: str,
        confirmed: bool,
        operator: str,
        *,
        choice: str = "",
        note: str = "",
        person: bool = True,
    ) -> None:
        """Take an answer. Raises ConfigInvalid if this is not the prompt that the run waits on, or no answer to it."""
        if self._open is None or self._open[1].done():
            raise ConfigInvalid(f"run {self._record.run} waits for no answer now")
        prompt, answer = self._open
        if prompt_id != prompt.id:
            raise ConfigInvalid(f"run {prompt.run} does not wait on prompt {prompt_id!r}; it waits on {prompt.id!r}")
        unanswered = confirmed and bool(prompt.choices) and person  # a script may say that nobody looked
        if choice not in prompt.choices and (choice or unanswered):
            wanted = f"answer {', '.join(prompt.choices)}" if prompt.choices else "it takes no choice"
            raise ConfigInvalid(f"{choice!r} is no answer to the prompt '{prompt.text}'; {wanted}")
        answer.set_result(
            PromptAnswered(
                run=prompt.run,
                prompt=prompt.id,
                confirmed=confirmed,
                choice=choice,
                operator=operator,
                note=note,
                person=person,
            )
        )
