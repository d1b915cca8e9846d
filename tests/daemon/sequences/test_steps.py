"""The verbs, each with what it concludes."""

from __future__ import annotations

import asyncio
import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.cadence import cadence_of
from wakerail.analysis.known_good import Boot, make_known_good
from wakerail.analysis.reading import BootReading
from wakerail.analysis.seen import Onset, Restart, Revision
from wakerail.analysis.stages import Stage
from wakerail.sequences import parse_sequence
from wakerail.sequences.arrivals import stall_limit_s
from wakerail.sequences.steps.measure import uncertainty_of
from wakerail_kit import topics
from wakerail_kit.errors import DeviceRefused, OutOfSync
from wakerail_kit.events import LineResult, RestartRevised, RestartSeen, StagesRead, StepFinished, UsbAttached
from wakerail_kit.families import DeviceFamily
from wakerail_kit.messages import Frame, Measurement
from wakerail_kit.outcome import Finding, Outcome

HEAD = """\
sequence: try
purpose: A try.
needs: {supply: power-source, port: port-tester}
uses: {usb: usb-watcher}
steps:
"""
ON = "  - supply: {volts: 3.85 V, limit: 1 A, output: on}\n"


def measuring(what: str) -> str:
    return HEAD + ON + f"  - measure: {{{what}}}\n"


# --- settings ---


async def test_settings_are_applied_with_the_output_last(bench):
    run, _ = bench.start(HEAD + "  - supply: {output: on, limit: 1 A, volts: 3.85 V}\n")
    verdict = await bench.verdict(run)
    assert verdict.outcome == Outcome.PASSED
    applied = [point for point in bench.points if point.startswith("apply")]
    assert applied == ["apply psu volts 3.85", "apply psu limit 1.0", "apply psu output True"]
    assert not bench.anything_on()


async def test_switching_off_comes_before_other_settings(bench):
    run, _ = bench.start(HEAD + ON + "  - supply: {volts: 3 V, output: off}\n")
    await bench.verdict(run)
    applied = [point for point in bench.points if point.startswith("apply")]
    assert applied[3:] == ["apply psu output False", "apply psu volts 3.0"]


async def test_a_refused_setting_is_a_matter_of_the_bench(bench, troubles):
    bench.instruments["psu"].trouble["volts"] = troubles.raising(DeviceRefused("psu: volts 3.85 V is above 3 V"))
    run, _ = bench.start(HEAD + ON)
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "volts 3.85 V is above 3 V" in verdict.reason


# --- measure ---


@pytest.mark.parametrize(
    ("stat", "expected"),
    [("mean", 0.2), ("min", 0.1), ("max", 0.3), ("median", 0.2), ("p2p", 0.2)],
)
async def test_each_statistic_of_a_signal(bench, stat, expected):
    bench.instruments["psu"].load = lambda t_s: (3.85, (0.1, 0.2, 0.3)[round(t_s * 20) % 3], 0.0)
    run, _ = bench.start(measuring(f"signal: supply.current, over: 3 s, stat: {stat}"))
    verdict = await bench.verdict(run)
    (measured,) = verdict.measurements
    assert measured.value == pytest.approx(expected)
    assert (measured.name, measured.unit, measured.outcome) == (f"supply.current {stat}", "A", Outcome.PASSED)
    assert (measured.uncertainty is None) == (stat not in {"mean", "median"})


