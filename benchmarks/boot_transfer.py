"""How well the reading of a boot carries over to recordings that look otherwise than those it was tuned on.

Has the boot reader watch five more corpora of made-up recordings, with its default settings: ``lifelike``, ``motley``,
``plain`` and ``assembled`` of ``wakerail_sim``, of whose scenes hindsight's trees have seen other seeds, and
``held_out``, on which nothing was tuned. Figures are for 20 samples a second and faster; what no reader could see is
left out. Without ``--short`` they go to ``benchmarks/results/boot_transfer.md`` as well, scene by scene.
"""

from __future__ import annotations

import itertools
import multiprocessing
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from _corpora import CORPORA
from _harness import arguments, report
from _scoring import Score, summary
from _watching import compare, watch
from boot_reading import FAST_HZ, FRAME_S, REPORT_SEEDS, cell

RESULTS = Path(__file__).parent / "results" / "boot_transfer.md"
SEEDS, SEEDS_SHORT = 12, 2  # of each scene
MOST_RESTARTS = 1000  # a recording with more would outweigh all others
_COLUMNS = {
    "restarts": "restarts",
    "recall": "recall",
    "recall_live": "recall, live",
    "precision": "precision",
    "recordings": "recordings",
    "read_without_error": "read without error",
    "healthy_h": "healthy h",
    "false": "false",
    "false_live": "false, live",
    "again_off_s": "begin off, s",
}


@dataclass(frozen=True, slots=True)
class Scene:
    """What a recording shows: the name of its scene, None for ``fault`` if nothing restarts, samples in a second."""

    corpus: str
    name: str
    fault: str | None
    rate_hz: float


Job = tuple[str, int, str]


def read(job: Job) -> Score | None:
    """Make a recording, have it read, and compare; None for one that is too slow, too long, or does not tell."""
    corpus, seed, name = job
    recording = CORPORA[corpus].make(seed, name)
    rate_hz = 1.0 / recording.sample_s
    if not recording.telling or rate_hz < FAST_HZ or len(recording.truth.restarts) > MOST_RESTARTS:
        return None
    truth = recording.truth.restarts
    watched = watch(recording.t_s, recording.current_a, FRAME_S)
    scene = Scene(corpus, name, name if truth else None, rate_hz)
    return compare(seed, scene, (), truth, recording.sample_s, watched, float(recording.t_s[-1]))


def read_all(jobs: Iterable[Job]) -> list[Score]:
    """Read on all cores."""
    with multiprocessing.Pool() as pool:
        return [score for score in pool.imap(read, jobs, chunksize=8) if score is not None]


def main() -> None:
    args = arguments(__doc__)
    seeds = REPORT_SEEDS[: SEEDS_SHORT if args.short else SEEDS]
    figures: dict[str, object] = {}
    pages = []
    for corpus, made in CORPORA.items():
        scores = read_all((corpus, seed, name) for seed, name in itertools.product(seeds, made.scenes))
        whole = summary(scores)
        healthy = [score for score in scores if score.case.fault is None]
        figures |= {f"{corpus}_{name}": whole[name] for name in _COLUMNS}
        figures[f"{corpus}_healthy_clean"] = sum(not score.invented for score in healthy) / max(len(healthy), 1)
        rows = {name: summary(score for score in scores if score.case.name == name) for name in made.scenes}
        pages.append(_written(corpus, {"all": whole} | rows))
    report("How well reading a boot carries over", figures, {}, as_json=args.json)
    if not args.short:
        RESULTS.write_text("\n\n".join([_HEAD, *pages]) + "\n", encoding="utf-8")


_HEAD = f"""# How well the reading of a boot carries over

Made by `benchmarks/boot_transfer.py`: recordings of other devices, faults and meters than in `boot_reading.py`, at
{FAST_HZ:g} samples/s and faster, {SEEDS} seeds of each scene from {REPORT_SEEDS.start} on, default settings. The trees
of hindsight were grown on other seeds of the first four; nothing was tuned on the last. A restart counts as found
when one of its two times is within 0.5 s or three samples of the truth. Intervals are exact at 95 %, and take restarts
as independent, which those of one recording are not; a recording with more than {MOST_RESTARTS} is left out. "false"
counts restarts found where nothing restarted, "live" is what was told while the recording ran, taken back or not."""
_TITLES = {
    "lifelike": "Lifelike recordings",
    "motley": "Motley recordings",
    "plain": "Recordings of plain devices",
    "assembled": "Recordings of devices that are sums of parts",
    "held_out": "Recordings of a kind never seen",
}


def _written(corpus: str, rows: dict[str, dict[str, object]]) -> str:
    lines = [f"## {_TITLES[corpus]}", "", "| | " + " | ".join(_COLUMNS.values()) + " |"]
    lines.append("| --- " * (len(_COLUMNS) + 1) + "|")
    lines += [
        f"| {name} | " + " | ".join(cell(figures[column]) for column in _COLUMNS) + " |"
        for name, figures in rows.items()
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
