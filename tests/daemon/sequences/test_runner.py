"""A run from its first event to its verdict, and that it ends safely whatever happens and whenever."""

from __future__ import annotations

import asyncio
import contextlib

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from wakerail.analysis.seen import Onset
from wakerail.sequences import SequenceRun, exit_code_of, make_plan, parse_sequence
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync
from wakerail_kit.events import EVENT_TYPES, LineResult, RunFinished, StepFinished, StepStarted
from wakerail_kit.messages import Event, InstrumentState, Verdict
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.schema import event_schema, schema_of

HEAD = """\
sequence: try
purpose: A try.
cautions: [Disconnect the cell.]
needs: {supply: power-source, port: port-tester}
uses: {usb: usb-watcher}
steps:
"""
ON = "  - supply: {volts: 3.85 V, limit: 1 A, output: on}\n"
FINALLY = """\
finally:
  - wait: 1 s
  - supply: {output: off}
  - supply: {limit: 100 mA}
"""
#: Each verb as a step that takes its time.
LASTING = {
    "measure": "  - measure: {signal: supply.current, over: 30 s, max: 1 A}\n",
    "prompt": "  - prompt: Bridge the pads.\n",
    "wait": "  - wait: 30 s\n",
    "watch": "  - watch: {for: 30 s, signals: [supply.current, usb]}\n",
    "test": "  - test: {port: lines}\n",
    "set": "  - supply: {over-current: 2 A}\n",
}
EVERY_VERB = (
    HEAD
    + ON
    + "  - wait: 1 s\n"
    + "  - measure: {signal: supply.current, over: 1 s, max: 1 A}\n"
    + "  - prompt: Bridge the pads.\n"
    + "  - watch: {for: 5 s, signals: [supply.current, usb]}\n"
    + "  - test: {port: lines}\n"
    + FINALLY
)
KINDS = {"psu": "power-source", "port-1": "port-tester", "usb-1": "usb-watcher"}
GOOD_PORT = [LineResult(line="vbus", passed=True)]
VERDICT_SCHEMA = Draft202012Validator(schema_of(Verdict))


def check(bench, verdict: Verdict) -> None:
    """What holds of every verdict and of every run that has ended."""
    VERDICT_SCHEMA.validate(msgspec.to_builtins(verdict))
    for each in bench.journal:
        if isinstance(each, Event):
            Draft202012Validator(event_schema(EVENT_TYPES[each.type])).validate(msgspec.to_builtins(each))
    assert bench.verdicts() == [verdict]
    assert verdict.reason
    assert verdict.reason[-1] == "."
    assert "\n" not in verdict.reason
    assert bench.claimed == {}
    assert [step.number for step in verdict.steps] == list(range(1, len(verdict.steps) + 1))


def check_safe(bench) -> None:
    psu = bench.instruments["psu"]
    assert not psu.on
    assert psu.made_safe == 1
    assert bench.points.index("apply psu output False") < bench.points.index("record_verdict")


def lasting(bench, verb: str, troubles) -> str:
    """A sequence that switches on and then stays in a step of a verb until something happens."""
    bench.confirm = None
    if verb == "test":
        bench.instruments["port-1"].trouble["lines"] = troubles.hang
    if verb == "set":
        bench.instruments["psu"].trouble["over-current"] = troubles.hang
    return HEAD + ON + LASTING[verb] + "  - wait: 1 s\n" + FINALLY


async def in_step(bench, verb: str) -> None:
    """Let the run get well into its second step."""

    def there() -> bool:
        started = [event for event in bench.events() if isinstance(event, StepStarted)]
        return bool(started) and started[-1].verb == verb and started[-1].number == 2

    await bench.until(there)
    now_s = bench.clock.monotonic_s()
    await bench.until(lambda: bench.clock.monotonic_s() > now_s + 0.3)


# --- a run that goes well ---


