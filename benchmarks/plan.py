"""How good the plan of an isolation is: against the exact optimum, against three orders by hand, and how fast.

On random families (two covers, a fifth of the cables over another one, weights log-normal, the board one of the
candidates). ``cost_ratio_to_optimum``: expected cost with certain results, for 4 to 12 candidates, of the plan as it
is used (exact for up to 8 candidates left, look-ahead above), against dynamic programming over everything;
``look_ahead_ratio`` is that of look-ahead alone. Savings: simulated isolations of hidden causes, the order by hand
against the plan, which share belief, end and reversal, so that the order alone differs; 95 % by bootstrap over
isolations. Without ``--short`` the report goes to ``benchmarks/results/plan.md`` as well.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from _harness import arguments, report
from _isolations import ORDERS, Isolated, draw_family, isolate, planned

from wakerail.planning.advice import advise
from wakerail.planning.belief import prior
from wakerail.planning.course import Course
from wakerail.planning.exact import MOST_CANDIDATES, ExactPlan
from wakerail.planning.lookahead import LookAhead
from wakerail.planning.model import Check, FamilyPlan, Likelihood
from wakerail.planning.problem import Problem, make_problem

ERRORS = (0.0, 0.02, 0.10)
RESULTS = Path(__file__).parent / "results" / "plan.md"
GOALS = {
    "cost_ratio_to_optimum": "at most 1.02",
    "next_action_ms_30": "at most 50",
    "next_action_pairs_checks_ms_30": "at most 50",
}


def weighted_s(problem: Problem, done: int, cleared: bool, exact_from: int) -> float:
    """Return the weighted expected cost of following the plan to every end; exact for so many candidates and fewer."""
    if len(problem.candidates) <= max(exact_from, 1):
        return problem.weight(problem.all) * ExactPlan(problem).cost_s(problem.all, done, cleared)
    after = LookAhead(problem, done, cleared=cleared).found[1]
    assert after is not None
    off = problem.off(after)
    spent = problem.weight(problem.all) * (problem.cost_s(done, after) + problem.try_s)
    spent += weighted_s(problem.left(off), after, True, exact_from)
    return spent + weighted_s(problem.left(problem.all & ~off), after, cleared, exact_from)


def ratios(candidates: int, families: int) -> list[tuple[float, float]]:
    """Return for each family the cost of the plan and of look-ahead alone, as ratios to the optimum."""
    found = []
    for seed in range(families):
        plan = draw_family(1000 * candidates + seed, candidates)
        problem = make_problem(plan, prior(plan), None)
        optimum = problem.weight(problem.all) * ExactPlan(problem).cost_s(problem.all, 0, False)
        found.append(
            (weighted_s(problem, 0, False, MOST_CANDIDATES) / optimum, weighted_s(problem, 0, False, 0) / optimum)
        )
    return found


def with_pairs_and_checks(plan: FamilyPlan) -> FamilyPlan:
    """Return a family with pairs of causes and two checks, as the demo's has."""
    board, part, other = (cause.name for cause in plan.causes[:3])
    checks = (
        Check("first", 180.0, Likelihood({board: 0.9}, 0.08)),
        Check("second", 120.0, Likelihood({part: 0.8, other: 0.4}, 0.02)),
    )
    return replace(plan, pairs=0.04, checks=checks)


def next_action_ms(families: Iterable[FamilyPlan]) -> list[float]:
    """Return how long it took to advise at the beginning, in ms of processor time."""
    taken = []
    for plan in families:
        course = Course(plan)
        assert course.belief
        begun = time.process_time()
        advise(course)
        taken.append(1000.0 * (time.process_time() - begun))
    return taken


def isolations(error: float, jobs: int, sizes: Sequence[int]) -> dict[str, list[Isolated]]:
    """Return the same hidden causes isolated by the plan and by each order."""
    found: dict[str, list[Isolated]] = {name: [] for name in ("plan", *ORDERS)}
    for job in range(jobs):
        plan = draw_family(50_000 + job, sizes[job % len(sizes)], error)
        draw = random.Random(job)
        (cause,) = draw.choices([one.name for one in plan.causes], [one.weight for one in plan.causes])
        for name, order in {"plan": planned, **ORDERS}.items():
            found[name].append(isolate(plan, cause, job, order))
    return found