@pytest.mark.parametrize(
    ("limits", "outcome", "ending"),
    [
        ("max: 300 mA", Outcome.PASSED, "averaged 200 mA over 1 s, within the 300 mA allowed."),
        ("max: 100 mA", Outcome.FAILED, "averaged 200 mA over 1 s, more than the 100 mA allowed."),
        ("min: 100 mA", Outcome.PASSED, "averaged 200 mA over 1 s, above the 100 mA wanted."),
        ("min: 300 mA", Outcome.FAILED, "averaged 200 mA over 1 s, less than the 300 mA wanted."),
        ("min: 0.1 A, max: 0.3 A", Outcome.PASSED, "200 mA over 1 s, between 100 mA and 300 mA as wanted."),
    ],
)
async def test_limits_decide_and_the_reason_says_by_how_much(bench, limits, outcome, ending):
    bench.instruments["psu"].load = lambda _: (3.85, 0.2, 0.0)
    run, _ = bench.start(measuring(f"signal: supply.current, over: 1 s, {limits}"))
    verdict = await bench.verdict(run)
    assert verdict.outcome == outcome
    assert verdict.finding == (Finding.CHECK_FAILED if outcome == Outcome.FAILED else Finding.CHECKS_PASSED)
    assert verdict.reason.startswith("The supply's current")
    assert verdict.reason.endswith(ending)


async def test_samples_from_before_the_step_and_after_it_do_not_count(bench):
    def load(t_s: float) -> tuple[float, float, float]:
        return 3.85, 9.0 if not 1.0 < t_s <= 2.0 else 0.1, 0.0

    bench.instruments["psu"].load = load
    text = HEAD + ON + "  - wait: 1 s\n  - measure: {signal: supply.current, over: 1 s, stat: max, max: 1 A}\n"
    run, _ = bench.start(text)
    verdict = await bench.verdict(run)
    assert verdict.measurements[0].value == pytest.approx(0.1)


async def test_too_few_samples_are_no_basis_for_a_verdict(bench):
    """An instrument that answers, but mostly with no data."""
    bench.instruments["psu"].load = lambda t_s: (3.85, 0.2 if round(t_s * 20) % 5 == 1 else None, 0.0)
    run, _ = bench.start(measuring("signal: supply.current, over: 2 s, max: 1 mA"))
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA)
    assert verdict.measurements[0].value is None
    assert verdict.reason == "Only 8 of about 40 samples of supply.current came in 2 s."


@pytest.mark.parametrize("rate_hz", [20.0, 2.0])
async def test_frames_that_stop_are_a_bench_fault_after_five_polls_or_a_second(bench, rate_hz):
    psu = bench.instruments["psu"]
    psu.rate_hz = rate_hz
    run, _ = bench.start(measuring("signal: supply.current, over: 60 s, max: 1 mA"))
    await bench.until(lambda: bench.clock.monotonic_s() > 3.0)
    psu.silent = True
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert bench.clock.monotonic_s() == pytest.approx(3.0 + stall_limit_s(rate_hz), abs=1.1 / rate_hz)
    assert f"sent no frame for {stall_limit_s(rate_hz):g} s" in verdict.reason


async def test_an_output_that_goes_off_by_itself_is_a_bench_fault_not_a_quiet_board(bench):
    psu = bench.instruments["psu"]
    run, _ = bench.start(measuring("signal: supply.current, over: 60 s, max: 1 A"))
    await bench.until(lambda: bench.clock.monotonic_s() > 3.0)
    psu.settings["output"] = False  # a hand at the front panel
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "went off by itself" in verdict.reason
    assert bench.clock.monotonic_s() < 5.0


@given(st.lists(st.floats(-10, 10), min_size=2, max_size=50))
def test_the_mean_s_uncertainty_is_its_standard_error(samples):
    """JCGM 100:2008, 4.2.3: s / sqrt(n), here by its own definition with n (n - 1)."""
    mean = statistics.fmean(samples)
    n = len(samples)
    expected = math.sqrt(sum((sample - mean) ** 2 for sample in samples) / (n * (n - 1)))
    assert uncertainty_of("mean", samples) == pytest.approx(expected, rel=1e-6, abs=1e-12)
    assert uncertainty_of("max", samples) is None
    assert uncertainty_of("mean", samples[:1]) is None


# --- prompt and wait ---


