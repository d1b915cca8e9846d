"""How fast a trace is read, how much memory that takes, and how both grow: an hour at 1 kS/s, beside KernelCPD.

Two made-up traces (``wakerail_sim.corpus``, seed and case below: a healthy device that sleeps, idles, sends and hums;
drawn for an hour and for 10 minutes, which gives two different lives) are read by the boot reader in pieces of 65 536
samples, and segmented by ruptures' KernelCPD with the linear kernel alone, in turns. All figures are of the hour but
``ratio_on_10_min``; with ``--short`` the hour is cut to 10 minutes. Every measurement has a process of its own, times
are that process's CPU time, and the memory is its peak, with all that it had to load.

What KernelCPD takes depends on the trace and on how many changes its penalty lets it find, for it compares each
sample with every earlier one that it could not rule out. Where it cuts hum to pieces, as in the 10 minutes, it is
several times as fast as where it does not: hence the two traces. It is given the usual penalty, 2 s² ln n (s: the
noise, from the differences of neighbours), and 16 and 256 times that; each trace's ratio is our best over its fastest.
The change points of the fastest stand beside it: thousands, not a handful, for which it took a minute for 100 k samples
and grows with the square.
"""

from __future__ import annotations

import math
import multiprocessing
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import ParamSpec, TypeVar

import numpy as np
from _harness import arguments, report

from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_kit.messages import Frame
from wakerail_sim.corpus import Case, Confuser, make_recording

SEED = 3
RATE_HZ = 1000.0
LENGTH_S, LENGTH_S_BESIDE = 3600.0, 600.0  # drawn apart: neither is part of the other
CONFUSERS: tuple[Confuser, ...] = ("sleep-wake", "load-spikes", "radio-duty", "hum")
PIECE, FRAME = 65_536, 50
STREAMED_S = 300.0  # of the trace; its frames are made before the clock starts
LEAST_SEGMENT = 20
PENALTIES = (2, 32, 512)  # times s² ln n
ROUNDS = 2
GOALS = {
    "ratio_to_kernelcpd": "below 1",
    "rss_mb": "under 500",
    "stream_us_per_sample": "under 2",
    "growth_4": "linear is 4",
    "growth_16": "linear is 16",
}

P = ParamSpec("P")
R = TypeVar("R")


def write_trace(file: Path, length_s: float) -> int:
    """Write times and currents, one after the other for each sample; return how many samples."""
    recording = make_recording(Case(RATE_HZ, length_s, confusers=CONFUSERS), SEED)
    np.column_stack((recording.t_s, recording.current_a)).tofile(file)
    return len(recording.t_s)


def load(file: Path, first: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return times and currents of ``count`` samples, or of as many as there are."""
    pairs = np.fromfile(file, count=2 * count, offset=16 * first).reshape(-1, 2)
    return pairs[:, 0].copy(), pairs[:, 1].copy()


def time_reader(file: Path, count: int) -> tuple[float, float]:
    """Read the first ``count`` samples; return the CPU time of that (s) and this process's peak memory (MB)."""
    reader = BootReader(ReaderSettings())
    took_s, end_s = 0.0, 0.0
    for first in range(0, count, PIECE):
        t_s, current_a = load(file, first, min(PIECE, count - first))
        end_s = float(t_s[-1])
        before_s = time.process_time()
        reader.take(t_s, current_a)
        took_s += time.process_time() - before_s
    before_s = time.process_time()
    reader.finish(end_s)
    took_s += time.process_time() - before_s
    return took_s, peak_mb()


def time_frames(file: Path, count: int) -> float:
    """Return the CPU time (s) of reading ``count`` samples in frames as the daemon hands them on."""
    t_s, current_a = load(file, 0, count)
    frames = [
        Frame(
            bench="b",
            instrument="supply",
            number=first // FRAME,
            start="2026-01-01T00:00:00Z",
            t_s=t_s[first : first + FRAME].tolist(),
            half_width_s=[0.0005] * len(t_s[first : first + FRAME]),
            signals={"current": current_a[first : first + FRAME].tolist()},
            units={"current": "A"},
        )
        for first in range(0, count, FRAME)
    ]
    reader = BootReader(ReaderSettings())
    before_s = time.process_time()
    for frame in frames:
        reader.take_frame(frame)
    reader.finish(float(t_s[-1]))
    return time.process_time() - before_s


def time_kernelcpd(file: Path, count: int, times: int) -> tuple[float, int]:
    """Return the CPU time (s) of segmenting ``count`` samples at a penalty, and how many change points were found."""
    import ruptures  # noqa: PLC0415  its memory must not count as the reader's

    _, current_a = load(file, 0, count)
    noise_a = float(np.median(np.abs(np.diff(current_a)))) / (0.6745 * math.sqrt(2))
    penalty = times * noise_a**2 * math.log(count)
    signal = current_a[:, np.newaxis]
    before_s = time.process_time()
    ends = ruptures.KernelCPD(kernel="linear", min_size=LEAST_SEGMENT).fit(signal).predict(pen=penalty)
    return time.process_time() - before_s, len(ends) - 1


def peak_mb() -> float:
    """Return the most memory that this process has had."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # bytes on macOS, KiB elsewhere
    return peak / 1e6 if sys.platform == "darwin" else peak * 1024 / 1e6


def apart(function: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
    """Call in a fresh process of its own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(function, *args, **kwargs).result()


def compare(file: Path, count: int) -> tuple[list[tuple[float, float]], tuple[float, int]]:
    """Return what each of our readings took (s, MB), and KernelCPD's fastest with its change points."""
    ours, theirs = [], []
    for times in PENALTIES:
        ours.append(apart(time_reader, file, count))
        theirs.append(apart(time_kernelcpd, file, count, times))
    return ours, min(theirs)


def main() -> None:
    args = arguments(__doc__)
    with tempfile.TemporaryDirectory(prefix="wakerail-bench-") as scratch:
        file, beside = Path(scratch) / "trace", Path(scratch) / "beside"
        count, beside_count = apart(write_trace, file, LENGTH_S), apart(write_trace, beside, LENGTH_S_BESIDE)
        if args.short:
            count = min(count, beside_count)
        ours, (their_s, changes) = compare(file, count)
        beside_ours, (beside_their_s, beside_changes) = compare(beside, beside_count)
        parts_s = [min(apart(time_reader, file, count // part)[0] for _ in range(ROUNDS)) for part in (16, 4)]
        streamed = min(count, round(STREAMED_S * RATE_HZ))
        stream_s = min(apart(time_frames, file, streamed) for _ in range(ROUNDS))
    our_s = min(ours)[0]
    figures = {
        "samples": count,
        "ratio_to_kernelcpd": round(our_s / their_s, 3),
        "ratio_on_10_min": round(min(beside_ours)[0] / beside_their_s, 3),
        "change_points": changes,
        "change_points_on_10_min": beside_changes,
        "samples_per_s": round(count / our_s),
        "kernelcpd_samples_per_s": round(count / their_s),
        "rss_mb": round(max(peak for _, peak in ours), 1),
        "stream_us_per_sample": round(1e6 * stream_s / streamed, 3),
        "growth_4": round(parts_s[1] / parts_s[0], 2),
        "growth_16": round(our_s / parts_s[0], 2),
    }
    report("How fast a trace is read", figures, GOALS, as_json=args.json)


if __name__ == "__main__":
    main()
