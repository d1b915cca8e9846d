"""How long the daemon takes to be ready, and what it costs while nothing happens.

``ready_s``: from starting the process to its line "ready", embedded broker and five instruments connected on
simulators over real transports. ``idle_cpu_percent`` of one core and ``rss_mb``: the same daemon left alone, its
supply and plate polled at 20 samples a second, port tester and USB watcher watched. Both are of supervisor and worker
together; ``supervisor_mb`` is the memory that the supervisor has for itself alone, included in ``rss_mb``.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path

import psutil
from _harness import arguments, report

from wakerail.cli.session import Polling, daemon, simulators, write_config

RUNS, RUNS_SHORT = 9, 3
IDLE_S, IDLE_S_SHORT = 30.0, 6.0


def ready_s(config: Path) -> float:
    """Start a daemon, time it to its ready line, and stop it again."""
    begin_s = time.perf_counter()
    with daemon(config):
        return time.perf_counter() - begin_s


def idle(config: Path, span_s: float) -> tuple[float, float, float]:
    """Leave a daemon alone; return its CPU share in percent of one core, its memory and its supervisor's own in MB."""
    with daemon(config):
        supervisor = next(
            child
            for child in psutil.Process().children()
            if "serve" in child.cmdline() and str(config) in child.cmdline()
        )
        (worker,) = supervisor.children()
        time.sleep(2.0)  # let start-up work end
        before_s, begin_s = used_s(supervisor, worker), time.perf_counter()
        time.sleep(span_s)
        after_s, end_s = used_s(supervisor, worker), time.perf_counter()
        own_mb = supervisor.memory_full_info().uss / 1e6
        rss_mb = worker.memory_info().rss / 1e6
    return 100.0 * (after_s - before_s) / (end_s - begin_s), rss_mb + own_mb, own_mb


def used_s(*processes: psutil.Process) -> float:
    """Return the processor time that processes have used so far, in seconds."""
    return sum(times.user + times.system for times in (process.cpu_times() for process in processes))


def main() -> None:
    args = arguments(__doc__)
    with tempfile.TemporaryDirectory(prefix="wakerail-bench-") as scratch:
        folder = Path(scratch)
        with simulators(folder, []) as addresses:
            config = write_config(folder, "timed", addresses, Polling())
            ready_s(config)  # once unmeasured, so that files are in the page cache
            times_s = sorted(ready_s(config) for _ in range(RUNS_SHORT if args.short else RUNS))
            cpu_percent, rss_mb, supervisor_mb = idle(config, IDLE_S_SHORT if args.short else IDLE_S)
    figures = {
        "ready_s": round(statistics.median(times_s), 3),
        "ready_slowest_s": round(times_s[-1], 3),
        "idle_cpu_percent": round(cpu_percent, 2),
        "rss_mb": round(rss_mb, 1),
        "supervisor_mb": round(supervisor_mb, 1),
    }
    goals = {"ready_s": "at most 1.0", "idle_cpu_percent": "under 4", "rss_mb": "under 150"}
    report("Start and idle", figures, goals, as_json=args.json)


if __name__ == "__main__":
    main()
