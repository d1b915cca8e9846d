"""Faults of a heating plate at random moments of a heat: is the heat cut, in time, before anything gets too hot?

The host's own I/O lane, driver and interlocks, with the limits that they have by default, on the simulated plate in
fast simulated time. Plates differ in polling rate, in their sensor's noise and resolution, and in the temperature
they hold. Each run breaks one thing at a random moment, and after the trip somebody tries to heat on every 5 s without
looking. A violation is any of: hotter than the ceiling plus the stated overshoot; heater on, or its trip not told,
after the stated time; heated again without a reset; a trace or record with a hole; and, without a fault, any trip.

Where no command reaches the heater (its relay sticks, its link is gone), what must come in time is the word to pull its
plug; the simulated person does so 10 s later.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import numpy as np
import structlog
from _harness import arguments, report
from _heat_bench import CEILING_C, HeatBench

from wakerail.bench.interlocks import PULL_ITS_PLUG
from wakerail_kit.events import InstrumentConnected, MadeSafe, SettingApplied
from wakerail_kit.messages import InstrumentState

RUNS, RUNS_SHORT = 52, 1
SEED = 1000
TABLE = Path(__file__).parent / "results" / "heat_faults.md"
ON_S = 20.0  # when the heater is switched on
CONFIRM_EVERY_S = 60.0
ATTENDED_S = 180.0
AGAIN_EVERY_S = 5.0
WATCHED_S = 40.0  # after the stated time
TOUCH_C = 48.0
SAFE_S = 1.0  # what switching off takes at most, before a trip is told
COOLED_C = 100.0  # a set point below it is a cool-down


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of fault: what it does, what must follow, and how soon.

    ``trips`` are the interlocks that may act on it. ``within_s`` counts from the fault, or from ``shows``. With
    ``loud`` the heater cannot be switched off, and what must come is the word to pull the plug.
    """

    happens: Callable[[HeatBench], None]
    trips: frozenset[str]
    within_s: float
    overshoot_k: float = 5.0
    loud: bool = False
    shows: Callable[[HeatBench, float], float] = lambda _, fault_s: fault_s
    limits: dict[str, float] = field(default_factory=dict)
    attended_s: float = ATTENDED_S
    confirms: bool = True
    fine_sensor: bool = False


def of_plate(name: str) -> Callable[[HeatBench], None]:
    return lambda bench: bench.world.plate.faults()[name]()


def of_line(**changes: object) -> Callable[[HeatBench], None]:
    def happen(bench: HeatBench) -> None:
        for name, value in changes.items():
            setattr(bench.line, name, value)

    return happen


def hot_since_s(bench: HeatBench) -> float:
    """Return when the trace first shows a plate above the touch limit."""
    return next(
        (t_s for frame in bench.frames for t_s, at_c in zip(frame.t_s, frame.signals["temperature"], strict=True)
         if at_c is not None and at_c > TOUCH_C), float("inf"),
    )  # fmt: skip


def zero_read_s(bench: HeatBench, _: float) -> float:
    """Return when the trace first shows 0: a slow poll may miss so short a fault, and then there is nothing to see."""
    return next(
        (
            t_s
            for frame in bench.frames
            for t_s, at_c in zip(frame.t_s, frame.signals["temperature"], strict=True)
            if at_c == 0.0
        ),
        float("inf"),
    )


def at_off_s(bench: HeatBench, _: float) -> float:
    """Return when the technician switches off."""
    return bench.planned_off_s


def nothing(_: HeatBench) -> None:
    """Break nothing."""


