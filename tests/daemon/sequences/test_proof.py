"""The proof on a bench in memory: the boot, USB, charging, and what a person says of each function."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail.analysis.cadence import cadence_of
from wakerail.config import shipped
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import PromptAnswered, UsbAttached, UsbDetached
from wakerail_kit.families import DeviceFamily, load_families
from wakerail_kit.outcome import Finding, Outcome

FAMILY = next(family for family in load_families(shipped("devices")) if family.name == "fenmoor-t3")
TEXT = (Path(__file__).parents[3] / "config" / "sequences" / "proof.yaml").read_text()
HEAD = "sequence: try\npurpose: A try.\nneeds: {supply: power-source, usb: usb-watcher}\nsteps:\n"
IDS = {"vendor_id": 0x1209, "product_id": 3, "device_class": 0xEF}


class Device:
    """A device on the bench in memory: it boots 1 s after its button was pressed, and charges from 5 V."""

    def __init__(self, bench, *, restarts_every_s=None, charges_a=0.85, shows="normal"):
        self.bench, self.every_s, self.charges_a, self.shows = bench, restarts_every_s, charges_a, shows
        self.pressed_s = None
        bench.families[FAMILY.name] = FAMILY
        bench.instruments["psu"].load = self.load
        bench.hands = self.follow

    def follow(self, prompt):
        if "power-button" in prompt.text:
            self.pressed_s = self.bench.clock.monotonic_s() + 1.0

    def load(self, t_s):
        if self.bench.instruments["psu"].settings["volts"] > 4.4:
            return 4.98, self.charges_a, 0.0
        since_s = -1.0 if self.pressed_s is None else t_s - self.pressed_s
        if since_s < 0:
            return 3.85, 0.001, 0.0
        if self.every_s is not None:
            since_s %= self.every_s
            if since_s < 0.4:
                return 3.85, 0.001, 0.0
        amps = 0.09 if since_s < 1.5 else 0.62 if since_s < 4.0 else 0.30 + 0.04 * (int(since_s * 3) % 2)
        return 3.85, amps, 0.0

    async def attach(self, mode, at="1-1"):
        bench = self.bench
        attached = UsbAttached(
            instrument="usb-1", at_s=bench.clock.monotonic_s(), path=at, family=FAMILY.name, mode=mode,
            mode_order=2, last_order=2, **IDS,
        )  # fmt: skip
        await bench.record(attached, owner="usb-1")

    async def proved(self, inputs=None, **options):
        """Run the proof; the device shows on USB when it has come up."""
        run, _ = self.bench.start(TEXT, {"least": "20 s", **(inputs or {})}, FAMILY.name, **options)
        if self.shows:
            await self.bench.until(lambda: self.pressed_s is not None or run.done.done())
            if not run.done.done():
                await self.bench.until(lambda: self.bench.clock.monotonic_s() > self.pressed_s + 5.0)
                await self.attach(self.shows)
        return await self.bench.verdict(run, 3000.0)


async def test_a_sound_device_is_proved_and_the_reason_tells_every_part(bench):
    verdict = await Device(bench).proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.PASSED, Finding.PROVED), verdict.reason
    for told in (
        "It started",
        "USB shows the fenmoor-t3 in its normal mode.",
        "It charges with 850 mA",
        "All 7 functions",
    ):
        assert told in verdict.reason or told == "It started", verdict.reason
    names = {one.name for one in verdict.measurements}
    assert {"restarts", "charge.current mean", "charge.voltage min", "function scanner"} <= names
    assert not bench.anything_on()
    assert bench.instruments["psu"].settings["volts"] == 5.0
    asked = [prompt for prompt in bench.prompts() if prompt.choices]
    assert [prompt.text for prompt in asked] == [function.asks for function in FAMILY.functions]


class Before:
    """A history in which the job's boot watch restarted with this cadence."""

    def __init__(self, cadence):
        self.cadence, self.asked = cadence, []

    async def cadence_before(self, job, sequence):
        self.asked.append((job, sequence))
        return self.cadence

    async def known_good(self, family, sequence, but):
        raise OSError("no history of boots here")


async def test_the_watch_is_as_long_as_the_jobs_earlier_restarts_ask_for(bench):
    history = Before(cadence_of([30.0 * number for number in range(7)], 0.1))
    verdict = await Device(bench).proved(history=history, job="T-114")
    assert history.asked == [("T-114", "boot-watch")]
    assert verdict.finding == Finding.PROVED, verdict.reason
    watched = next(step for step in verdict.steps if step.verb == "watch")
    assert watched.duration_s == pytest.approx(90.0, abs=1.0)
    assert "3 rounds of the loop that it had before" in verdict.reason
    assert "the regular loop is gone" in verdict.reason


async def test_a_device_that_still_restarts_fails_at_once(bench):
    verdict = await Device(bench, restarts_every_s=5.1, shows="").proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.RESTARTING)
    assert "charge" not in {step.verb for step in verdict.steps if step.outcome is not None}


async def test_what_fails_after_a_clean_boot_is_all_told_in_one_verdict(bench):
    """USB, charging and a function fail; every part is gone through, and the output is off before anything is moved."""
    device = Device(bench, charges_a=1.3, shows="loader")
    bench.choose = lambda prompt: ("no", "only up close") if "label" in prompt.text else ("yes", "")
    verdict = await device.proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.NOT_ENUMERATED)
    assert verdict.reason.index("loader mode") < verdict.reason.index("more than the") < verdict.reason.index("1 of 7")
    failed = {step.verb for step in verdict.steps if step.outcome is Outcome.FAILED}
    assert failed == {"usb-mode", "charge", "checklist"}
    assert not bench.anything_on()
    off_before = [point for point in bench.points if point.startswith(("apply psu output", "prompt"))]
    for place, point in enumerate(off_before):
        if point.startswith("prompt") and place and ("Take the supply off" in point):
            assert off_before[place - 1] == "apply psu output False"


