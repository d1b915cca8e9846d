"""Grows the trees by which the boot reader weighs, in hindsight, what may have been a restart, and writes them down.

Reads made-up recordings of five corpora, of the seeds that the reader may be tuned on (``TRAIN_SEEDS``, in ``CORPUS``
and ``OTHERS``), with the reader as it is, without hindsight; at the end, and at some of the looks back before it,
describes every moment until then (``wakerail.analysis.hindsight``); and grows trees that tell the restarts from the
others: first of each moment alone, then of those together that stand for different restarts, and once more given what
that said. What the later trees learn from are log odds by trees grown on the other half of the recordings, as those of
a recording that was not seen. Writes ``daemon/wakerail/analysis/hindsight/forests.npz``: run it again whenever the live
reader or what describes a moment has changed; it takes an hour and a half on two cores. Every recording weighs as much
as the root of how many moments it has.

Two growths are steadier than one: with ``--beside FILE`` the forests of a file are kept, each growth with half a say.
Those that come with the reader were made so: half of what they hold was grown by the revision 545ba32 of this file, on
all of the corpora but ``assembled``.

With ``--short`` it grows them on a few recordings, prints how well that went, and writes nothing.
"""

from __future__ import annotations

import itertools
import multiprocessing
import random
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from _boosting import grow, half_each
from _corpora import ASSEMBLED, LIFELIKE, MOTLEY, PLAIN, Corpus
from _harness import arguments, report
from _scoring import pairing
from boot_reading import TRAIN_SEEDS, faulty_jobs, healthy_jobs

from wakerail.analysis.hindsight import together
from wakerail.analysis.hindsight.grid import Bools, Floats, Ints
from wakerail.analysis.hindsight.look import Look, Outside, Recorded, Verdict, look_at
from wakerail.analysis.hindsight.moments import Moments
from wakerail.analysis.hindsight.weighing import GROWN, Forest, Forests, load, save
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_sim.corpus import Case, Truth, make_recording

Stretches = Mapping[int, tuple[Mapping[float, int], Mapping[float, float]]]

#: From which of a rate's seeds on, how many of devices that restart, and how many hours of healthy use. Those before
#: the first were looked at for the live reader.
CORPUS: Stretches = {
    first: (
        {5.0: 150, 10.0: 200, 20.0: 450, 50.0: 450, 100.0: 450, 200.0: 400, 500.0: 120, 1000.0: 40},
        {5.0: 20, 10.0: 20, 20.0: 60, 50.0: 50, 100.0: 30, 200.0: 15, 500.0: 3, 1000.0: 1},
    )
    for first in (5000, 9000)
}
CORPUS_SHORT: Stretches = {3000: ({20.0: 30, 100.0: 15}, {20.0: 2.0})}
#: Every scene of each seed.
OTHERS = (
    (LIFELIKE, TRAIN_SEEDS[30_000:30_160]),
    (MOTLEY, TRAIN_SEEDS[:160]),
    (PLAIN, TRAIN_SEEDS[:120]),
    (ASSEMBLED, TRAIN_SEEDS[:160]),
)
OTHERS_SHORT = tuple((corpus, seeds[:2]) for corpus, seeds in OTHERS)
_NEAR_S, _NEAR_SAMPLES = 0.08, 2.2
_SAME_S, _SAME_SAMPLES = 0.5, 4  # a dip that began with the restart's may end as much later: a meter hid the begin
LOOKS_BEFORE = 2  # the end: so many are described
TREES_ALONE, TREES_TOGETHER = 700, 350

Scene = tuple[Corpus, str]
Job = tuple[int, Case | Scene]


@dataclass(frozen=True, slots=True, eq=False)
class Described:
    """What describes the moments of what was recorded until then, which were restarts, and the recording's truth."""

    look: Look
    were_restarts: Bools
    truth: Truth
    sample_s: float


@dataclass(frozen=True, slots=True, eq=False)
class DescribedTogether:
    """What some moments say together, ``among`` all, and which were restarts; two never were the same."""

    among: Ints
    columns: Mapping[str, Floats]
    were_restarts: Bools


def describe(job: Job) -> list[Described]:
    """Read a recording live, describe its moments at some looks back and at the end, and tell which were restarts."""
    seed, what = job
    if isinstance(what, Case):
        recording = make_recording(what, seed)
        return _described(seed, recording.t_s, recording.current_a, recording.truth, what.sample_s)
    corpus, scene = what
    made = corpus.make(seed, scene)
    return _described(seed, made.t_s, made.current_a, made.truth, made.sample_s) if made.telling else []


def _described(seed: int, t_s: Floats, current_a: Floats, truth: Truth, sample_s: float) -> list[Described]:
    described: list[Described] = []

    def looking(recorded: Recorded, live_s: Iterable[float], _: Outside) -> list[Verdict]:
        look = look_at(recorded, live_s)
        if look is not None:
            described.append(Described(look, were_restarts(look.moments, truth, sample_s), truth, sample_s))
        return []  # so that all is told as it was seen live

    reader = BootReader(ReaderSettings(), looking)
    reader.take(t_s, current_a)
    reader.finish(float(t_s[-1]))
    earlier = described[:-1]
    return [*random.Random(seed).sample(earlier, min(LOOKS_BEFORE, len(earlier))), *described[-1:]]


