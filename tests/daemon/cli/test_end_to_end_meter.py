"""What a technician does with a meter's probes: from the command line over MQTT and SCPI to the board and back."""

from __future__ import annotations

import pytest

from wakerail.journal import JournalReader
from wakerail_kit.events import SettingApplied, type_of
from wakerail_kit.outcome import Finding, Outcome

PROMPT = "(Enter when done"


async def answer_with_probes(run, bench, *hands):
    """At each prompt do something with the probes, if anything, and press Enter."""
    for count, line in enumerate(hands, 1):
        await run.says(PROMPT, times=count)
        if line:
            await bench.hands(line)
        await run.type("\n")


async def test_a_short_is_surveyed_and_found_by_warmth(shop):
    async with shop.bench("--fault", "dead-short:0.4Ohm") as bench:
        await survey(shop, bench)
        await inject(shop, bench)


async def survey(shop, bench):
    """The shorted line is named."""
    run = await bench.run("line-survey", "--family", "fenmoor-t3", "--set", "connector=battery")
    places = ("together", "battery.1", "battery.2", "battery.3")
    await answer_with_probes(run, bench, "", *(f"probe {place}" for place in places))
    assert await run.ends() == 1
    verdict = shop.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.LINE_SHORTED)
    assert "cell-plus (pin 1) is shorted to ground" in verdict.reason
    assert [one.outcome for one in verdict.measurements] == [Outcome.FAILED, Outcome.PASSED, Outcome.PASSED]
    assert {used.kind for used in verdict.instruments} == {"multimeter", "power-source"}


async def inject(shop, bench):
    """It ends by itself, and still asks what was warm."""
    run = await bench.run("inject", "--family", "fenmoor-t3", "--set", "time=1 s")
    await answer_with_probes(run, bench, "", "", "probe together", "probe battery.1", "probe off")
    await run.says("Look for warmth")
    await bench.becomes_safe()
    await run.says(PROMPT, times=6)
    await run.type("note the capacitor beside J1\n")
    for count, hand in enumerate(("probe off", "probe battery.1"), 7):
        await run.says(PROMPT, times=count)
        await bench.hands(hand)
        await run.type("\n")
    assert await run.ends() == 1
    verdict = shop.verdict(run)
    assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.SHORT_STAYS)
    assert "warm spot: the capacitor beside J1" in verdict.reason
    measured = {one.name: one.value for one in verdict.measurements}
    assert measured["injected.current mean"] == pytest.approx(1.0, abs=0.05)
    assert measured["injected.voltage mean"] == pytest.approx(0.4, abs=0.05)
    assert await bench.is_safe()


async def test_nothing_is_injected_into_a_board_with_its_cell_in(shop):
    async with shop.bench("--fault", "dead-short:0.4Ohm", "--fault", "cell-connected") as bench:
        run = await bench.run("inject", "--family", "fenmoor-t3", "--set", "time=1 s")
        await answer_with_probes(run, bench, "", "", "probe together", "probe battery.1")
        assert await run.ends() == 5
        verdict = shop.verdict(run)
        assert (verdict.outcome, verdict.finding) == (Outcome.INCONCLUSIVE, Finding.BENCH_FAULT)
        assert "J1, the battery's connector" in verdict.reason
        with JournalReader(str(bench.journal)) as reader:
            applied = [entry.message.data for entry in reader.events(type=type_of(SettingApplied))]
        assert not any(one["setting"] == "output" and one["value"] for one in applied)
        assert await bench.is_safe()