async def test_a_failure_stands_though_all_that_follows_passes(bench):
    verdict = await Device(bench, charges_a=0.01).proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.CHARGE_FAULT)
    assert verdict.reason.startswith("It charges with 10 mA, less than")
    assert "functions work" not in verdict.reason
    assert {step.verb: step.outcome for step in verdict.steps}["checklist"] is Outcome.PASSED


async def test_what_could_not_be_told_is_no_failure_beside_one(bench):
    """Nobody looks at the functions, and it charges too little: that it failed is what counts."""
    bench.person = False
    bench.choose = lambda _: ("", "")
    verdict = await Device(bench, charges_a=0.01).proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.CHARGE_FAULT)
    assert "Nobody looked at display" in verdict.reason


async def test_a_proof_that_is_ended_by_hand_tells_what_had_failed_before(bench):
    device = Device(bench, charges_a=0.01)
    run, _ = bench.start(TEXT, {"least": "20 s"}, FAMILY.name)
    await bench.until(lambda: device.pressed_s is not None)
    await bench.until(lambda: bench.clock.monotonic_s() > device.pressed_s + 5.0)
    await device.attach("normal")
    answered, confirm = bench.hands, bench.confirm

    def hands(prompt):
        answered(prompt)
        bench.confirm = None if prompt.choices else confirm

    bench.hands = hands
    await bench.until(lambda: any(prompt.choices for prompt in bench.prompts()))
    run.abort("no time left")
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.ABORTED, Finding.STOPPED)
    assert verdict.reason.startswith("Aborted: no time left. Before that: It charges with 10 mA")


@pytest.mark.parametrize(("shows", "told"), [("loader", "it shows a fenmoor-t3 in its loader mode"), ("", "nothing")])
async def test_a_device_that_does_not_come_to_its_normal_mode_fails(bench, shows, told):
    device = Device(bench)
    bench.families[FAMILY.name] = FAMILY
    run, _ = bench.start(HEAD + "  - usb-mode: {usb: normal, within: 3 s}\n", {}, FAMILY.name)
    if shows:
        await device.attach(shows)
    verdict = await bench.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.NOT_ENUMERATED)
    assert told in verdict.reason


async def test_a_mode_that_comes_in_time_passes_and_one_that_left_does_not_count(bench):
    device = Device(bench)
    run, _ = bench.start(HEAD + "  - usb-mode: {usb: normal, within: 10 s}\n", {}, FAMILY.name)
    await device.attach("normal")
    gone = UsbDetached(instrument="usb-1", at_s=0.0, path="1-1")
    await bench.record(gone, owner="usb-1")
    await bench.until(lambda: bench.clock.monotonic_s() > 5.0)
    assert not run.done.done()
    await device.attach("normal", at="1-2")
    assert (await bench.verdict(run)).outcome == Outcome.PASSED


@pytest.mark.parametrize("charges_a", [0.01, 1.3])
async def test_charging_outside_the_familys_limits_fails_and_the_output_is_off(bench, charges_a):
    verdict = await Device(bench, charges_a=charges_a).proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.CHARGE_FAULT)
    measured = next(one for one in verdict.measurements if one.name == "charge.current mean")
    assert (measured.value, measured.outcome) == (pytest.approx(charges_a), Outcome.FAILED)
    assert not bench.anything_on()


async def test_a_no_fails_the_checklist_and_names_the_function_with_its_note(bench):
    device = Device(bench)
    bench.choose = lambda prompt: ("no", "only up close") if "label" in prompt.text else ("yes", "")
    verdict = await device.proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.FUNCTION_FAILED)
    assert verdict.reason == "1 of 7 functions failed: scanner (only up close)."
    assert "scanner: no; only up close." in {one.says for one in verdict.evidence}


async def test_a_script_proves_no_function(bench):
    bench.person = False
    device = Device(bench)
    bench.choose = lambda _: ("", "")
    verdict = await device.proved()
    assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA)
    assert verdict.reason.startswith("Nobody looked at display, touch")


async def test_an_answer_that_is_none_of_the_choices_is_refused(bench):
    Device(bench)
    bench.confirm = None
    run, _ = bench.start(HEAD + "  - checklist: functions\n", {}, FAMILY.name)
    await bench.until(lambda: bool(bench.prompts()))
    prompt = bench.prompts()[0]
    for choice in ("", "perhaps"):
        with pytest.raises(ConfigInvalid, match="answer yes, no, not there"):
            run.answer(prompt.id, True, "Ilse", choice=choice)
    run.answer(prompt.id, True, "Ilse", choice="not there")
    await bench.until(lambda: len(bench.prompts()) == 2)
    assert [one.choice for one in bench.events() if isinstance(one, PromptAnswered)] == ["not there"]
    run.answer(bench.prompts()[1].id, False, "Ilse")
    assert (await bench.verdict(run)).outcome == Outcome.ABORTED


async def test_a_family_without_what_a_proof_asks_for_is_refused_before_anything_is_on(bench):
    bench.families[FAMILY.name] = FAMILY
    bench.families["tarn-2"] = DeviceFamily("tarn-2", "a terminal", 3.7, (), {})
    with pytest.raises(ConfigInvalid) as refused:
        bench.start(TEXT, {}, "tarn-2")
    assert list(refused.value.problems) == [
        "tarn-2 has no boot mode 'normal'; known here: none",
        "tarn-2 does not say how it charges",
        "tarn-2 has no list of functions",
    ]
