"""Fits the tables by which the boot reader weighs, in hindsight, what may have been a restart, and writes them down.

Reads made-up recordings of the seeds that the reader may be tuned on (``boot_reading.TRAIN_SEEDS``, in ``STRETCHES``)
with the reader as it is, without hindsight; describes every moment of theirs (``wakerail.analysis.hindsight``); and
fits what each number says to the truth: first of each moment alone, then of those together that stand for different
restarts. What the second fit learns from are log odds from tables fitted to the other half of the recordings, as those
of a recording that the tables have not seen. Writes ``daemon/wakerail/analysis/hindsight/tables.py``: run it again
whenever the live reader or what describes a moment has changed; it takes a quarter of an hour on two cores.
Every recording weighs as much as the root of how many moments it has.

With ``--short`` it fits on a few recordings, prints how well that went, and writes nothing.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from _additive import fit
from _harness import arguments, report
from _scoring import pairing
from boot_reading import TRAIN_SEEDS, faulty_jobs, healthy_jobs

from wakerail.analysis.hindsight import evidence, tables, together
from wakerail.analysis.hindsight.grid import Bools, Floats
from wakerail.analysis.hindsight.look import Look
from wakerail.analysis.hindsight.moments import Moments
from wakerail.analysis.hindsight.weighing import GROUPS, Table, Tables, table_of
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_sim.corpus import Case, Truth, make_recording

Stretches = Mapping[int, tuple[Mapping[float, int], Mapping[float, float]]]

#: From which of a rate's seeds on, how many of devices that restart, and how many hours of healthy use. Those before
#: the first were looked at for the live reader.
STRETCHES: Stretches = {
    3000: (
        {5.0: 200, 10.0: 200, 20.0: 250, 50.0: 250, 100.0: 250, 200.0: 200, 500.0: 80, 1000.0: 40},
        {5.0: 12, 10.0: 12, 20.0: 20, 50.0: 20, 100.0: 15, 200.0: 10, 500.0: 3, 1000.0: 1},
    ),
    4000: (
        {5.0: 150, 10.0: 200, 20.0: 450, 50.0: 450, 100.0: 450, 200.0: 400, 500.0: 160, 1000.0: 60},
        {5.0: 20, 10.0: 20, 20.0: 60, 50.0: 50, 100.0: 30, 200.0: 15, 500.0: 3, 1000.0: 1},
    ),
    5000: (
        {5.0: 150, 10.0: 200, 20.0: 450, 50.0: 450, 100.0: 450, 200.0: 400, 500.0: 120, 1000.0: 40},
        {5.0: 20, 10.0: 20, 20.0: 60, 50.0: 50, 100.0: 30, 200.0: 15, 500.0: 3, 1000.0: 1},
    ),
}
SHORT: Stretches = {3000: ({20.0: 30, 100.0: 15}, {20.0: 2.0})}
_NEAR_S, _NEAR_SAMPLES = 0.08, 2.2
_SAME_S, _SAME_SAMPLES = 0.5, 4  # a dip that began with the restart's may end as much later: a meter hid the begin
_PENALTY_ALONE, _PENALTY_TOGETHER = 3.0, 30.0
WRITTEN = Path(tables.__file__)

Job = tuple[int, Case]


@dataclass(frozen=True, slots=True, eq=False)
class Described:
    """What describes the moments of a recording, which of them were restarts, and the whole truth."""

    look: Look
    were_restarts: Bools
    truth: Truth
    sample_s: float


@dataclass(frozen=True, slots=True, eq=False)
class DescribedTogether:
    """What some moments say together, and which were restarts; two never were the same."""

    columns: Mapping[str, Floats]
    were_restarts: Bools


def describe(job: Job) -> Described | None:
    """Read a recording live, describe its moments, and tell which were restarts; None if there is nothing to tell."""
    seed, case = job
    recording = make_recording(case, seed)
    reader = BootReader(ReaderSettings())
    reader.take(recording.t_s, recording.current_a)
    look = reader.look_at_all()
    if look is None:
        return None
    return Described(look, were_restarts(look.moments, recording.truth, case.sample_s), recording.truth, case.sample_s)


def were_restarts(moments: Moments, truth: Truth, sample_s: float) -> Bools:
    """Tell which moments are where a true restart was: they begin with it, or dip with it."""
    at_s, again_s = np.array(truth.restarts).reshape(-1, 2).T
    near_s, same_s = max(_NEAR_S, _NEAR_SAMPLES * sample_s), max(_SAME_S, _SAME_SAMPLES * sample_s)
    at_off_s = np.abs(moments.at_s[:, np.newaxis] - at_s)
    again_off_s = np.abs(moments.again_s[:, np.newaxis] - again_s)
    dips = (moments.again_s > moments.at_s)[:, np.newaxis]
    found: Bools = ((again_off_s < near_s) | (dips & (at_off_s < near_s) & (again_off_s < same_s))).any(axis=1)
    return found


def jobs(stretches: Stretches) -> Iterator[Job]:
    for first, (faulty, healthy_h) in stretches.items():
        for rate_hz, count in faulty.items():
            yield from faulty_jobs(TRAIN_SEEDS, rate_hz, count, first=first)
            yield from healthy_jobs(TRAIN_SEEDS, rate_hz, healthy_h.get(rate_hz, 0), first=first)


def fit_alone(described: Sequence[Described]) -> dict[str, Table]:
    """Return a table for each group of moments, of devices seen off and of others."""
    fitted = {}
    for from_off in (True, False):
        some = [one for one in described if one.look.from_off == from_off]
        for group, sorts in GROUPS.items():
            chosen = [one.look.moments.is_of(*sorts) for one in some]
            fitted[table_of(group, from_off=from_off)] = _fit(
                [
                    {key: column[of] for key, column in one.look.columns.items()}
                    for one, of in zip(some, chosen, strict=True)
                ],
                [one.were_restarts[of] for one, of in zip(some, chosen, strict=True)],
                evidence.DIRECTIONS,
                _PENALTY_ALONE,
            )
    return fitted


def describe_together(one: Described, alone: Floats) -> DescribedTogether | None:
    """Describe together what stands for different restarts by the log odds of each alone; None if nothing does."""
    moments = one.look.moments
    among = np.flatnonzero(together.distinct(moments, alone, one.look.spacing_s))
    if not len(among):
        return None
    times_s = np.stack([moments.at_s, moments.again_s], axis=1)[among]
    paired = np.zeros(len(among), dtype=np.bool_)
    paired[[found for _, found in pairing(np.array(one.truth.restarts).reshape(-1, 2), times_s, one.sample_s)]] = True
    return DescribedTogether(one.look.together(alone, among), paired)


def fit_together(described: Sequence[Described]) -> Table:
    """Return the table for what moments say together."""
    halves = [described[0::2], described[1::2]]
    alone = [fit_alone(half) for half in reversed(halves)]
    learnt = [
        describe_together(one, one.look.alone(of_others))
        for half, of_others in zip(halves, alone, strict=True)
        for one in half
    ]
    some = [one for one in learnt if one is not None]
    return _fit(
        [one.columns for one in some], [one.were_restarts for one in some], together.DIRECTIONS, _PENALTY_TOGETHER
    )


def _fit(
    columns: Sequence[Mapping[str, Floats]], truths: Sequence[Bools], directions: Mapping[str, int], penalty: float
) -> Table:
    """Return the table for moments of several recordings."""
    if not any(len(truth) for truth in truths):
        return Table(0.0, {})
    weights = [np.full(len(truth), 1.0 / np.sqrt(max(len(truth), 1))) for truth in truths]
    every = {key: np.concatenate([one[key] for one in columns]) for key in columns[0]}
    return fit(every, np.concatenate(truths), np.concatenate(weights), directions, penalty)


def written(fitted: Tables) -> str:
    """Return the tables as a module."""
    lines = [
        '"""What each number that describes a moment says. Made by benchmarks/fit_hindsight.py: fit, do not edit."""',
        "",
        "from wakerail.analysis.hindsight.weighing import Steps, Table, Tables",
        "",
        "# fmt: off",
        "TABLES = Tables(alone={",
    ]
    for name, table in fitted.alone.items():
        lines += [f'    "{name}": {_written(table)},']
    return "\n".join([*lines, f"}}, together={_written(fitted.together)})", ""])


def _written(table: Table) -> str:
    lines = [f"Table({table.begins_with!r}, {{"]
    for key, steps in table.steps.items():
        lines += [f'        "{key}": Steps(', f"            {steps.bounds!r},"]
        lines += [f"            {steps.adds!r},", f"            {steps.unknown!r},", "        ),"]
    return "\n".join([*lines, "    })"])


def main() -> None:
    args = arguments(__doc__)
    every = list(jobs(SHORT if args.short else STRETCHES))
    with multiprocessing.Pool() as pool:
        described = [one for one in pool.imap(describe, every, chunksize=4) if one is not None]
    fitted = Tables(fit_alone(described), fit_together(described))
    said, truth = [], []
    for one in described:
        if (some := describe_together(one, one.look.alone(fitted.alone))) is not None:
            said.append(fitted.together.log_odds(some.columns) > 0)
            truth.append(some.were_restarts)
    right, wrong = np.concatenate(said)[np.concatenate(truth)], np.concatenate(said)[~np.concatenate(truth)]
    figures = {
        "recordings": len(described),
        "moments": sum(len(one.were_restarts) for one in described),
        "restarts_said_so": round(float(right.mean()), 4),
        "others_said_to_be": round(float(wrong.mean()), 5),
    }
    report("Fitting what hindsight goes by", figures, {}, as_json=args.json)
    if not args.short:
        WRITTEN.write_text(written(fitted), encoding="utf-8")


if __name__ == "__main__":
    main()