async def test_a_prompt_waits_for_its_answer_and_takes_no_other(bench):
    bench.confirm = None
    run, _ = bench.start(HEAD + "  - prompt: Bridge the pads.\n")
    await bench.until(lambda: "PromptRaised" in bench.event_names())
    (prompt,) = bench.prompts()
    with pytest.raises(Exception, match=rf"does not wait on prompt 'other'; it waits on '{prompt.id}'"):
        run.answer("other", True)
    run.answer(prompt.id, True, "Ilse")
    verdict = await bench.verdict(run)
    assert verdict.outcome == Outcome.PASSED
    with pytest.raises(Exception, match="waits for no answer now"):
        run.answer(prompt.id, True)
    assert (prompt.step, prompt.text) == (1, "Bridge the pads.")


async def test_no_to_a_prompt_ends_the_run(bench):
    bench.confirm = False
    run, _ = bench.start(HEAD + ON + "  - prompt: Bridge the pads.\n  - wait: 2 s\n")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert verdict.reason == "Aborted: the answer was no to the prompt 'Bridge the pads'."
    assert [step.outcome for step in verdict.steps] == [Outcome.PASSED, Outcome.ABORTED, None]


async def test_only_the_first_prompt_carries_the_cautions(bench):
    text = HEAD.replace("steps:", "cautions: [Disconnect the cell.]\nsteps:") + "  - prompt: One.\n  - prompt: Two.\n"
    run, _ = bench.start(text)
    await bench.verdict(run)
    assert [prompt.cautions for prompt in bench.prompts()] == [["Disconnect the cell."], []]


async def test_a_wait_lasts_as_long_as_it_says(bench):
    run, _ = bench.start(HEAD + "  - wait: 90 s\n")
    verdict = await bench.verdict(run)
    assert verdict.steps[0].duration_s == pytest.approx(90.0)
    assert verdict.reason == "All steps were done."


# --- test ---


async def test_measured_lines_of_a_port_become_measurements(bench):
    bench.instruments["port-1"].answers = [
        [
            LineResult(line="vbus", passed=True, value=5.02, unit="V"),
            LineResult(line="cc1", passed=False, says="open", value=1e6, unit="Ohm"),
        ]
    ]
    run, _ = bench.start(HEAD + "  - test: {port: lines}\n    failed: port-fault\n")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.PORT_FAULT)
    assert [(each.name, each.value, each.outcome) for each in verdict.measurements] == [
        ("port.vbus", 5.02, Outcome.PASSED),
        ("port.cc1", 1e6, Outcome.FAILED),
    ]


async def test_a_port_tester_without_lines_proves_nothing(bench):
    bench.instruments["port-1"].answers = [[]]
    run, _ = bench.start(HEAD + "  - test: {port: lines}\n")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA)


async def test_a_failed_test_that_is_only_followed_by_words_still_stands(bench):
    bench.instruments["port-1"].answers = [[LineResult(line="cc1", passed=False)]]
    text = HEAD + "  - test: {port: lines, as: before}\n    failed: port-fault\n"
    run, _ = bench.start(text + "  - prompt: Put the device aside.\n    only_if_failed: before\n")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.PORT_FAULT)
    assert [step.outcome for step in verdict.steps] == [Outcome.FAILED, Outcome.PASSED]


# --- watch ---