async def test_the_events_of_a_run_come_in_order_and_the_verdict_before_its_announcement(bench):
    bench.instruments["port-1"].answers = [GOOD_PORT]
    text = HEAD + ON + LASTING["prompt"] + LASTING["test"] + FINALLY
    run, task = bench.start(text, job="job-17", operator="Ilse")
    verdict = await bench.verdict(run)
    check(bench, verdict)
    check_safe(bench)
    await task
    assert bench.event_names() == [
        "RunStarted",
        "StepStarted", "StepFinished",
        "StepStarted", "PromptRaised", "PromptAnswered", "StepFinished",
        "StepStarted", "StepFinished",
        "StepStarted", "StepFinished", "StepStarted", "StepFinished", "StepStarted", "StepFinished",
        "RunFinished",
    ]  # fmt: skip
    kinds = [type(each).__name__ for each in bench.journal]
    assert kinds[-2:] == ["Verdict", "Event"]
    finished = bench.events()[-1]
    assert isinstance(finished, RunFinished)
    assert (finished.verdict, finished.outcome, finished.reason) == (verdict.id, verdict.outcome, verdict.reason)
    assert (verdict.run, verdict.job, verdict.operator, verdict.bench) == (run.id, "job-17", "Ilse", "bench-1")
    assert verdict.software_version
    assert verdict.started < verdict.ended
    (psu,) = [used for used in verdict.instruments if used.role == "supply"]
    assert (psu.kind, psu.driver, psu.dialect) == ("power-source", "fake-driver", "fake-dialect")
    assert psu.identity.maker == "Tarnfell"
    assert psu.calibrated == "2026-03-01"


async def test_events_of_a_run_are_joined_to_it_and_to_their_topic(bench):
    heard: list[tuple[str, Event]] = []
    run, _ = bench.start(HEAD + "  - wait: 1 s\n")
    bench.bus.subscribe(
        f"wakerail/v1/bench-1/sequence/{run.id}/event", lambda topic, event: heard.append((topic, event))
    )
    await bench.verdict(run)
    assert len(heard) == 4
    assert {event.runid for _, event in heard} == {run.id}


async def test_after_a_failure_the_remaining_steps_are_not_run_and_the_first_finding_stands(bench):
    bench.instruments["psu"].load = lambda _: (3.85, 0.5, 0.0)
    text = (
        HEAD + ON
        + "  - measure: {signal: supply.current, over: 1 s, max: 5 mA}\n    failed: standing-draw\n"
        + "  - measure: {signal: supply.voltage, over: 1 s, min: 9 V}\n    failed: hard-short\n"
        + FINALLY
    )  # fmt: skip
    run, _ = bench.start(text)
    verdict = await bench.verdict(run)
    check(bench, verdict)
    check_safe(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.STANDING_DRAW)
    outcomes = [step.outcome for step in verdict.steps]
    assert outcomes == [Outcome.PASSED, Outcome.FAILED, None, Outcome.PASSED, Outcome.PASSED, Outcome.PASSED]
    (evidence,) = verdict.evidence
    assert evidence.type == "wakerail.step-finished.v1"
    assert bench.journal[evidence.journal_row - 1].id == evidence.event_id


async def test_two_runs_cannot_hold_the_same_instrument(bench):
    bench.confirm = None
    first, _ = bench.start(HEAD + LASTING["prompt"])
    with pytest.raises(DeviceRefused, match=f"psu is in use by run {first.id}"):
        bench.start(HEAD + "  - wait: 1 s\n")
    first.abort()
    bench.run = first
    check(bench, await bench.verdict(first))
    second, _ = bench.start(HEAD + "  - wait: 1 s\n")
    assert (await bench.verdict(second)).outcome == Outcome.PASSED


# --- a run that is stopped ---


