"""A shop of simulated jobs through the whole isolation: is the right cause found, in what time, what is learned?

Hidden causes are drawn by the demo family's weights, with its share of pairs; one job in seven has a fault that comes
and goes (it shows in 40 to 80 % of boots; the shop is told and takes three boots to a try, as it does where a fault
does not show at first). Each job goes through the same code as at the bench: events folded to a job, the advice, and
what a run tells.

Coupled: every boot is one of a stock simulated on the bench's world (device, supply, meter at 10 Hz) and read by the
boot reader, with finding, certainty, time from boot to boot and cadence as it reads them; a device without its front
sensor restarts after three minutes. Drawn: whether a boot shows the fault (the family's miss and false rates, and how
often it comes), how it shows (the family's signs), the verdicts of the two checks (the family's rates). The minutes are
the family's. The orders by hand run no checks; they share belief, end and reversal with the plan.

Learning: the second half of the jobs with the family's weights, with those learned from the first half's causes, and
both again where the weights are wrong (turned round: the rarest cause is said to be the most frequent). Orders by hand
and learning are left out with ``--short``; without it the report goes to ``benchmarks/results/simulated_shop.md`` too.
"""

from __future__ import annotations

import math
import random
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
from _boots import ROWS, Stock
from _harness import arguments, report
from _isolations import ORDERS, Order

from wakerail.family_plans import load_family_plan
from wakerail.jobs import Happened, Job, fold
from wakerail.jobs.isolation import BOOT, Isolation, isolation_of, learned_plan, observed
from wakerail.jobs.run_tells import RunSeen, told_by
from wakerail.planning.advice import RunCheck, Try, advise
from wakerail.planning.belief import prior
from wakerail.planning.ending import Ending, EndSort, early_ending
from wakerail.planning.model import FamilyPlan
from wakerail_kit.event_data import EventData
from wakerail_kit.job_events import Intake, JobClosed, JobOpened, Resolution
from wakerail_kit.messages import CERTAINTY, Measurement, SequenceRef, StepResult, Verdict
from wakerail_kit.outcome import Finding, Outcome

RESULTS = Path(__file__).parent / "results" / "simulated_shop.md"
SIGNS = frozenset(row.name for row in ROWS)
MOST_STEPS = 60
#: So many jobs are also isolated by each order of hands.
BY_HAND = 250
#: Hands that know nothing but to boot again, so often on end, give up.
GIVES_UP_AFTER = 3
#: A boot is watched for so long, and for two and a half rounds of a slow fault.
WINDOW_S, ROUNDS = 60.0, 2.5
GOALS = {"wrong_share": "at most 0.05"}


@dataclass(frozen=True, slots=True)
class Device:
    """What is wrong with a device that nobody knows: its causes, how they show, and in what share of boots."""

    name: str
    causes: frozenset[str]
    shows: str
    comes: float


@dataclass(frozen=True, slots=True)
class Isolated:
    """How a job's isolation went: what was named, how, in how many minutes of work (and risk), tries, and the job."""

    device: Device
    named: frozenset[str]
    sort: EndSort
    minutes: float
    tries: int
    job: Job

    @property
    def right(self) -> bool:
        return bool(self.named & self.device.causes)

    @property
    def wrong(self) -> bool:
        return bool(self.named) and not self.right


def draw_device(plan: FamilyPlan, number: int) -> Device:
    draw = random.Random(f"device {number}")
    names, weights = [one.name for one in plan.causes], [one.weight for one in plan.causes]
    causes = set(draw.choices(names, weights))
    if draw.random() < plan.pairs:
        while len(causes) < 2:
            causes |= set(draw.choices(names, weights))
    fitting = [sign.seen.given(causes) for sign in plan.signs]
    (shows,) = draw.choices([*(sign.name for sign in plan.signs), ""], [*fitting, max(0.0, 1.0 - sum(fitting))])
    comes = draw.uniform(0.4, 0.8) if draw.random() < 1 / 7 else 1.0
    return Device(f"job-{number}", frozenset(causes), shows, comes)


