"""Fits the tables by which the boot reader weighs, in hindsight, what may have been a restart, and writes them down.

Reads made-up recordings of the seeds that the reader may be tuned on (``boot_reading.TRAIN_SEEDS``, from ``FIRST`` on)
with the reader as it is, without hindsight; describes every moment of theirs (``wakerail.analysis.hindsight``); and
fits what each number says to the truth. Writes ``daemon/wakerail/analysis/hindsight/tables.py``: run it again whenever
the live reader or what describes a moment has changed. A moment counts as a restart that is within 0.08 s or two
samples of a true one's begin. Every recording weighs as much as the root of how many moments it has.

With ``--short`` it fits on a few recordings, prints how well that went, and writes nothing.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from _additive import fit
from _harness import arguments, report
from boot_reading import TRAIN_SEEDS, faulty_jobs, healthy_jobs

from wakerail.analysis.hindsight import tables
from wakerail.analysis.hindsight.evidence import DIRECTIONS
from wakerail.analysis.hindsight.grid import Bools
from wakerail.analysis.hindsight.look import Look
from wakerail.analysis.hindsight.weighing import GROUPS, Table
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_sim.corpus import Case, make_recording

FIRST = 3000  # of a rate's seeds: those before were looked at for the live reader
FAULTY = {5.0: 200, 10.0: 200, 20.0: 250, 50.0: 250, 100.0: 250, 200.0: 200, 500.0: 80, 1000.0: 40}
HEALTHY_H = {5.0: 12, 10.0: 12, 20.0: 20, 50.0: 20, 100.0: 15, 200.0: 10, 500.0: 3, 1000.0: 1}
FAULTY_SHORT = {20.0: 20, 100.0: 10}
_NEAR_S, _NEAR_SAMPLES = 0.08, 2.2
WRITTEN = Path(tables.__file__)

Job = tuple[int, Case]
Described = tuple[Look, Bools]


def describe(job: Job) -> Described | None:
    """Read a recording live, describe its moments, and tell which were restarts; None if there is nothing to tell."""
    seed, case = job
    recording = make_recording(case, seed)
    reader = BootReader(ReaderSettings())
    reader.take(recording.t_s, recording.current_a)
    look = reader.look_at_all()
    if look is None:
        return None
    begins_s = np.array([again_s for _, again_s in recording.truth.restarts])
    near_s = max(_NEAR_S, _NEAR_SAMPLES * case.sample_s)
    off_s = np.abs(look.moments.again_s[:, np.newaxis] - begins_s)
    return look, off_s.min(axis=1, initial=np.inf) < near_s


def jobs(faulty: dict[float, int], healthy_h: dict[float, float]) -> Iterator[Job]:
    for rate_hz, count in faulty.items():
        yield from faulty_jobs(TRAIN_SEEDS, rate_hz, count, first=FIRST)
        yield from healthy_jobs(TRAIN_SEEDS, rate_hz, healthy_h.get(rate_hz, 0), first=FIRST)


def fit_all(described: list[Described]) -> dict[str, Table]:
    """Return a table for each group of moments."""
    fitted = {}
    for name, sorts in GROUPS.items():
        columns: dict[str, list[np.ndarray]] = {}
        truths, weights = [], []
        for look, truth in described:
            group = look.moments.is_of(*sorts)
            for key, column in look.columns.items():
                columns.setdefault(key, []).append(column[group])
            truths.append(truth[group])
            weights.append(np.full(int(group.sum()), 1.0 / np.sqrt(max(int(group.sum()), 1))))
        fitted[name] = fit(
            {key: np.concatenate(parts) for key, parts in columns.items()},
            np.concatenate(truths),
            np.concatenate(weights),
            DIRECTIONS,
        )
    return fitted


def written(fitted: dict[str, Table]) -> str:
    """Return the tables as a module."""
    lines = [
        '"""What each number that describes a moment says. Made by benchmarks/fit_hindsight.py: fit, do not edit."""',
        "",
        "from collections.abc import Mapping",
        "",
        "from wakerail.analysis.hindsight.weighing import Steps, Table",
        "",
        "# fmt: off",
        "TABLES: Mapping[str, Table] = {",
    ]
    for name, table in fitted.items():
        lines += [f'    "{name}": Table({table.begins_with!r}, {{']
        for key, steps in table.steps.items():
            lines += [f'        "{key}": Steps(', f"            {steps.bounds!r},"]
            lines += [f"            {steps.adds!r},", f"            {steps.unknown!r},", "        ),"]
        lines += ["    }),"]
    return "\n".join([*lines, "}", ""])


def main() -> None:
    args = arguments(__doc__)
    every = list(jobs(FAULTY_SHORT if args.short else FAULTY, {} if args.short else HEALTHY_H))
    with multiprocessing.Pool() as pool:
        described = [one for one in pool.imap(describe, every, chunksize=4) if one is not None]
    fitted = fit_all(described)
    truth = np.concatenate([truth for _, truth in described])
    said = np.concatenate([look.weigh(fitted) for look, _ in described]) > 0
    figures = {
        "recordings": len(described),
        "moments": len(truth),
        "restarts_said_so": round(float(said[truth].mean()), 4),
        "others_said_to_be": round(float(said[~truth].mean()), 5),
    }
    report("Fitting what hindsight goes by", figures, {}, as_json=args.json)
    if not args.short:
        WRITTEN.write_text(written(fitted), encoding="utf-8")


if __name__ == "__main__":
    main()
