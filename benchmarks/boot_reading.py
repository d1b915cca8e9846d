"""How well a boot is read from its current: recall and precision of restarts, false ones in healthy use, timing.

Runs the boot reader with its default settings over made-up recordings whose truth is known
(``wakerail_sim.corpus``): devices that restart, fed in frames of a quarter of a second so that it shows how soon each
restart was given, and healthy devices in long use that does look like restarts. Without ``--short`` the whole report
goes to ``benchmarks/results/boot_reading.md`` as well.

``--train 200 --rate 20`` instead prints what went wrong with the first 200 faulty and healthy recordings of the seeds
that the reader may be tuned on; the report is on other seeds.
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from _harness import arguments, report
from _scoring import Score, summary
from _watching import compare, watch

from wakerail_sim.corpus import CONFUSERS, FAULTS, RATES_HZ, Case, draw_faulty, draw_healthy, make_recording

TRAIN_SEEDS = range(1_000_000)
REPORT_SEEDS = range(1_000_000, 2_000_000)
_PER_RATE = 20_000  # seeds set aside for a rate: the first half for faulty devices, the second for healthy ones

FAULTY = {5.0: 70, 10.0: 70, 20.0: 70, 50.0: 60, 100.0: 50, 200.0: 40, 500.0: 25, 1000.0: 15}
HEALTHY_H = {5.0: 20, 10.0: 20, 20.0: 25, 50.0: 12, 100.0: 8, 200.0: 4, 500.0: 2, 1000.0: 1}
FAULTY_SHORT = {5.0: 12, 20.0: 12, 100.0: 6, 1000.0: 2}
HEALTHY_H_SHORT = {5.0: 2.0, 20.0: 2.0, 100.0: 1.0, 1000.0: 0.2}
FRAME_S, HEALTHY_FRAME_S = 0.25, 5.0
FAST_HZ = 20.0  # the headline figures are for supplies at least as fast
RESULTS = Path(__file__).parent / "results" / "boot_reading.md"
GOALS = {
    "recall": "at least 0.995",
    "recall_5hz": "at least 0.97",
    "false_per_100h": "at most 1",
    "timing_error_samples": "median under 2",
}

Job = tuple[int, Case]


def read(job: Job) -> Score[Case]:
    """Make a recording, have it read, and compare."""
    seed, case = job
    recording = make_recording(case, seed)
    truth, t_s = recording.truth, recording.t_s
    watched = watch(t_s, recording.current_a, HEALTHY_FRAME_S if case.fault is None else FRAME_S)
    return compare(seed, case, truth.confusers, truth.restarts, case.sample_s, watched, float(t_s[-1]))


def faulty_jobs(seeds: range, rate_hz: float, count: int, first: int = 0) -> Iterator[Job]:
    """Yield so many recordings of devices that restart, from the ``first`` of the rate's seeds on."""
    for seed in _seeds(seeds, rate_hz, healthy=False)[first : first + count]:
        yield seed, draw_faulty(seed, rate_hz)


def healthy_jobs(seeds: range, rate_hz: float, hours: float, first: int = 0) -> Iterator[Job]:
    """Yield healthy recordings, from the ``first`` of the rate's seeds on, until they last ``hours`` together."""
    left_s = 3600 * hours
    for seed in _seeds(seeds, rate_hz, healthy=True)[first:]:
        if left_s <= 0:
            return
        case = draw_healthy(seed, rate_hz)
        left_s -= case.length_s
        yield seed, case


def read_all(jobs: Iterable[Job]) -> list[Score[Case]]:
    """Read on all cores, the longest recordings first; the scores come in the order of their seeds."""
    longest_first = sorted(jobs, key=lambda job: -job[1].length_s * (job[1].rate_hz + 100))
    with multiprocessing.Pool() as pool:
        scores = list(pool.imap_unordered(read, longest_first))
    return sorted(scores, key=lambda score: (score.seed, score.case.rate_hz))


def tables(scores: list[Score[Case]]) -> dict[str, dict[str, dict[str, object]]]:
    """Return the figures by rate, by what the recording lets one see, by confuser (two count for both) and by fault."""
    fast = [score for score in scores if score.case.rate_hz >= FAST_HZ]
    by_rate = {f"{rate_hz:g}": [score for score in scores if score.case.rate_hz == rate_hz] for rate_hz in RATES_HZ}
    by_view = {
        "begins off, cold": [score for score in fast if not score.case.begins_running and not score.case.warm],
        "begins off, warm": [score for score in fast if score.case.warm],
        "begins running": [score for score in fast if score.case.begins_running],
    }
    by_confuser = {"none": [score for score in fast if not score.confusers]} | {
        kind: [score for score in fast if kind in score.confusers] for kind in CONFUSERS
    }
    by_fault = {
        f"{fault}, {'warm' if warm else 'cold'}": [
            score for score in fast if score.case.fault == fault and score.case.warm == warm
        ]
        for fault in FAULTS
        for warm in (False, True)
    }
    groups = {"by_rate": by_rate, "by_view": by_view, "by_confuser": by_confuser, "by_fault": by_fault}
    return {name: {row: summary(of) for row, of in rows.items() if of} for name, rows in groups.items()}


