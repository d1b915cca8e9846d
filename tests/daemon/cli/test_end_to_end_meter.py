"""What a technician does with a meter's probes: from the command line over MQTT and SCPI to the board and back."""

from __future__ import annotations

from wakerail_kit.outcome import Finding, Outcome

PROMPT = "(Enter when done"


async def answer_with_probes(run, bench, *hands):
    """At each prompt do something with the probes, if anything, and press Enter."""
    for count, line in enumerate(hands, 1):
        await run.says(PROMPT, times=count)
        if line:
            await bench.hands(line)
        await run.type("\n")


async def test_a_shorted_line_is_found_and_a_meter_that_goes_away_is_no_finding(shop):
    async with shop.bench("--fault", "line-shorted:battery.1") as bench:
        survey = ("line-survey", "--family", "fenmoor-t3", "--set", "connector=battery", "--operator", "ilse")
        run = await bench.run(*survey)
        await answer_with_probes(
            run, bench, "", *(f"probe {at}" for at in ("together", *(f"battery.{n}" for n in "123")))
        )
        assert await run.ends() == 1
        verdict = shop.verdict(run)
        assert (verdict.outcome, verdict.finding) == (Outcome.FAILED, Finding.LINE_SHORTED)
        assert "cell-plus (pin 1) is shorted to ground" in verdict.reason
        assert [one.outcome for one in verdict.measurements] == [Outcome.FAILED, Outcome.PASSED, Outcome.PASSED]
        assert {used.kind for used in verdict.instruments} == {"multimeter", "power-source"}
        run = await bench.run(*survey)
        await answer_with_probes(run, bench, "", "unplug meter")
        assert await run.ends() == 5
        assert shop.verdict(run).finding == Finding.BENCH_FAULT