SENSOR = frozenset({"sensor-open", "sensor-rail", "sensor-jump", "sensor-false-reading"})
FAULTS: dict[str, Sort] = {
    "none": Sort(nothing, frozenset(), 0.0),
    "sensor open": Sort(of_plate("sensor-open"), SENSOR, 0.5),
    "sensor reads 0 once": Sort(of_plate("sensor-false"), SENSOR, 0.5, shows=zero_read_s),
    "sensor jumps": Sort(of_plate("sensor-jumps"), SENSOR, 1.5),
    "sensor back before it is right": Sort(of_plate("sensor-clears-early"), SENSOR, 0.5),
    "sensor stands still": Sort(
        of_plate("sensor-stuck"), frozenset({"sensor-stuck", "no-rise"}), 110.0, fine_sensor=True
    ),
    "sensor off the plate": Sort(of_plate("sensor-off"), SENSOR | {"no-rise"}, 25.0),
    "power runs away": Sort(
        of_plate("runs-away"), frozenset({"fast-rise", "over-temperature", "overshoot"}), 8.0, 25.0
    ),
    "relay sticks": Sort(
        of_plate("relay-stuck"), frozenset({"overshoot", "unheated-rise", "over-temperature"}), 150.0, 45.0, loud=True
    ),
    "set point drifts": Sort(of_plate("setpoint-drifts"), frozenset({"setpoint-not-held"}), 9.0),
    "set point not taken": Sort(of_line(ignores_setpoint=True), frozenset(), 0.0),
    "another hand": Sort(of_plate("other-hand"), frozenset({"second-source"}), 1.5),
    "answers late": Sort(of_line(answer_s=0.9), frozenset({"lost-communication"}), 9.5),
    "hangs": Sort(of_line(hangs=True), frozenset({"lost-communication"}), 6.0, loud=True),
    "link gone": Sort(of_line(gone=True), frozenset({"lost-communication"}), 1.0, loud=True),
    "does not switch off": Sort(
        of_line(ignores_off=True), frozenset({"lost-communication"}), 2.0, loud=True, shows=at_off_s,
    ),
    "nobody confirms": Sort(nothing, frozenset({"unattended"}), 0.5, attended_s=40.0, confirms=False,
        shows=lambda _, fault_s: fault_s + 40.0,
    ),
    "hot for too long": Sort(nothing, frozenset({"hot-time"}), 5.0, limits={"hot-time": 70.0},
        shows=lambda bench, _: hot_since_s(bench) + 70.0,
    ),
    "session too long": Sort(nothing, frozenset({"session"}), 0.5, limits={"session": 100.0},
        shows=lambda _, __: ON_S + 100.0,
    ),
    "board is powered": Sort(
        lambda bench: bench.wiring.tell_output(True), frozenset({"powered-while-hot"}), 1.0,
        shows=lambda bench, fault_s: max(fault_s, hot_since_s(bench)),
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one run; ``cut_s`` None: the plate was not heated when the fault showed."""

    fault: str
    cut_s: float | None
    hottest_k: float
    tripped: str
    wrong: tuple[str, ...]


def one_run(name: str, seed: int) -> Outcome:
    """Run one heat with one fault at a random moment."""
    sort, chance = FAULTS[name], random.Random(f"{name} {seed}")
    hold_c = chance.uniform(225.0, 245.0)
    off_s = ON_S + 130.0 + chance.uniform(30.0, 90.0)
    fault_s = 0.0 if name == "set point not taken" else chance.uniform(ON_S + 1.0, off_s)
    bench = HeatBench(
        seed,
        rate_hz=chance.choice((10.0, 20.0)),
        noise_k=0.0 if sort.fine_sensor else chance.choice((0.0, 0.1, 0.5, 1.5)),
        resolution_k=0.1 if sort.fine_sensor else chance.choice((0.1, 0.25, 1.0)),
        attended_s=sort.attended_s,
        limits=sort.limits,
    )
    bench.planned_off_s = off_s
    bench.at(ON_S - 0.5, lambda: bench.presence.confirm(bench.clock.now_s))
    bench.at(ON_S - 0.5, lambda: bench.apply("temperature", hold_c))
    bench.at(ON_S, lambda: bench.apply("heater", True))
    confirm_s = CONFIRM_EVERY_S if sort.confirms else 10.0
    for at_s in np.arange(ON_S, off_s if sort.confirms else fault_s, confirm_s).tolist():
        bench.at(at_s, lambda: bench.presence.confirm(bench.clock.now_s))
    if not sort.confirms:
        bench.at(fault_s, lambda: bench.presence.confirm(bench.clock.now_s))
    bench.at(fault_s, lambda: sort.happens(bench))
    bench.at(off_s, lambda: bench.apply("heater", False))
    heat_again(bench)
    longest_s = max(sort.within_s, *sort.limits.values(), 40.0 if not sort.confirms else 0.0)
    ends_s = (fault_s + longest_s if sort.shows is not at_off_s else off_s) + WATCHED_S
    bench.run(min(off_s + 90.0, ends_s) if sort.trips else off_s + 30.0)
    return judge(name, sort, bench, fault_s)


def heat_again(bench: HeatBench) -> None:
    """Let somebody try to heat on, again and again, as soon as there was a trip."""

    def again() -> None:
        if bench.trips():
            bench.presence.confirm(bench.clock.now_s)
            bench.apply("temperature", 200.0)
            bench.apply("heater", True)
        bench.at(bench.clock.now_s + AGAIN_EVERY_S, again)

    bench.at(ON_S + AGAIN_EVERY_S, again)


def judge(name: str, sort: Sort, bench: HeatBench, fault_s: float) -> Outcome:
    """Say what was wrong with a run."""
    hottest_k = bench.world.hottest_c - CEILING_C
    wrong = [f"{hottest_k:.1f} K above the ceiling"] if hottest_k > sort.overshoot_k else []
    if bench.heated_after_trip:
        wrong.append("heated again without a reset")
    if name == "set point not taken" and len(bench.heater) > 1:
        wrong.append("heated although the set point was not taken")
    shows_s = sort.shows(bench, fault_s) if sort.trips else float("inf")
    for at_s, trip in bench.trips()[:1]:
        if at_s < min(fault_s, shows_s):
            wrong.append(f"tripped without a fault: {trip.interlock}: {trip.says}")
        elif trip.interlock not in sort.trips:
            wrong.append(f"the wrong interlock: {trip.interlock}: {trip.says}")
    came_s = answered_s(bench, sort, shows_s)
    if is_due(bench, sort, shows_s) and came_s - shows_s > sort.within_s:
        wrong.append(f"answered after {came_s - shows_s:.2f} s, {sort.within_s:g} s were stated")
    wrong += holes(bench)
    first = bench.trips()[0][1].interlock if bench.trips() else ""
    return Outcome(name, came_s - shows_s if first and sort.trips else None, hottest_k, first, tuple(wrong))


def answered_s(bench: HeatBench, sort: Sort, shows_s: float) -> float:
    """Return when what must come had come: heater off and its trip told, or the word to pull the plug."""
    trips = bench.trips()
    if sort.loud:
        return next((at_s for at_s, trip in trips if PULL_ITS_PLUG in trip.says), float("inf"))
    return max(bench.off_s(shows_s), trips[0][0]) if trips else float("inf")


def is_due(bench: HeatBench, sort: Sort, shows_s: float) -> bool:
    """Tell whether the interlocks had to answer: the plate was heated, and nobody switched off before their time."""
    if not sort.trips:
        return False
    return sort.loud or (bench.heating(shows_s) and shows_s + sort.within_s < bench.planned_off_s)


def holes(bench: HeatBench) -> list[str]:
    """Say what is missing in the trace or in the record."""
    wrong, line = [], bench.line
    times_s = [t_s for frame in bench.frames for t_s in frame.t_s]
    steps_s = [after_s - before_s for before_s, after_s in pairwise(times_s)]
    if [frame.number for frame in bench.frames] != list(range(1, len(bench.frames) + 1)):
        wrong.append("frames are missing")
    if min(steps_s) <= 0:
        wrong.append("times do not ascend")
    if max(steps_s) > 0.5 and not (line.hangs or line.gone or line.ignores_off or line.answer_s > 0.1):
        wrong.append("the trace has a hole")
    told = [type(data) for _, data in bench.events]
    applied = [data for _, data in bench.events if isinstance(data, SettingApplied) and data.setting == "heater"]
    if InstrumentConnected not in told or sum(bool(data.value) for data in applied) != sum(
        on for _, on in bench.heater
    ):
        wrong.append("the record has a hole")
    if bench.trips():
        states = [state for _, state, _ in bench.states]
        was_on = bench.heating(bench.trips()[0][0] - SAFE_S)
        if (was_on and MadeSafe not in told) or not {InstrumentState.TRIPPED, InstrumentState.UNAVAILABLE} & {
            states[-1]
        }:
            wrong.append("the record does not tell of the trip")
        if bench.world.plate.setpoint_c > COOLED_C and not (line.hangs or line.gone):
            wrong.append("no cool-down was commanded")
    return wrong


def table(outcomes: list[Outcome]) -> list[str]:
    """Return the table by fault, in Markdown."""
    columns = ("fault", "runs", "violations", "answered after: median, longest (s)", "stated (s)")
    columns += ("hottest above the ceiling (K)", "stated (K)", "interlocks that acted")
    lines = [f"| {' | '.join(columns)} |", "|" + " --- |" * len(columns)]
    for name, sort in FAULTS.items():
        mine = [outcome for outcome in outcomes if outcome.fault == name]
        cuts = [outcome.cut_s for outcome in mine if outcome.cut_s is not None and np.isfinite(outcome.cut_s)]
        took = f"{np.median(cuts):.2f}, {max(cuts):.2f}" if cuts else "–"
        acted = sorted({outcome.tripped for outcome in mine if outcome.tripped})
        hottest_k = max(outcome.hottest_k for outcome in mine)
        lines.append(
            f"| {name} | {len(mine)} | {sum(bool(outcome.wrong) for outcome in mine)} | {took} "
            f"| {f'{sort.within_s:g}' if sort.trips else '–'}{', plug' if sort.loud else ''} "
            f"| {hottest_k:.1f} | {sort.overshoot_k:g} | {', '.join(acted) or '–'} |"
        )
    return lines


def main() -> None:
    args = arguments(__doc__)
    runs = RUNS_SHORT if args.short else RUNS
    begun_s = time.monotonic()
    with ProcessPoolExecutor(initializer=quiet) as pool:
        wanted = [(name, SEED + number) for number in range(runs) for name in FAULTS]
        outcomes = list(pool.map(one_run, *zip(*wanted, strict=True), chunksize=4))
    violations = [outcome for outcome in outcomes if outcome.wrong]
    cuts = [outcome.cut_s for outcome in outcomes if outcome.cut_s is not None and np.isfinite(outcome.cut_s)]
    figures: dict[str, object] = {
        "runs": len(outcomes),
        "violations": len(violations),
        "hottest_above_ceiling_k": round(max(outcome.hottest_k for outcome in outcomes), 1),
        "cut_p50_s": round(float(np.median(cuts)), 2),
        "took_s": round(time.monotonic() - begun_s, 1),
    }
    if args.json:
        figures["by_fault"] = {
            name: {
                "runs": sum(one.fault == name for one in outcomes),
                "violations": sum(one.fault == name for one in violations),
            }
            for name in FAULTS
        }
    report("Faults of a heating plate", figures, {"violations": "none"}, as_json=args.json)
    if not args.json:
        print("\n".join(["", *table(outcomes)]))
        print("\n".join(f"{outcome.fault}: {'; '.join(outcome.wrong)}" for outcome in violations[:40]))
    if not args.short:
        TABLE.write_text("\n".join([*HEAD, "", *table(outcomes), ""]), encoding="utf-8")
    raise SystemExit(bool(violations))


def quiet() -> None:
    """Keep what the lanes log away from the figures."""
    structlog.configure(logger_factory=structlog.ReturnLoggerFactory())


HEAD = """\
# What becomes of a heat when something breaks

Made by `benchmarks/heat_faults.py`: the host's own lane, driver and interlocks on the simulated plate, in fast time,
with one fault at a random moment of each run. What counts as a violation is said there. `plug`: no command reaches the
heater, so the time is that of the word to pull its plug, which the simulated person does 10 s later.
""".splitlines()


if __name__ == "__main__":
    main()