@pytest.mark.parametrize("verb", sorted(LASTING))
async def test_abort_ends_any_step_at_once_and_safely(bench, troubles, verb):
    run, _ = bench.start(lasting(bench, verb, troubles))
    await in_step(bench, verb)
    run.abort("smoke")
    aborted_s = bench.clock.monotonic_s()
    verdict = await bench.verdict(run)
    check(bench, verdict)
    check_safe(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert verdict.reason == "Aborted: smoke."
    assert exit_code_of(verdict) == 4
    assert [step.outcome for step in verdict.steps[:3]] == [Outcome.PASSED, Outcome.ABORTED, None]
    assert bench.clock.monotonic_s() <= aborted_s + 1.2  # finally's own wait
    finished = [event for event in bench.events() if isinstance(event, StepFinished)]
    assert finished[1].outcome == Outcome.ABORTED


async def test_abort_before_anything_was_done_does_nothing_but_make_safe(bench):
    run, _ = bench.start(EVERY_VERB)
    run.abort()
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert "apply psu output True" not in bench.points
    assert bench.instruments["psu"].made_safe == 1
    run.abort("again")  # has no effect
    assert bench.verdicts() == [verdict]


@pytest.mark.parametrize("verb", sorted(LASTING))
async def test_a_cancelled_run_still_ends_safely_with_its_verdict(bench, troubles, verb):
    run, task = bench.start(lasting(bench, verb, troubles))
    await in_step(bench, verb)
    task.cancel()
    verdict = await bench.verdict(run)
    check(bench, verdict)
    check_safe(bench)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert verdict.reason == "Aborted: the daemon was stopped."
    with pytest.raises(asyncio.CancelledError):
        await task


async def test_a_second_cancellation_does_not_keep_it_from_ending(bench, troubles):
    run, task = bench.start(lasting(bench, "wait", troubles))
    await in_step(bench, "wait")
    task.cancel()
    await bench.until(lambda: [event.number for event in bench.events() if isinstance(event, StepStarted)][-1] == 4)
    task.cancel()
    verdict = await bench.verdict(run)
    check(bench, verdict)
    check_safe(bench)


async def test_a_run_cancelled_before_it_began_lets_go_of_its_instruments(bench):
    run, task = bench.start(EVERY_VERB)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    with pytest.raises(asyncio.CancelledError):
        await run.done
    assert bench.claimed == {}
    assert bench.points == []


# --- a bench that fails ---


@pytest.mark.parametrize("verb", sorted(LASTING))
async def test_a_lost_instrument_is_a_bench_fault_in_any_step(bench, troubles, verb):
    run, _ = bench.start(lasting(bench, verb, troubles))
    await in_step(bench, verb)
    await bench.instruments["psu"].lose("connection refused")
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert verdict.reason == "The bench lost psu: connection refused."
    assert exit_code_of(verdict) == 5
    assert bench.instruments["psu"].made_safe == 1
    (lost,) = [each for each in verdict.evidence if each.type == "wakerail.instrument-lost.v1"]
    assert bench.journal[lost.journal_row - 1].id == lost.event_id


@pytest.mark.parametrize("verb", sorted(LASTING))
async def test_an_interlock_trip_aborts_any_step(bench, troubles, verb):
    run, _ = bench.start(lasting(bench, verb, troubles))
    await in_step(bench, verb)
    await bench.instruments["psu"].trip()
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert verdict.reason == (
        "The over-voltage interlock of psu tripped: 4.9 V at the output, above the limit of 4.5 V."
    )
    assert exit_code_of(verdict) == 4
    assert "wakerail.interlock-tripped.v1" in [each.type for each in verdict.evidence]


async def test_a_refusal_by_a_tripped_interlock_is_the_interlock_s_even_before_its_event_is_heard(bench, troubles):
    psu = bench.instruments["psu"]

    async def refuse() -> None:
        psu.state, psu.words = InstrumentState.TRIPPED, "over-voltage: 4.9 V"
        raise DeviceRefused("psu: an interlock has tripped")

    psu.trouble["output"] = refuse
    run, _ = bench.start(HEAD + ON)
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.INTERLOCK)
    assert verdict.reason == "An interlock of psu has tripped: over-voltage: 4.9 V."


async def test_an_instrument_lost_between_steps_is_noticed_without_its_event(bench):
    psu = bench.instruments["psu"]
    run, _ = bench.start(HEAD + ON + LASTING["wait"] + LASTING["test"])
    await in_step(bench, "wait")
    psu.state, psu.words = InstrumentState.UNAVAILABLE, "gone"
    verdict = await bench.verdict(run)
    assert (verdict.finding, verdict.reason) == (Finding.BENCH_FAULT, "The bench lost psu: gone.")
    assert "test port-1 lines" not in bench.points


@pytest.mark.parametrize("error", [DeviceUnavailable("psu: gone"), OutOfSync("psu: late"), ValueError("a bug")])
@pytest.mark.parametrize("setting", ["volts", "output"])
async def test_an_error_while_setting_is_never_a_failure_of_the_device(bench, troubles, setting, error):
    bench.instruments["psu"].trouble[setting] = troubles.raising(error)
    run, _ = bench.start(HEAD + ON + FINALLY)
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert str(error) in verdict.reason
    assert bench.instruments["psu"].made_safe == 1


@pytest.mark.parametrize("way", ["hang", "hang_hard"])
async def test_a_setting_that_hangs_is_given_up_after_its_time(bench, troubles, way):
    bench.instruments["psu"].trouble["volts"] = getattr(troubles, way)
    run, _ = bench.start(HEAD + ON + FINALLY)
    verdict = await bench.verdict(run, limit_s=30.0)
    check(bench, verdict)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert verdict.reason == "The bench could not go on: psu: setting volts: not done within 10 s."


async def test_a_test_that_hangs_is_given_up_after_its_time(bench, troubles):
    bench.instruments["port-1"].trouble["lines"] = troubles.hang
    run, _ = bench.start(HEAD + LASTING["test"])
    verdict = await bench.verdict(run, limit_s=100.0)
    assert verdict.reason == "The bench could not go on: port-1: test of lines: not done within 60 s."
    assert verdict.finding == Finding.BENCH_FAULT


