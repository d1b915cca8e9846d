"""The runs of a bench: started, answered and aborted by request."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING, Any

import structlog

from wakerail.bench import Bench
from wakerail.bus import Requests
from wakerail_kit.errors import ConfigInvalid, DeviceRefused
from wakerail_kit.hints import nearest
from wakerail_kit.messages import (
    AbortRun,
    AnswerPrompt,
    ConfirmPresence,
    CoolRun,
    ListInstruments,
    ListSequences,
    ResetInterlock,
    RunSequence,
    Verdict,
)

if TYPE_CHECKING:
    from wakerail.sequences import SequenceRun
    from wakerail.serve.history import JournalHistory
    from wakerail.serve.job_desk import JobDesk

log = structlog.get_logger()


class Runs:
    """Every run in progress, by its id."""

    def __init__(self, bench: Bench, sequences: Path, history: JournalHistory, jobs: JobDesk) -> None:
        self._bench = bench
        self._jobs = jobs
        self._history = history
        self._folder = sequences
        self._running: dict[str, SequenceRun] = {}
        self._closed = False

    def handle(self, requests: Requests) -> None:
        """Answer the bench's requests."""
        requests.handle("run", self._run)
        requests.handle("abort", self._abort)
        requests.handle("confirm", self._confirm)
        requests.handle("cool", self._cool)
        requests.handle("present", self._present)
        requests.handle("reset", self._reset)
        requests.handle("instruments", self._instruments)
        requests.handle("sequences", self._sequences)

    def of_job(self, job: str) -> list[str]:
        """Return the runs of a job that are in progress."""
        return [run.id for run in self._running.values() if run.job == job]

    async def abort_all(self, why: str) -> list[Verdict]:
        """Take no new runs, end every run in progress, and return the verdicts that they still gave."""
        self._closed = True
        return await self.end_all(why)

    async def end_all(self, why: str) -> list[Verdict]:
        """End every run in progress, and return the verdicts that they still gave."""
        runs = list(self._running.values())
        for run in runs:
            run.abort(why)
        ended = await asyncio.gather(*(run.done for run in runs), return_exceptions=True)
        return [verdict for verdict in ended if isinstance(verdict, Verdict)]

    async def _run(self, args: RunSequence) -> dict[str, Any]:
        job, family = await self._job_of(args)
        if self._closed:  # nothing is awaited from here until the run is known
            raise DeviceRefused("the daemon is stopping; it takes no new runs")
        # Late: what runs a sequence is not needed to be ready, and the daemon loads it as soon as it is.
        from wakerail.sequences import SequenceRun, load_sequences, make_plan  # noqa: PLC0415

        known = load_sequences(self._folder)
        if args.sequence not in known:
            raise ConfigInvalid(f"no sequence {args.sequence!r}; {nearest(args.sequence, sorted(known), 'known: ')}")
        if known[args.sequence].profiles and not args.operator.strip():
            raise ConfigInvalid(f"{args.sequence} heats, and heat needs a person; name the operator")
        plan = make_plan(known[args.sequence], args.inputs, self._bench, family=family)
        run = SequenceRun(plan, self._bench, job=job, operator=args.operator, history=self._history)
        done = run.start()  # refuses if another run has the instruments
        self._running[run.id] = run
        done.add_done_callback(lambda _: self._running.pop(run.id, None))
        return {"run": run.id, "instruments": dict(plan.roles)}

    async def _job_of(self, args: RunSequence) -> tuple[str | None, str]:
        """Return the job that a run belongs to and the family of its device. Raises ConfigInvalid."""
        if not args.job:
            return None, args.family
        job = await self._jobs.workable(args.job)
        if args.family not in {"", job.family}:
            raise ConfigInvalid(f"job {job.name} is a {job.family}, not a {args.family!r}; leave the family out")
        return job.name, job.family

    def _of(self, run: str) -> SequenceRun:
        if run not in self._running:
            raise ConfigInvalid(f"no run {run!r} is in progress")
        return self._running[run]

    async def _abort(self, args: AbortRun) -> None:
        self._of(args.run).abort(args.why)

    async def _confirm(self, args: AnswerPrompt) -> None:
        run = self._of(args.run)
        run.answer(args.prompt, args.confirmed, choice=args.choice, note=args.note, person=args.person)

    async def _cool(self, args: CoolRun) -> None:
        heating = [self._of(args.run)] if args.run else [run for run in self._running.values() if run.heats]
        if not heating:
            raise ConfigInvalid("no run heats now; there is nothing to cut short")
        for run in heating:
            await run.cool(args.operator)

    async def _present(self, args: ConfirmPresence) -> dict[str, float]:
        return {"left_s": self._bench.person_present(args.operator)}

    async def _reset(self, args: ResetInterlock) -> None:
        if args.instrument not in self._bench.instruments:
            raise ConfigInvalid(f"no instrument {args.instrument!r}; known: {', '.join(self._bench.instruments)}")
        await self._bench.instruments[args.instrument].reset_interlock(args.operator)

    async def _instruments(self, args: ListInstruments) -> list[Any]:  # noqa: ARG002  it asks for nothing in particular
        return [host.status() for host in self._bench.instruments.values()]

    async def _sequences(self, args: ListSequences) -> list[dict[str, Any]]:  # noqa: ARG002
        from wakerail.sequences import check_sequence, load_sequences  # noqa: PLC0415

        kinds = [host.kind for host in self._bench.instruments.values()]
        return [
            {
                "sequence": name,
                "purpose": sequence.purpose,
                "missing": check_sequence(sequence, kinds, self._bench.families),
            }
            for name, sequence in load_sequences(self._folder).items()
        ]
