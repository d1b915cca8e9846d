"""The sequences that are shipped, on a bench in memory, with the real boot reader."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from wakerail.report.live import LiveRun
from wakerail.sequences import exit_code_of, load_sequences
from wakerail_kit.events import LineResult, RunStarted, StepStarted
from wakerail_kit.outcome import Finding, Outcome

FOLDER = Path(__file__).parents[3] / "config" / "sequences"


def text(name: str) -> str:
    return (FOLDER / f"{name}.yaml").read_text()


def test_every_shipped_sequence_is_valid_and_named_after_its_file():
    known = load_sequences(FOLDER)
    assert {"boot-watch", "rail-check", "port-check"} <= set(known)
    assert set(known) == {file.stem for file in FOLDER.glob("*.yaml")}


@pytest.mark.parametrize("name", sorted(file.stem for file in FOLDER.glob("*.yaml")))
def test_a_sequence_that_switches_on_has_cautions_and_switches_off_again(name):
    sequence = load_sequences(FOLDER)[name]
    switches_on = any(getattr(step.action, "energises", False) for step in sequence.steps)
    if switches_on:
        assert "lithium" in " ".join(sequence.cautions)
        assert sequence.finally_


def booting_from(onset_s: float) -> Callable[[float], tuple[float, float, float]]:
    """A board that is off until a moment, then boots in two stages and runs with some life in its current."""

    def load(t_s: float) -> tuple[float, float, float]:
        since_s = t_s - onset_s
        if since_s < 0:
            amps = 0.001
        elif since_s < 1.5:
            amps = 0.09
        elif since_s < 4.0:
            amps = 0.62
        else:
            amps = 0.30 + 0.04 * (int(since_s * 3) % 2)
        return 3.85, amps, 0.0

    return load


async def test_a_board_that_boots_and_stays_up_passes(bench):
    psu = bench.instruments["psu"]
    psu.load = booting_from(4.0)
    run, _ = bench.start(text("boot-watch"), {"window": "30 s"})
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.RUNNING), verdict.reason
    assert exit_code_of(verdict) == 0
    assert psu.settings == {"volts": 3.85, "limit": 3.0, "output": False}
    started = next(event for event in bench.events() if isinstance(event, RunStarted))
    assert "lithium" in started.cautions[0]
    assert bench.prompts()[0].cautions == started.cautions
    assert {used.role: used.instrument for used in verdict.instruments} == {"supply": "psu", "usb": "usb-1"}


async def test_a_board_that_restarts_fails_and_each_restart_is_evidence_with_its_row(bench):
    def load(t_s: float) -> tuple[float, float, float]:
        if t_s < 4.0:
            return 3.85, 0.001, 0.0
        return 3.85, 0.65 if (t_s - 4.0) % 5.1 < 4.6 else 0.001, 0.0

    bench.instruments["psu"].load = load
    run, _ = bench.start(text("boot-watch"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.RESTARTING)
    assert exit_code_of(verdict) == 1
    assert "restarted 3 times" in verdict.reason
    restarts = [each for each in verdict.evidence if each.type == "wakerail.restart-seen.v1"]
    assert len(restarts) == 3
    for each in restarts:
        assert bench.journal[each.journal_row - 1].id == each.event_id
    gaps_s = [after.at_s - before.at_s for before, after in itertools.pairwise(restarts)]
    assert gaps_s == pytest.approx([5.1, 5.1], abs=0.2)
    # three restarts are enough: the rest of the window was not waited for
    assert bench.clock.monotonic_s() < 30


async def test_the_news_and_the_verdict_tell_the_same_times_however_slow_the_journal_is(bench):
    """Between the run's start and its first step lies the first event's way into the journal."""

    async def take_long() -> None:
        await bench.clock.sleep(2.0)

    bench.instruments["psu"].load = lambda t_s: (3.85, 0.65 if t_s > 6.0 and t_s % 5.0 < 4.5 else 0.001, 0.0)
    bench.at = lambda words: take_long if words == "record RunStarted" else None
    run, _ = bench.start(text("boot-watch"))
    verdict = await bench.verdict(run)
    live = LiveRun()
    for message in bench.journal:
        live.take("", message)
    told = re.findall(r"(?:onset|restart \d) at ([\d.]+ s)", live.news().plain)
    seen = [each for each in verdict.evidence if each.at_s is not None]
    assert told == [f"{each.at_s:.1f} s" for each in seen]
    assert len(told) == 4


async def test_a_boot_that_began_while_the_prompt_stood_is_seen_whole(bench):
    """The person bridges the pads, then confirms: the onset lies before the confirmation."""
    bench.confirm = None
    psu = bench.instruments["psu"]
    run, _ = bench.start(text("boot-watch"), {"window": "20 s"})
    await bench.until(lambda: "PromptRaised" in bench.event_names())
    onset_s = bench.clock.monotonic_s() + 2.0
    psu.load = booting_from(onset_s)
    await bench.until(lambda: bench.clock.monotonic_s() > onset_s + 3.0)
    run.answer(bench.prompts()[0].id, True)
    verdict = await bench.verdict(run)
    assert verdict.finding == Finding.RUNNING, verdict.reason
    onset = next(each for each in verdict.evidence if each.type == "wakerail.onset-seen.v1")
    assert onset.at_s == pytest.approx(onset_s, abs=0.11)


async def test_a_standing_draw_is_found_before_anyone_is_asked_to_press(bench):
    bench.instruments["psu"].load = lambda _: (3.85, 0.080, 0.0)
    run, _ = bench.start(text("boot-watch"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.STANDING_DRAW)
    assert verdict.reason == "The supply's current averaged 80 mA over 2 s, more than the 5 mA allowed."
    assert bench.prompts() == []
    assert [step.outcome for step in verdict.steps[3:5]] == [None, None]


@pytest.mark.parametrize(
    ("volts", "amps", "limiting", "outcome", "finding"),
    [
        (3.85, 0.0012, 0.0, Outcome.PASSED, Finding.RAIL_QUIET),
        (3.85, 0.060, 0.0, Outcome.FAILED, Finding.STANDING_DRAW),
        (
            2.60,
            0.100,
            1.0,
            Outcome.FAILED,
            Finding.STANDING_DRAW,
        ),  # a heavy leak holds the limit, but not the rail down
        (0.05, 0.100, 1.0, Outcome.FAILED, Finding.HARD_SHORT),
        (0.05, 0.000, 0.0, Outcome.INCONCLUSIVE, Finding.BENCH_FAULT),  # no voltage, no current: a lead is off
    ],
)
async def test_rail_check_tells_quiet_from_leak_from_short_from_a_bench_fault(
    bench, volts, amps, limiting, outcome, finding
):
    bench.instruments["psu"].load = lambda _: (volts, amps, limiting)
    run, _ = bench.start(text("rail-check"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (outcome, finding), verdict.reason
    assert bench.instruments["psu"].settings["limit"] == 0.1
    assert not bench.anything_on()


def lines(*bad: str) -> list[LineResult]:
    names = ("vbus", "ground", "d_plus", "d_minus", "cc1", "cc2")
    return [LineResult(line=name, passed=name not in bad, says="open" if name in bad else "") for name in names]


async def test_a_clear_port_is_tested_once(bench):
    bench.instruments["port-1"].answers = [lines()]
    run, _ = bench.start(text("port-check"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PORT_CLEAR)
    assert verdict.reason == "All 6 lines of the port passed."
    assert [step.outcome for step in verdict.steps] == [Outcome.PASSED, None, None]
    assert bench.prompts() == []


async def test_a_dirty_port_is_cleaned_and_tested_again(bench):
    bench.instruments["port-1"].answers = [lines("cc1"), lines()]
    run, _ = bench.start(text("port-check"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PORT_CLEAR)
    assert verdict.reason == (
        "All 6 lines of the port passed. Before that: 1 of 6 lines of the port failed: cc1 (open)."
    )
    assert "flammable" in bench.prompts()[0].cautions[0]
    assert len([each for each in verdict.evidence if each.type == "wakerail.port-tested.v1"]) == 2


async def test_a_port_that_stays_bad_after_cleaning_is_a_fault(bench):
    bench.instruments["port-1"].answers = [lines("cc1", "vbus"), lines("vbus")]
    run, _ = bench.start(text("port-check"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.PORT_FAULT)
    assert verdict.reason == "1 of 6 lines of the port failed: vbus (open)."


async def test_a_bench_without_a_usb_watcher_can_watch_a_boot(make_bench):
    bench = make_bench({"psu": "power-source"})
    bench.instruments["psu"].load = booting_from(4.0)
    run, _ = bench.start(text("boot-watch"), {"window": "20 s"})
    verdict = await bench.verdict(run)
    assert verdict.finding == Finding.RUNNING
    assert [used.role for used in verdict.instruments] == ["supply"]


async def test_titles_and_durations_are_told_as_steps_start(bench):
    run, _ = bench.start(text("rail-check"))
    await bench.verdict(run)
    told = {event.title: event.duration_s for event in bench.events() if isinstance(event, StepStarted)}
    assert told["Measure the standing draw"] == 2.0
    assert told["Power the rail at a low limit"] is None