class ScriptedReader:
    """A reader that sees a restart at given times, and remembers what it was given.

    Half a second after each restart whose number is in ``taken_back``, it takes that back.
    """

    def __init__(
        self,
        settings,
        restarts_s=(),
        finding=Finding.RUNNING,
        outcome=Outcome.PASSED,
        taken_back=(),
        cadence=None,
        last_seen=(),
        onset_s=None,
    ):
        self.onset_s = onset_s
        self.last_seen = last_seen
        self.taken_back = {number: restarts_s[number - 1] for number in taken_back}
        self.cadence = cadence
        self.settings = settings
        self.todo = list(restarts_s)
        self.frames: list[Frame] = []
        self.usb: list[object] = []
        self.seen = 0
        self.finding, self.outcome = finding, outcome
        self.end_s = 0.0

    def take_frame(self, frame):
        self.frames.append(frame)
        if self.todo and frame.t_s[-1] >= self.todo[0]:
            self.seen += 1
            at_s = self.todo.pop(0)
            return [Restart(at_s, at_s + 0.1, self.seen, 0.99, ("current-collapse",), "the current fell", 0.05)]
        for number, at_s in self.taken_back.items():
            if frame.t_s[-1] >= at_s + 0.5:
                del self.taken_back[number]
                return [Revision(number, at_s, 0.2, counts=False, says="it was none")]
        return [Onset(frame.t_s[0], 0.3)] if len(self.frames) == 1 else []

    def take_usb(self, event):
        self.usb.append(event)
        return []

    def finish(self, end_s):
        self.end_s = end_s
        return BootReading(
            finding=self.finding,
            outcome=self.outcome,
            probability=0.9,
            says="As scripted.",
            onset_s=self.onset_s,
            restarts=(),
            stages=(Stage(1.0, 2.5, 0.3, 0.01, 0.4, 450.0, None),),
            cadence=self.cadence,
            standing_a=None,
            running_a=None,
            peak_a=0.6,
            measurements=[Measurement(name="peak-current", value=0.6, unit="A", outcome=Outcome.PASSED)],
            last_seen=self.last_seen,
        )


def scripted(*args, **options):
    readers: list[ScriptedReader] = []

    def make(settings):
        readers.append(ScriptedReader(settings, *args, **options))
        return readers[-1]

    return make, readers


async def test_the_reader_is_told_what_the_run_knows(bench):
    make, readers = scripted()
    text = (
        measuring("signal: supply.current, over: 1 s, max: 15 mA")
        + "  - prompt: Press.\n  - watch: {for: 20 s, signals: [supply.current, usb]}\n"
    )
    bench.instruments["psu"].load = lambda _: (3.85, 0.002, 0.0)
    run, _ = bench.start(text, make_reader=make)
    await bench.until(lambda: bool(readers))
    usb = UsbAttached(
        instrument="usb-1", at_s=bench.clock.monotonic_s(), path="1-1", vendor_id=0x1209, product_id=1, device_class=0
    )
    await bench.record(usb, owner="usb-1")
    verdict = await bench.verdict(run)
    settings = readers[0].settings
    assert (settings.set_v, settings.limit_a, settings.standing_a) == (3.85, 1.0, pytest.approx(0.002))
    assert settings.standing_max_a == pytest.approx(0.015)
    assert settings.prompted_s == pytest.approx(1.0, abs=0.1)
    assert readers[0].usb == [usb]
    assert readers[0].end_s == pytest.approx(21.0, abs=0.2)
    assert verdict.reason == "As scripted."
    assert "peak-current" in [each.name for each in verdict.measurements]


@pytest.mark.parametrize(
    ("options", "seen", "ends_s"),
    [(", fail_on: restart", 3, 9.0), (", fail_on: restart, stop_after: 1", 1, 3.0), ("", 5, 60.0)],
)
async def test_a_watch_that_fails_on_restarts_may_end_early(bench, options, seen, ends_s):
    make, readers = scripted((3.0, 6.0, 9.0, 12.0, 15.0), finding=Finding.RESTARTING, outcome=Outcome.FAILED)
    run, _ = bench.start(
        HEAD + ON + f"  - watch: {{for: 60 s, signals: [supply.current]{options}}}\n", make_reader=make
    )
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.RESTARTING)
    assert readers[0].end_s == pytest.approx(ends_s, abs=0.2)
    restarts = [each for each in verdict.evidence if each.type == "wakerail.restart-seen.v1"]
    assert [each.at_s for each in restarts] == [3.0, 6.0, 9.0, 12.0, 15.0][:seen]
    for each in verdict.evidence:
        assert bench.journal[each.journal_row - 1].id == each.event_id