async def test_a_lost_optional_instrument_is_noted_and_the_run_goes_on(bench):
    run, _ = bench.start(HEAD + ON + LASTING["wait"])
    await in_step(bench, "wait")
    await bench.instruments["usb-1"].lose("unplugged")
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert verdict.outcome == Outcome.PASSED
    assert verdict.reason == "All steps were done. The usb was lost on the way: unplugged."


async def test_a_step_of_a_lost_optional_instrument_is_left_out(make_bench, troubles):
    bench = make_bench({"psu": "power-source", "port-1": "port-tester"})
    text = HEAD.replace(", port: port-tester", "").replace("uses: {usb: usb-watcher}", "uses: {port: port-tester}")
    bench.instruments["port-1"].trouble["lines"] = troubles.raising(DeviceUnavailable("port-1: gone"))
    run, _ = bench.start(text + LASTING["test"] + LASTING["test"] + "  - wait: 1 s\n")
    verdict = await bench.verdict(run)
    check(bench, verdict)
    assert verdict.outcome == Outcome.PASSED
    assert verdict.reason == "All steps were done. The port was lost on the way: gone."
    assert [step.outcome for step in verdict.steps] == [Outcome.INCONCLUSIVE, None, Outcome.PASSED]


# --- the end ---


@pytest.mark.parametrize("way", ["raising", "hang", "hang_hard"])
async def test_an_item_of_finally_that_fails_does_not_stop_the_others(bench, troubles, way):
    trouble = troubles.raising(OutOfSync("psu: late")) if way == "raising" else getattr(troubles, way)
    text = HEAD + ON + "finally:\n  - supply: {volts: 3 V}\n  - supply: {output: off}\n  - supply: {limit: 0.1 A}\n"
    bench.at = lambda words: trouble if words == "apply psu volts 3.0" else None
    run, _ = bench.start(text)
    verdict = await bench.verdict(run, limit_s=30.0)
    check(bench, verdict)
    check_safe(bench)
    assert bench.points.index("apply psu output False") < bench.points.index("apply psu limit 0.1")
    assert [step.outcome for step in verdict.steps[1:]] == [Outcome.INCONCLUSIVE, Outcome.PASSED, Outcome.PASSED]
    assert verdict.outcome == Outcome.PASSED  # it was made safe, and that was verified


@pytest.mark.parametrize("way", ["raising", "hang", "hang_hard"])
async def test_an_instrument_that_cannot_be_made_safe_is_the_first_thing_said(bench, troubles, way):
    trouble = troubles.raising(OutOfSync("psu: late")) if way == "raising" else getattr(troubles, way)
    bench.instruments["psu"].trouble["make_safe"] = trouble
    run, _ = bench.start(HEAD + ON)
    verdict = await bench.verdict(run, limit_s=30.0)
    check(bench, verdict)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert verdict.reason == (
        "The bench could not make psu safe: treat it as switched on and pull its plug. "
        "Before that: All steps were done."
    )
    assert exit_code_of(verdict) == 5


async def test_one_instrument_that_cannot_be_made_safe_keeps_no_other_from_it(make_bench, troubles):
    bench = make_bench({"psu": "power-source", "psu-2": "power-source", "plate": "heat-source"})
    text = HEAD.replace("port: port-tester", "second: power-source, plate: heat-source")
    text += ON + "  - second: {output: on}\n  - plate: {temperature: 60 degC, heater: on}\n"
    bench.instruments["psu"].trouble["make_safe"] = troubles.hang
    run, _ = bench.start(text)
    verdict = await bench.verdict(run)
    assert verdict.reason.startswith("The bench could not make psu safe:")
    assert not bench.instruments["psu-2"].on
    assert not bench.instruments["plate"].on


async def test_a_journal_that_fails_ends_the_run_and_keeps_nothing_from_being_made_safe(bench, troubles):
    """Once the journal hangs, no more than one record's time goes by before everything is off."""
    run, _ = bench.start(HEAD + ON + LASTING["wait"] + FINALLY)
    await in_step(bench, "wait")
    failing_s = bench.clock.monotonic_s()
    bench.at = lambda words: troubles.hang if words.startswith("record ") else None
    run.abort("smoke")
    await bench.until(lambda: not bench.anything_on())
    assert bench.clock.monotonic_s() <= failing_s + 5.0 + 1.2
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)


