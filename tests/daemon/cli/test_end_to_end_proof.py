"""The last check before a device goes back, as a technician does it: one verdict of boot, USB, charging, functions."""

from __future__ import annotations

import asyncio

import pytest

from wakerail_kit.outcome import Finding, Outcome

ENTER, CHOICES = "(Enter when done", "a text after the key is kept)"


async def proof(shop, bench, port, **said):
    """Prove a device; at the charge port the supply is clipped to ``port``. ``said`` are answers other than yes."""
    times = ("least=17 s", "charge=2 s")
    run = await bench.run("proof", "--family", "fenmoor-t3", *(part for text in times for part in ("--set", text)))
    hands = (None, "press power-button", f"clip {port}", "clip battery")
    for count, line in enumerate(hands, 1):
        await run.says(ENTER, times=count)
        if line:
            assert count == 2 or await bench.output_is_off()  # but for the boot nothing is moved under power
            await bench.hands(line)
        await run.type("\n")
    for count, function in enumerate(("display", "touch", "keypad", "scanner", "radio", "speaker", "sensor"), 1):
        await run.says(CHOICES, times=count)
        await run.type(said.get(function, "yes") + "\n")
    code = await run.ends()
    assert await bench.is_safe()
    return code, shop.verdict(run)


async def test_a_proof_tells_all_in_one_verdict(shop):
    """On two benches at once: a sound device passes; one that does not charge, and scans badly, fails for both."""
    async with asyncio.TaskGroup() as together:
        together.create_task(passes(shop.branch("sound")))
        together.create_task(fails(shop.branch("bad")))


async def passes(shop):
    async with shop.bench() as bench:
        code, verdict = await proof(shop, bench, "port")
    assert (code, verdict.outcome, verdict.finding) == (0, Outcome.PASSED, Finding.PROVED), verdict.reason
    for told in ("USB shows the fenmoor-t3 in its normal mode.", "It charges with", "All 7 functions work."):
        assert told in verdict.reason
    measured = {one.name: one.value for one in verdict.measurements}
    assert measured["charge.current mean"] == pytest.approx(0.85, abs=0.05)
    assert measured["restarts"] == 0
    assert {used.kind for used in verdict.instruments} == {"power-source", "usb-watcher"}


async def fails(shop):
    async with shop.bench() as bench:
        code, verdict = await proof(shop, bench, "battery", scanner="no only up close")
    assert (code, verdict.outcome, verdict.finding) == (1, Outcome.FAILED, Finding.CHARGE_FAULT), verdict.reason
    assert verdict.reason.startswith("It charges with")
    assert verdict.reason.endswith("1 of 7 functions failed: scanner (only up close).")
    outcomes = {step.verb: step.outcome for step in verdict.steps}
    assert (outcomes["watch"], outcomes["usb-mode"]) == (Outcome.PASSED, Outcome.PASSED)
    assert (outcomes["charge"], outcomes["checklist"]) == (Outcome.FAILED, Outcome.FAILED)