async def test_a_restart_that_was_taken_back_does_not_end_a_watch(bench):
    make, readers = scripted((3.0, 6.0, 9.0), finding=Finding.RESTARTING, outcome=Outcome.FAILED, taken_back=(1,))
    text = HEAD + ON + "  - watch: {for: 60 s, signals: [supply.current], fail_on: restart, stop_after: 2}\n"
    run, _ = bench.start(text, make_reader=make)
    verdict = await bench.verdict(run)
    assert readers[0].end_s == pytest.approx(9.0, abs=0.2)
    (revised,) = (event for event in bench.events() if isinstance(event, RestartRevised))
    assert (revised.number, revised.counts, revised.probability) == (1, False, 0.2)
    (evidence,) = (each for each in verdict.evidence if each.type == "wakerail.restart-revised.v1")
    assert evidence.says == "Told anew: it was none, which counts no more."


async def test_a_restart_that_is_told_late_stands_in_its_place_in_the_evidence(bench):
    """It was announced as the third; that stays as it was."""
    late = Restart(4.0, 4.4, 3, 0.8, ("opening-again",), "the boot opened as the first did", 0.05)
    revised = Revision(1, 3.0, 0.999, counts=True, says="USB shows it, too")
    make, _ = scripted((3.0, 6.0), finding=Finding.RESTARTING, outcome=Outcome.FAILED, last_seen=(late, revised))
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 9 s, signals: [supply.current]}\n", make_reader=make)
    verdict = await bench.verdict(run)
    told = [(each.at_s, each.says) for each in verdict.evidence if "restart" in each.type]
    assert told == [
        (3.0, "The current fell."),
        (3.0, "Told anew: USB shows it, too."),
        (4.0, "The boot opened as the first did."),
        (6.0, "The current fell."),
    ]
    numbers = [event.number for event in bench.events() if isinstance(event, RestartSeen)]
    assert numbers == [1, 2, 3]


async def test_what_becomes_sure_at_the_end_of_a_watch_is_told_like_all_else(bench):
    last = Restart(4.0, 4.4, 1, 0.8, ("current-dip",), "the current fell", 0.05)
    make, _ = scripted(finding=Finding.RESTARTING, outcome=Outcome.FAILED, last_seen=(last,))
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 5 s, signals: [supply.current]}\n", make_reader=make)
    verdict = await bench.verdict(run)
    (evidence,) = (each for each in verdict.evidence if each.type == "wakerail.restart-seen.v1")
    assert evidence.at_s == 4.0


async def test_a_watch_tells_its_stages_and_how_sure_each_restart_is(bench):
    make, _ = scripted((3.0,), finding=Finding.RESTARTING, outcome=Outcome.FAILED)
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 5 s, signals: [supply.current]}\n", make_reader=make)
    await bench.verdict(run)
    (read,) = (event for event in bench.events() if isinstance(event, StagesRead))
    (stage,) = read.stages
    assert (read.count, stage.start_s, stage.end_s, stage.charge_ma_s) == (1, 1.0, 2.5, 450.0)
    (restart,) = (event for event in bench.events() if isinstance(event, RestartSeen))
    assert restart.probability == 0.99


async def test_the_verdict_says_what_the_trade_reads_from_the_cadence(bench):
    cadence = cadence_of([200.0 + 180.0 * number for number in range(7)], 0.1)
    make, _ = scripted(finding=Finding.RESTARTING, outcome=Outcome.FAILED, cadence=cadence)
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 5 s, signals: [supply.current]}\n", make_reader=make)
    verdict = await bench.verdict(run)
    assert verdict.reason.startswith("As scripted. A loop near three minutes")


class KnownHistory:
    """A history that knows four boots of a family: 300 mA for 2 s, then 150 mA."""

    def __init__(self, cadence=None, trouble=None):
        self.cadence, self.trouble = cadence, trouble
        self.asked: list[tuple[str, ...]] = []

    async def cadence_before(self, job, sequence):
        self.asked.append((job, sequence))
        if self.trouble is not None:
            await self.trouble()
        return self.cadence

    async def known_good(self, family, sequence, but):
        self.asked.append((family, sequence, but))
        if self.trouble is not None:
            await self.trouble()
        t_s = np.arange(0.0, 10.0, 0.05)
        return make_known_good([Boot(t_s, np.where(t_s < 2.0, 0.3, 0.15))] * 4)