class Bench:
    """A job at the bench: its events so far, and the device under the hands."""

    def __init__(self, plan: FamilyPlan, device: Device, stock: Stock) -> None:
        self._plan, self._device, self._stock = plan, device, stock
        self._draw = random.Random(f"bench {device.name}")
        opened = JobOpened(job=device.name, family=plan.family, intake=Intake(symptom="restarts"))
        self.events: list[EventData] = [opened]
        self.cost_s, self.tries, self._runs = 0.0, 0, 0
        self.boots = 3 if device.comes < 1.0 else 1

    @property
    def isolation(self) -> Isolation:
        return isolation_of(self.job, self._plan, (), boots=self.boots)

    @property
    def job(self) -> Job:
        (job,) = fold(Happened(event, "2026-11-26T09:00:00Z", "bench-1", 1) for event in self.events).values()
        return job

    def boot(self, isolation: Isolation, done: frozenset[str]) -> None:
        """Do what is to be done, watch a try's boots until one shows the fault, and tell the job."""
        plan, before = self._plan, isolation.course.done
        self.cost_s += sum(plan.cost_s(plan.action[name]) for name in done - before)
        self.cost_s += sum(plan.action[name].undo_s for name in before - done)
        usual_s = isolation.course.usual_s
        window_s = WINDOW_S if usual_s is None else max(WINDOW_S, 10.0 * round(ROUNDS * usual_s / 10.0))
        if self._device.shows == "near-three-minutes" and usual_s is None:
            window_s = 400.0  # the customer said after how long it restarts
        self.tries += 1
        for _ in range(self.boots):
            self.cost_s += plan.watching.time_s + window_s - WINDOW_S
            there = not self._device.causes <= plan.off(done) and self._draw.random() < self._device.comes
            chance = 1.0 - plan.watching.miss if there else plan.watching.false
            shows = self._device.shows if self._draw.random() < chance else None
            read = self._stock.boot(self._draw, shows, plan.off(done), window_s)
            verdict = self._verdict("boot-watch", read.finding, read.outcome, "watch", read.certainty)
            if self._tell(RunSeen(verdict, done, read.interval_s, read.sign)):
                break

    def check(self, name: str, time_s: float) -> None:
        (check,) = [one for one in self._plan.checks if one.name == name]
        self.cost_s += time_s
        failed = self._draw.random() < check.fails.given(self._device.causes)
        outcome = Outcome.FAILED if failed else Outcome.PASSED
        self._tell(RunSeen(self._verdict(name, Finding.CHECK_FAILED, outcome, "test"), self.isolation.course.done))

    def _tell(self, run: RunSeen) -> bool:
        """Keep what a run tells; return whether it showed the fault."""
        told = told_by(self.isolation, run, SIGNS)
        for observation in told.observations:
            number = self.job.last_number + 1
            event = observed(self._device.name, number, observation)
            name = run.verdict.finding if event.kind == BOOT else event.name
            self.events.append(msgspec.structs.replace(event, run=run.verdict.run, name=name))
        return any(getattr(one, "shown", 0.0) >= 0.5 for one in told.observations)

    def _verdict(
        self, sequence: str, finding: Finding, outcome: Outcome, verb: str, certainty: float | None = None
    ) -> Verdict:
        self._runs += 1
        measured = Measurement(name=CERTAINTY, value=certainty, unit="1", outcome=Outcome.PASSED)
        return Verdict(
            id="", bench="bench-1", run=f"run-{self._runs}", job=self._device.name,
            sequence=SequenceRef(name=sequence, sha256="0" * 64), inputs={}, started="", ended="", outcome=outcome,
            finding=finding, reason="", steps=[StepResult(number=1, verb=verb, title="", outcome=outcome)],
            measurements=[measured], evidence=[], instruments=[], operator="", software_version="",
        )  # fmt: skip