def were_restarts(moments: Moments, truth: Truth, sample_s: float) -> Bools:
    """Tell which moments are where a true restart was: they begin with it, or dip with it."""
    at_s, again_s = np.array(truth.restarts).reshape(-1, 2).T
    near_s, same_s = max(_NEAR_S, _NEAR_SAMPLES * sample_s), max(_SAME_S, _SAME_SAMPLES * sample_s)
    at_off_s = np.abs(moments.at_s[:, np.newaxis] - at_s)
    again_off_s = np.abs(moments.again_s[:, np.newaxis] - again_s)
    dips = (moments.again_s > moments.at_s)[:, np.newaxis]
    found: Bools = ((again_off_s < near_s) | (dips & (at_off_s < near_s) & (again_off_s < same_s))).any(axis=1)
    return found


def jobs(stretches: Stretches, others: Sequence[tuple[Corpus, Sequence[int]]]) -> Iterator[Job]:
    for first, (faulty, healthy_h) in stretches.items():
        for rate_hz, count in faulty.items():
            yield from faulty_jobs(TRAIN_SEEDS, rate_hz, count, first=first)
            yield from healthy_jobs(TRAIN_SEEDS, rate_hz, healthy_h.get(rate_hz, 0), first=first)
    for corpus, seeds in others:
        yield from ((seed, (corpus, scene)) for seed, scene in itertools.product(seeds, corpus.scenes))


def fit_alone(described: Sequence[Described]) -> Forest:
    """Return the forest for moments by themselves."""
    return _fit([one.look.columns for one in described], [one.were_restarts for one in described], TREES_ALONE)


def describe_together(one: Described, alone: Floats) -> DescribedTogether | None:
    """Describe together what stands for different restarts by the log odds of each alone; None if nothing does."""
    moments = one.look.moments
    among = np.flatnonzero(together.distinct(moments, alone, one.look.spacing_s))
    if not len(among):
        return None
    times_s = np.stack([moments.at_s, moments.again_s], axis=1)[among]
    paired = np.zeros(len(among), dtype=np.bool_)
    paired[[found for _, found in pairing(np.array(one.truth.restarts).reshape(-1, 2), times_s, one.sample_s)]] = True
    return DescribedTogether(among, one.look.together(alone, alone, among), paired)


def describe_again(one: Described, alone: Floats, first: DescribedTogether, forest: Forest) -> DescribedTogether:
    """Describe the same once more, by the log odds that a forest gives them by what they said first."""
    so_far = alone.copy()
    so_far[first.among] = forest.log_odds(first.columns)
    return replace(first, columns=one.look.together(alone, so_far, first.among))


def fit(recordings: Sequence[Sequence[Described]]) -> Forests:
    """Return the forests. What the second and the third learn from was said by forests of the other half."""
    halves = [list(itertools.chain(*recordings[first::2])) for first in (0, 1)]
    alone = [
        [of_others.log_odds(one.look.columns) for one in half]
        for half, of_others in zip(halves, map(fit_alone, reversed(halves)), strict=True)
    ]
    learnt = [list(map(describe_together, half, said)) for half, said in zip(halves, alone, strict=True)]
    of_others = [_fit_together(half) for half in reversed(learnt)]
    learnt_again = [
        [
            None if first is None else describe_again(one, said, first, forest)
            for one, said, first in zip(half, alone_in_half, learnt_in_half, strict=True)
        ]
        for half, alone_in_half, learnt_in_half, forest in zip(halves, alone, learnt, of_others, strict=True)
    ]
    return Forests(
        fit_alone([*halves[0], *halves[1]]),
        _fit_together([*learnt[0], *learnt[1]]),
        _fit_together([*learnt_again[0], *learnt_again[1]]),
    )


def _fit_together(learnt: Sequence[DescribedTogether | None]) -> Forest:
    known = [one for one in learnt if one is not None]
    return _fit([one.columns for one in known], [one.were_restarts for one in known], TREES_TOGETHER)


def _fit(columns: Sequence[Mapping[str, Floats]], truths: Sequence[Bools], trees: int) -> Forest:
    """Return the forest for moments of several recordings."""
    weights = [np.full(len(truth), 1.0 / np.sqrt(max(len(truth), 1))) for truth in truths]
    every = {key: np.concatenate([one[key] for one in columns]) for key in columns[0]}
    return grow(every, np.concatenate(truths), np.concatenate(weights), trees)


def main() -> None:
    args = arguments(__doc__, beside="forests grown before, to be kept with half a say")
    every = list(jobs(CORPUS_SHORT, OTHERS_SHORT) if args.short else jobs(CORPUS, OTHERS))
    with multiprocessing.Pool() as pool:
        recordings = [one for one in pool.imap(describe, every, chunksize=4) if one]
    grown = fit(recordings)
    described = list(itertools.chain(*recordings))
    said, truth = [], []
    for one in described:
        alone = grown.alone.log_odds(one.look.columns)
        some = describe_together(one, alone)
        if some is not None:
            said.append(grown.again.log_odds(describe_again(one, alone, some, grown.together).columns) > 0)
            truth.append(some.were_restarts)
    right, wrong = np.concatenate(said)[np.concatenate(truth)], np.concatenate(said)[~np.concatenate(truth)]
    figures = {
        "recordings": len(recordings),
        "looks": len(described),
        "moments": sum(len(one.were_restarts) for one in described),
        "restarts_said_so": round(float(right.mean()), 4),
        "others_said_to_be": round(float(wrong.mean()), 5),
    }
    report("Growing what hindsight goes by", figures, {}, as_json=args.json)
    if args.beside:
        earlier = load(args.beside)
        grown = Forests(*(half_each(getattr(earlier, one.name), getattr(grown, one.name)) for one in fields(Forests)))
    if not args.short:
        save(grown, GROWN)


if __name__ == "__main__":
    main()