async def watched_with(bench, history, usb=True, family=""):
    """Watch a boot that draws 300 mA from 1 s on; its device is on USB from 3 s on."""
    bench.instruments["psu"].load = lambda at_s: (3.85, 0.3 if at_s >= 1.0 else 0.0003, 0.0)
    make, readers = scripted(onset_s=1.0)
    text = HEAD + ON + "  - watch: {for: 12 s, signals: [supply.current, usb]}\n"
    run, _ = bench.start(text, make_reader=make, history=history, job="T-114", family=family)
    await bench.until(lambda: bench.clock.monotonic_s() > 3.0)
    if usb:
        ids = {"vendor_id": 0x1209, "product_id": 1, "device_class": 0}
        await bench.record(
            UsbAttached(instrument="usb-1", at_s=3.0, path="1-1", family="fenmoor-t3", **ids), owner="usb-1"
        )
    return await bench.verdict(run), readers[0].settings


async def test_a_watch_knows_how_the_job_restarted_and_says_how_its_boot_compares(bench):
    history = KnownHistory(cadence=cadence_of([200.0 + 180.0 * number for number in range(7)], 0.1))
    verdict, facts = await watched_with(bench, history)
    assert facts.cadence_before is history.cadence
    assert (
        verdict.reason == "As scripted. Like the known-good boot until 1.95 s, then 150 mA higher (known from 4 boots)."
    )
    assert history.asked == [("T-114", "try"), ("fenmoor-t3", "try", verdict.run)]


async def test_a_family_that_was_named_needs_no_usb(bench):
    history = KnownHistory()
    bench.families["tarn-2"] = DeviceFamily("tarn-2", "a terminal", 3.7, (), {})
    verdict, _ = await watched_with(bench, history, usb=False, family="tarn-2")
    assert "known-good boot" in verdict.reason
    assert history.asked[1] == ("tarn-2", "try", verdict.run)


async def test_a_device_that_usb_does_not_know_is_compared_with_none(bench):
    history = KnownHistory()
    verdict, facts = await watched_with(bench, history, usb=False)
    assert (verdict.reason, facts.cadence_before) == ("As scripted.", None)
    assert history.asked == [("T-114", "try")]


@pytest.mark.parametrize("way", ["raises", "hangs"])
async def test_a_watch_goes_on_without_a_history_that_fails(bench, troubles, logged, way):
    broken = {"raises": troubles.raising(OSError("the disk is gone")), "hangs": troubles.hang}[way]
    verdict, facts = await watched_with(bench, KnownHistory(trouble=broken))
    assert (verdict.outcome, verdict.reason) == (Outcome.PASSED, "As scripted.")
    assert facts.cadence_before is None
    said = [entry["why"] for entry in logged if entry["event"] == "earlier runs could not be looked up"]
    assert said == [{"raises": "the disk is gone", "hangs": "the history: not done within 5 s"}[way]] * 2


@pytest.mark.parametrize(
    ("finding", "outcome"),
    [(Finding.SUPPLY_LIMITED, Outcome.INCONCLUSIVE), (Finding.TOO_LITTLE_DATA, Outcome.INCONCLUSIVE)],
)
async def test_an_inconclusive_watch_ends_the_run_inconclusive(bench, finding, outcome):
    make, _ = scripted(finding=finding, outcome=outcome)
    run, _ = bench.start(
        HEAD + ON + "  - watch: {for: 5 s, signals: [supply.current]}\n  - wait: 1 s\n", make_reader=make
    )
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (outcome, finding)
    assert verdict.steps[2].outcome is None
    finished = [event for event in bench.events() if isinstance(event, StepFinished)]
    assert finished[1].finding == finding