def isolate(plan: FamilyPlan, device: Device, stock: Stock, order: Order | None = None) -> Isolated:
    """Isolate a device's cause by the plan, or by an order of hands."""
    bench = Bench(plan, device, stock)
    bench.boot(bench.isolation, frozenset())
    end, repeated = Ending(EndSort.INCONCLUSIVE, (), 0.0, ""), 0
    for _ in range(MOST_STEPS):
        isolation = bench.isolation
        course = isolation.course
        leading = frozenset({course.belief.ranked[0][0]})
        staying = frozenset(plan.cause) - plan.removable  # the board and what is on it are named together
        likely = max(*course.belief.of_cause.values(), course.belief.of_any(staying)) >= plan.confirm
        if order is not None and not likely and early_ending(course, leading) is None:
            done = order(course)
            repeated = repeated + 1 if done == course.done else 0
            if repeated > GIVES_UP_AFTER:
                break
            bench.boot(isolation, done)
            continue
        step = advise(course).next
        if isinstance(step, Ending):
            end = step
            if course.usual_s is None and bench.boots == 1:
                bench.boots = 3  # it did not show: as the advice says, more boots
                bench.boot(isolation, course.done)
                continue
            break
        if isinstance(step, RunCheck):
            bench.check(step.check, step.time_s)
        elif isinstance(step, Try):
            bench.boot(isolation, step.done)
    named = frozenset(end.causes)
    found = sorted(device.causes) if named & device.causes else []  # a wrong one is seen to be wrong at the proof
    bench.events.append(JobClosed(job=device.name, resolution=Resolution.REPAIRED, causes=found))
    return Isolated(device, named, end.sort, bench.cost_s / 60.0, bench.tries, bench.job)


def shop(plan: FamilyPlan, devices: Sequence[Device], stock: Stock, order: Order | None = None) -> list[Isolated]:
    return [isolate(plan, device, stock, order) for device in devices]


def difference(before: Sequence[Isolated], after: Sequence[Isolated]) -> tuple[float, float, float]:
    """Return the minutes a job that ``after`` needs less, with the 95 % interval (bootstrap over jobs)."""
    saved = [one.minutes - other.minutes for one, other in zip(before, after, strict=True)]
    draw = random.Random(1)
    again = sorted(statistics.fmean(draw.choices(saved, k=len(saved))) for _ in range(1000))
    return statistics.fmean(saved), again[25], again[974]


def gain_bits(before: FamilyPlan, after: FamilyPlan, devices: Sequence[Device]) -> float:
    """Return how much more the plan expects what then is at fault: the gain in logarithmic score, bits a device."""
    shares = prior(before).share, prior(after).share
    one, other = (
        statistics.fmean(math.log2(sum(share[cause] for cause in device.causes)) for device in devices)
        for share in shares
    )
    return other - one


def row_of(name: str, found: Sequence[Isolated]) -> str:
    right, wrong = sum(one.right for one in found), sum(one.wrong for one in found)
    minutes, tries = statistics.fmean(one.minutes for one in found), statistics.fmean(one.tries for one in found)
    return f"| {name} | {len(found)} | {right} | {wrong} | {len(found) - right - wrong} | {minutes:.1f} | {tries:.1f} |"


def turned_round(plan: FamilyPlan) -> FamilyPlan:
    """Return the plan with its weights turned round: the rarest cause gets the greatest weight, and so on."""
    ordered = sorted(plan.causes, key=lambda cause: cause.weight)
    weights = {cause.name: other.weight for cause, other in zip(ordered, reversed(ordered), strict=True)}
    return replace(plan, causes=tuple(replace(cause, weight=weights[cause.name]) for cause in plan.causes))