def saving(by_hand: Sequence[Isolated], by_plan: Sequence[Isolated]) -> tuple[float, float, float]:
    """Return the share of the hand's cost that the plan saves, with its 95 % interval (bootstrap over isolations)."""
    draw = random.Random(1)

    def of(places: Sequence[int]) -> float:
        return 1.0 - sum(by_plan[one].cost_s for one in places) / sum(by_hand[one].cost_s for one in places)

    every = range(len(by_plan))
    again = sorted(of(draw.choices(every, k=len(by_plan))) for _ in range(1000))
    return of(every), again[25], again[974]


def main() -> None:
    options = arguments(__doc__)
    counts = {4: 8, 6: 8, 8: 3, 9: 2} if options.short else dict.fromkeys(range(4, 11), 12) | {11: 5, 12: 4}
    by_count = {count: ratios(count, families) for count, families in counts.items()}
    both = [pair for pairs in by_count.values() for pair in pairs]
    families = [draw_family(seed, 30, 0.02) for seed in range(5 if options.short else 40)]
    taken, taken_all = next_action_ms(families), next_action_ms(map(with_pairs_and_checks, families))
    figures: dict[str, object] = {
        "families": len(both),
        "cost_ratio_to_optimum": round(statistics.fmean(pair[0] for pair in both), 4),
        "cost_ratio_worst": round(max(pair[0] for pair in both), 4),
        "look_ahead_ratio": round(statistics.fmean(pair[1] for pair in both), 4),
        "look_ahead_ratio_worst": round(max(pair[1] for pair in both), 4),
        "next_action_ms_30": round(statistics.median(taken), 1),
        "next_action_ms_30_longest": round(max(taken), 1),
        "next_action_pairs_checks_ms_30": round(statistics.median(taken_all), 1),
        "next_action_pairs_checks_ms_30_longest": round(max(taken_all), 1),
    }
    jobs, sizes = (12, (4, 5, 6)) if options.short else (120, (5, 6, 7, 8, 9))
    figures["isolations"] = jobs
    rows = []
    for error in ERRORS:
        found = isolations(error, jobs, sizes)
        percent = f"{100 * error:.0f}"
        for name, isolated in found.items():
            wrong, right = sum(one.wrong for one in isolated), sum(one.right for one in isolated)
            minutes = statistics.fmean(one.cost_s for one in isolated) / 60.0
            told = ""
            if name != "plan":
                share, low, high = saving(isolated, found["plan"])
                figures[f"saving_{name}_error_{percent}"] = round(share, 3)
                told = f"{share:.1%} ({low:.1%} to {high:.1%})"
            rows.append(
                f"| {percent} % | {name} | {minutes:.1f} | {told} | {right} | {wrong} | {jobs - right - wrong} |"
            )
        figures[f"wrong_error_{percent}"] = sum(one.wrong for one in found["plan"])
    report("plan of an isolation", figures, GOALS, as_json=options.json)
    if not options.short:
        write_results(figures, by_count, rows)


def write_results(
    figures: dict[str, object], by_count: dict[int, list[tuple[float, float]]], rows: Sequence[str]
) -> None:
    """Write the report."""
    lines = [
        "# How good the plan of an isolation is",
        "",
        "Made by `benchmarks/plan.py`; what is measured, and on what, is said there.",
        "",
    ]
    lines += ["| figure | | goal |", "| --- | --- | --- |"]
    lines += [
        f"| {name} | {value} | {GOALS.get(name, '')} |" for name, value in figures.items() if "saving" not in name
    ]
    lines += ["", "## Expected cost against the optimum, by candidates", ""]
    lines += [
        "| candidates | families | plan: mean | worst | look-ahead alone: mean | worst |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for count, pairs in by_count.items():
        plan, ahead = ([pair[place] for pair in pairs] for place in (0, 1))
        told = " | ".join(f"{statistics.fmean(some):.4f} | {max(some):.4f}" for some in (plan, ahead))
        lines.append(f"| {count} | {len(pairs)} | {told} |")
    lines += ["", "## Isolations of hidden causes, by how often a verdict is wrong", ""]
    lines += [
        "Minutes include risk, a share of 60 min of damage. Orders by hand share belief and end with the plan.",
        "",
    ]
    lines += ["| wrong verdicts | order | mean minutes | the plan saves (95 %) | right | wrong | inconclusive |"]
    lines += ["| --- | --- | --- | --- | --- | --- | --- |", *rows, ""]
    RESULTS.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