async def test_a_watch_not_after_a_prompt_begins_with_itself(bench):
    make, readers = scripted()
    text = HEAD + ON + "  - prompt: Press.\n  - wait: 10 s\n  - watch: {for: 5 s, signals: [supply.current]}\n"
    run, _ = bench.start(text, make_reader=make)
    await bench.verdict(run)
    assert readers[0].settings.prompted_s is None
    assert readers[0].frames[0].t_s[0] >= 10.0


async def test_a_watch_sees_what_was_drawn_before_the_prompt_where_that_was_measured(bench):
    """Who presses at once leaves no sample of the meter's noise else: a collapse to nothing was then missed."""
    make, readers = scripted()
    bench.instruments["psu"].load = lambda _: (3.85, 0.002, 0.0)
    text = measuring("signal: supply.current, over: 2 s, max: 15 mA")
    run, _ = bench.start(
        text + "  - prompt: Press.\n  - watch: {for: 5 s, signals: [supply.current]}\n", make_reader=make
    )
    await bench.verdict(run)
    before_s = readers[0].settings.prompted_s - readers[0].frames[0].t_s[0]
    assert before_s == pytest.approx(1.0, abs=0.3)


async def test_a_watch_looks_back_half_a_minute_at_most(bench):
    bench.confirm = None
    make, readers = scripted()
    run, _ = bench.start(
        HEAD + ON + "  - prompt: Press.\n  - watch: {for: 5 s, signals: [supply.current]}\n", make_reader=make
    )
    await bench.until(lambda: bench.clock.monotonic_s() > 100.0)
    run.answer(bench.prompts()[0].id, True)
    await bench.verdict(run)
    assert readers[0].frames[0].t_s[0] == pytest.approx(70.0, abs=0.2)
    assert [frame.number for frame in readers[0].frames] == list(
        range(readers[0].frames[0].number, readers[0].frames[-1].number + 1)
    )


async def test_a_watch_whose_evidence_cannot_be_recorded_ends(bench, troubles):
    """The journal hangs on the onset: the bench, not the device, is at fault."""
    make, _ = scripted()
    bench.at = lambda words: troubles.hang if words == "record OnsetSeen" else None
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 60 s, signals: [supply.current]}\n", make_reader=make)
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)


async def test_a_watch_that_cannot_keep_up_says_so_instead_of_missing_frames(bench):
    make, readers = scripted()
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 60 s, signals: [supply.current]}\n", make_reader=make)
    await bench.until(lambda: bool(readers))
    psu = bench.instruments["psu"]
    for _ in range(10_002):
        bench.bus.publish(topics.instrument(bench.name, "psu", "frame"), psu.frame())
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert "cannot keep up" in verdict.reason


async def test_an_instrument_out_of_step_is_a_bench_fault_in_a_test_too(bench, troubles):
    bench.instruments["port-1"].trouble["lines"] = troubles.raising(OutOfSync("port-1: an answer was garbled"))
    run, _ = bench.start(HEAD + "  - test: {port: lines}\n")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
    assert verdict.reason == "The bench could not go on: port-1: an answer was garbled."


async def test_frames_of_another_instrument_are_not_read(bench):
    make, readers = scripted()
    run, _ = bench.start(HEAD + ON + "  - watch: {for: 3 s, signals: [supply.current]}\n", make_reader=make)
    await bench.until(lambda: bool(readers))
    stranger = bench.instruments["psu"].frame()
    stranger = Frame(**{name: getattr(stranger, name) for name in stranger.__struct_fields__} | {"instrument": "psu-2"})
    bench.bus.publish(topics.instrument(bench.name, "psu-2", "frame"), stranger)
    await bench.verdict(run)
    assert {frame.instrument for frame in readers[0].frames} == {"psu"}
    await asyncio.sleep(0)


def test_a_sequence_of_this_file_is_valid():
    parse_sequence(measuring("signal: supply.current, over: 1 s"), "try.yaml")