def headline(scores: list[Score[Case]]) -> dict[str, object]:
    """Return the figures that have goals. Unless they say otherwise they are for 20 samples a second and faster."""
    fast = summary(score for score in scores if score.case.rate_hz >= FAST_HZ)
    slow = summary(score for score in scores if score.case.rate_hz == 5.0)
    return {
        "recall": _first(fast["recall"]),
        "recall_interval": fast["recall"],
        "recall_5hz": _first(slow["recall"]),
        "recall_5hz_interval": slow["recall"],
        "precision": _first(fast["precision"]),
        "false_per_100h": _first(fast["false_per_100h"]),
        "false_per_100h_interval": fast["false_per_100h"],
        "healthy_h": fast["healthy_h"],
        "timing_error_samples": _first(fast["again_off_samples"]),
        "latency_p50_p95_s": fast["latency_s"],
    }


def main() -> None:
    trainer = argparse.ArgumentParser(add_help=False)
    trainer.add_argument("--train", type=int)
    trainer.add_argument("--rate", type=float, default=20.0, choices=RATES_HZ)
    told, _ = trainer.parse_known_args()
    if told.train is not None:
        train(told.train, told.rate)
        return
    args = arguments(__doc__)
    faulty, hours = (FAULTY_SHORT, HEALTHY_H_SHORT) if args.short else (FAULTY, HEALTHY_H)
    jobs = [
        *(job for rate_hz, count in faulty.items() for job in faulty_jobs(REPORT_SEEDS, rate_hz, count)),
        *(job for rate_hz, long_h in hours.items() for job in healthy_jobs(REPORT_SEEDS, rate_hz, long_h)),
    ]
    scores = read_all(jobs)
    figures, rows = headline(scores), tables(scores)
    report("Reading a boot from its current", figures | (rows if args.json else {}), GOALS, as_json=args.json)
    if not args.json:
        print(written(rows))
    if not args.short:
        RESULTS.parent.mkdir(exist_ok=True)
        RESULTS.write_text(page(figures, rows, gathered(scores)), encoding="utf-8")


def train(count: int, rate_hz: float) -> None:
    """Print what went wrong on seeds for tuning, the worst first."""
    healthy = itertools.islice(healthy_jobs(TRAIN_SEEDS, rate_hz, HEALTHY_H[rate_hz]), count)
    scores = read_all([*faulty_jobs(TRAIN_SEEDS, rate_hz, count), *healthy])
    for score in sorted(scores, key=lambda score: -len(score.missed) - len(score.invented)):
        if not score.missed and not score.invented:
            break
        case = score.case
        print(
            f"seed {score.seed}: {case.fault or 'healthy'}{' warm' if case.warm else ''}"
            f"{' averaged' if case.averaged else ''}{' begins running' if case.begins_running else ''}"
            f" [{', '.join(score.confusers)}] {len(score.pairs)} right of {len(score.pairs) + len(score.missed)}"
        )
        _print_some("missed", [f"{at_s:.3f} to {again_s:.3f}" for at_s, again_s in score.missed])
        _print_some("invented", [f"{one.at_s:.3f} to {one.again_s:.3f}  p {one.why}" for one in score.invented])
    for name, value in summary(scores).items():
        print(f"{name:<20} {value}")
    kind = "draw_faulty or draw_healthy"
    print(f"to look at one: make_recording({kind}(seed, {rate_hz:g}), seed) of wakerail_sim.corpus", file=sys.stderr)