def main() -> None:
    options = arguments(__doc__)
    plan = load_family_plan(Path(__file__).parents[1] / "config" / "devices" / "fenmoor-t3.yaml")
    assert plan is not None
    count, each = (12, 1) if options.short else (1000, 25)
    begun = time.perf_counter()
    stock, devices = Stock(each), [draw_device(plan, number) for number in range(count)]
    found = shop(plan, devices, stock)
    taken_s = time.perf_counter() - begun
    right, wrong = sum(one.right for one in found), sum(one.wrong for one in found)
    figures: dict[str, object] = {
        "jobs": count,
        "right_share": round(right / count, 3),
        "wrong_share": round(wrong / count, 3),
        "inconclusive_share": round(1.0 - (right + wrong) / count, 3),
        "minutes_mean": round(statistics.fmean(one.minutes for one in found), 1),
        "boots_simulated": stock.simulated,
        "ms_a_job": round(1000.0 * taken_s / count),
    }
    groups = {
        "all": found,
        "one cause, always there": [one for one in found if len(one.device.causes) == 1 and one.device.comes == 1.0],
        "two causes": [one for one in found if len(one.device.causes) == 2],
        "comes and goes": [one for one in found if one.device.comes < 1.0],
    }
    both = sum(one.device.causes <= one.named for one in groups["two causes"])
    rows = [row_of(name, some) for name, some in groups.items() if some]
    order_rows, learning_rows = [row_of("the plan", some := found[:BY_HAND])], []
    if not options.short:
        for name, order in ORDERS.items():
            by_hand = shop(plan, devices[:BY_HAND], stock, order)
            saved, low, high = difference(by_hand, some)
            figures[f"minutes_less_than_{name}"] = round(saved, 1)
            order_rows.append(row_of(name, by_hand) + f" {saved:.1f} ({low:.1f} to {high:.1f}) |")
        taught, second = [one.job for one in found[: count // 2]], devices[count // 2 :]
        for what, stated in (("right", plan), ("wrong", turned_round(plan))):
            unlearned = found[count // 2 :] if stated is plan else shop(stated, second, stock)
            better = learned_plan(stated, taught)
            figures[f"learning_gains_bits_{what}_weights"] = round(gain_bits(stated, better, second), 2)
            learned = shop(better, second, stock)
            saved, low, high = difference(unlearned, learned)
            figures[f"learning_saves_minutes_{what}_weights"] = round(saved, 1)
            learning_rows += [row_of(f"{what} weights, as stated", unlearned)]
            learning_rows += [row_of(f"{what} weights, learned", learned) + f" {saved:.1f} ({low:.1f} to {high:.1f}) |"]
    report("a simulated shop", figures, GOALS, as_json=options.json)
    if not options.short:
        write_results(figures, rows, order_rows, learning_rows, both)


def write_results(
    figures: dict[str, object], rows: list[str], order_rows: list[str], learning_rows: list[str], both: int
) -> None:
    """Write the report."""
    head = "| {} | jobs | right | wrong | none named | mean minutes | tries |{}"
    lines = [
        "# A simulated shop",
        "",
        "Made by `benchmarks/simulated_shop.py`; what is coupled and what is drawn is said",
    ]
    lines += [
        "there. Minutes include risk, a share of 60 min of damage.",
        "",
        "| figure | | goal |",
        "| --- | --- | --- |",
    ]
    lines += [f"| {name} | {value} | {GOALS.get(name, '')} |" for name, value in figures.items()]
    lines += ["", "## What was found", "", head.format("jobs with", ""), "| --- |" + " --- |" * 6, *rows, ""]
    lines += [f"Right is that what was named is at fault. Of two causes, both were named at once in {both} jobs.", ""]
    more = " the plan needs fewer minutes (95 %) |"
    lines += ["## Against orders by hand", "", head.format("order", more), "| --- |" + " --- |" * 7, *order_rows, ""]
    more = " learning saves minutes (95 %) |"
    lines += ["## What learning does to the second half", "", head.format("plan", more), "| --- |" + " --- |" * 7]
    lines += [*learning_rows, ""]
    RESULTS.write_text("\n".join(lines), encoding="utf-8")


if __name__ == "__main__":
    main()