async def test_a_run_that_cannot_be_recorded_ends(bench, troubles):
    bench.at = lambda words: troubles.raising(OSError("no space left")) if words == "record StepFinished" else None
    run, _ = bench.start(HEAD + ON + LASTING["wait"])
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert verdict.reason == "The run could not be recorded: no space left."
    assert not bench.anything_on()


@pytest.mark.parametrize("way", ["raising", "hang"])
async def test_a_verdict_that_is_not_durable_is_not_announced(bench, troubles, way):
    trouble = troubles.raising(DeviceUnavailable("the journal is gone")) if way == "raising" else troubles.hang
    bench.at = lambda words: trouble if words == "record_verdict" else None
    run, _ = bench.start(HEAD + ON)
    await bench.until(run.done.done)
    with pytest.raises(DeviceUnavailable):
        run.done.result()
    assert "RunFinished" not in bench.event_names()
    assert not bench.anything_on()
    assert bench.claimed == {}


# --- at any point ---


class ContentReader:
    """A reader to whom every boot is a good one."""

    finding, outcome, says = Finding.RUNNING, Outcome.PASSED, "It stayed up."
    measurements = stages = last_seen = ()
    cadence = onset_s = None
    probability = 0.95

    def __init__(self, settings):
        pass

    def take_frame(self, frame):
        return [Onset(frame.t_s[0], 0.3)]

    def take_usb(self, event):
        return []

    def finish(self, end_s):
        return self


@pytest.fixture(scope="module")
def every_point() -> dict[str, list[str]]:
    """Where a run of every verb touches the bench, in order; filled by the first example."""
    return {}


class Striker:
    """Strikes a run once, at the n-th time that it touches the bench."""

    def __init__(self, bench, troubles, way: str, stop_at: int) -> None:
        self.bench, self.troubles, self.way, self.left = bench, troubles, way, stop_at
        self.task: asyncio.Task[None] | None = None
        bench.at = self.at

    def at(self, _words: str):
        self.left -= 1
        return self.strike if self.left == -1 else None

    async def strike(self) -> None:
        psu = self.bench.instruments["psu"]
        ways = {
            "abort": self.abort,
            "cancel": self.cancel,
            "lost": psu.lose,
            "trip": psu.trip,
            "refused": self.troubles.raising(DeviceRefused("no")),
            "late": self.troubles.raising(OutOfSync("late")),
            "bug": self.troubles.raising(ZeroDivisionError()),
            "hang": self.troubles.hang_hard,
        }
        await ways[self.way]()

    async def abort(self) -> None:
        self.bench.run.abort("smoke")

    async def cancel(self) -> None:
        self.task.cancel()


def start_every_verb(bench) -> tuple[SequenceRun, asyncio.Task[None]]:
    bench.instruments["port-1"].answers = [GOOD_PORT]
    return bench.start(EVERY_VERB, make_reader=ContentReader)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    place=st.integers(0, 60),
    way=st.sampled_from(["abort", "cancel", "lost", "trip", "refused", "late", "bug", "hang"]),
)
def test_wherever_a_run_breaks_off_finally_is_done_and_everything_is_made_safe(
    make_bench, troubles, every_point, place, way
):
    async def undisturbed() -> list[str]:
        bench = make_bench(KINDS)
        run, _ = start_every_verb(bench)
        assert (await bench.verdict(run)).outcome == Outcome.PASSED
        return bench.points

    async def struck(stop_at: int) -> None:
        bench = make_bench(KINDS)
        striker = Striker(bench, troubles, way, stop_at)
        run, striker.task = start_every_verb(bench)
        verdict = await bench.verdict(run)
        with contextlib.suppress(asyncio.CancelledError):
            await striker.task
        check(bench, verdict)
        assert verdict.outcome != Outcome.FAILED
        assert bench.instruments["psu"].made_safe == 1
        assert not bench.anything_on()
        assert "apply psu limit 0.1" in bench.points  # the last item of finally
        if stop_at < bench.points.index("apply psu output False") - 5:  # not in finally
            assert verdict.outcome in {Outcome.ABORTED, Outcome.INCONCLUSIVE}

    if not every_point:
        every_point["points"] = asyncio.run(undisturbed())
    asyncio.run(struck(place % every_point["points"].index("record_verdict")))


async def test_a_run_can_be_built_on_a_plan_more_than_once(bench):
    plan = make_plan(parse_sequence(HEAD + ON, "try.yaml"), {}, bench)
    for _ in range(2):
        run = SequenceRun(plan, bench)
        run.start()
        assert (await bench.verdict(run)).outcome == Outcome.PASSED