def page(figures: dict[str, object], rows: dict[str, dict[str, dict[str, object]]], where: str) -> str:
    """Return the report as a page."""
    goals = "\n".join(
        f"| {name} | {cell(figures.get(f'{name}_interval', figures[name]))} | {goal} |" for name, goal in GOALS.items()
    )
    hours = ", ".join(f"{long_h} h at {rate_hz:g}/s" for rate_hz, long_h in HEALTHY_H.items())
    counts = ", ".join(f"{count} at {rate_hz:g}/s" for rate_hz, count in FAULTY.items())
    return f"""# How well a boot is read from its current

Made by `benchmarks/boot_reading.py`, on made-up recordings (`wakerail_sim.corpus`) of seeds from {REPORT_SEEDS.start};
the constants were chosen, and the tables of hindsight fitted, on others; how likely a jump must be was lowered once
after a look at these figures. Default settings throughout.

- Devices that restart: {counts}.
- Healthy use, with what looks like a restart: about {hours}.
- A restart counts as found when one of its two times is within 0.5 s or three samples of the truth. One that was
  given and taken back later counts as not found; how often that happened is under "taken back". "live" is what was
  told while it ran, taken back or not.
- Intervals are exact at 95 %: Clopper and Pearson for shares, Garwood for counts. They take restarts as independent,
  which those of one recording are not; "read without error" counts whole recordings, which are.
- Latency is from the true begin of the new boot to the end of the frame ({FRAME_S:g} s) with which it was given; what
  only the last look back shows is given at the recording's end.

| figure at {FAST_HZ:g} samples/s and faster (5hz: at 5) | | goal |
| --- | --- | --- |
{goals}

{written(rows)}

## Where it falls short, and why

- {where}
- A warm restart leaves the opening's shape alone to tell by. Few changes in it, or bursts that fall elsewhere each
  time, say little; a radio that pulses as high as the boot begins hides it; and at 5 and 10 samples a second a boot
  of seconds has few samples.
- A recording that begins while the device runs does not say what it draws when off. Even pulses, of a radio or a
  charger, out of an idle or a sleep no deeper than a reset look like a fast loop until something else happens.
- A meter that is blank when it switches its range, or shows steps of 10 mA, hides the low or the shape.
"""


def gathered(scores: list[Score[Case]]) -> str:
    """Say in how few recordings the errors lie, at ``FAST_HZ`` and faster."""
    fast = [score for score in scores if score.case.rate_hz >= FAST_HZ]
    faulty, healthy = ([one for one in fast if (one.case.fault is None) is sound] for sound in (False, True))
    mostly = [one for one in faulty if len(one.missed) > len(one.pairs)]
    worst = max(healthy, key=lambda one: len(one.invented))
    return (
        f"{sum(len(one.missed) for one in mostly)} of the {sum(len(one.missed) for one in faulty)} restarts missed "
        f"lie in the {len(mostly)} of {len(faulty)} recordings in which most were; {len(worst.invented)} of the "
        f"{sum(len(one.invented) for one in healthy)} false ones lie in one recording, and "
        f"{sum(not one.invented for one in healthy)} of {len(healthy)} healthy recordings have none."
    )


_TITLES = {
    "by_rate": "By samples a second",
    "by_view": f"By what it lets one see, at {FAST_HZ:g} samples/s and faster (healthy ones are in the first and last)",
    "by_confuser": f"By what was in the recording, at {FAST_HZ:g} samples/s and faster",
    "by_fault": f"By fault, at {FAST_HZ:g} samples/s and faster",
}
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
    "false_per_100h": "false per 100 h",
    "at_off_samples": "end off, samples",
    "again_off_samples": "begin off, samples",
    "again_off_s": "begin off, s",
    "latency_s": "latency, s",
    "taken_back": "taken back",
}


def written(rows: dict[str, dict[str, dict[str, object]]]) -> str:
    """Return the tables in Markdown. Pairs are median and 95th percentile."""
    lines = []
    for name, table in rows.items():
        lines += [f"## {_TITLES[name]}", "", "| | " + " | ".join(_COLUMNS.values()) + " |"]
        lines.append("| --- " * (len(_COLUMNS) + 1) + "|")
        lines += [
            f"| {row} | " + " | ".join(cell(figures[column]) for column in _COLUMNS) + " |"
            for row, figures in table.items()
        ]
        lines.append("")
    return "\n".join(lines).rstrip()


def cell(value: object) -> str:
    match value:
        case None:
            return ""
        case [figure, low, high]:
            return f"{figure:g} ({low:g} to {high:g})"
        case [median, most]:
            return f"{median:g} / {most:g}"
        case _:
            return str(value)


def _first(interval: object) -> object:
    return interval[0] if isinstance(interval, list) else None


def _print_some(what: str, times: list[str], most: int = 6) -> None:
    for time in times[:most]:
        print(f"  {what:<8} {time}")
    if len(times) > most:
        print(f"  {what:<8} and {len(times) - most} more")


def _seeds(seeds: range, rate_hz: float, *, healthy: bool) -> range:
    first = RATES_HZ.index(rate_hz) * _PER_RATE + (_PER_RATE // 2 if healthy else 0)
    return seeds[first : first + _PER_RATE // 2]


if __name__ == "__main__":
    main()
