"""However a run ends, the bench is safe, and whoever waits is told."""

from __future__ import annotations

import signal

from wakerail_kit.messages import InstrumentState

PROMPT = "(Enter when done"
WATCHING = "Watch the boot"


async def test_a_person_stops_a_run_at_its_prompt_and_in_its_watch(shop):
    async with shop.bench() as bench:
        said_no = await bench.run("boot-watch", "--set", "window=60 s")
        await said_no.says(PROMPT)
        assert " output=on " in await bench.hands("state")
        await said_no.type("n\n")
        assert await said_no.ends() == 4
        assert shop.verdict(said_no).finding == "stopped"
        assert await bench.output_is_off()

        at_prompt = await bench.run("boot-watch", "--set", "window=60 s")
        await at_prompt.says(PROMPT)
        at_prompt.signal(signal.SIGINT)
        assert await at_prompt.ends() == 4
        verdict = shop.verdict(at_prompt)
        assert (verdict.outcome, verdict.finding) == ("Aborted", "stopped")
        assert await bench.output_is_off()

        in_watch = await bench.boot_watch("window=60 s")
        await in_watch.says(WATCHING)
        in_watch.signal(signal.SIGINT)
        assert await in_watch.ends() == 4
        assert shop.verdict(in_watch).outcome == "Aborted"
        assert await bench.output_is_off()

        assert [kept.outcome for kept in bench.kept_verdicts()] == ["Aborted"] * 3
        assert bench.daemon.running


async def test_a_supply_that_fails_in_a_run_is_no_finding_about_the_device(shop):
    async with shop.bench() as bench:
        for mishap, remedy in (
            ("garble supply 3", "state"),
            ("unplug supply", "replug supply"),
            ("hang supply 3 s", ""),
        ):
            program = await bench.boot_watch("window=60 s")
            await program.says(WATCHING)
            await bench.hands(mishap)
            assert await program.ends() == 5
            verdict = shop.verdict(program)
            assert (verdict.outcome, verdict.finding) == ("Inconclusive", "bench-fault")
            assert "supply" in verdict.reason
            if remedy:
                await bench.hands(remedy)
                await bench.are(InstrumentState.READY, "supply")
                assert await bench.output_is_off()  # whatever the link did, it was switched off on its return
        assert bench.daemon.running
        assert "Traceback" not in bench.daemon.err


async def test_a_daemon_that_is_told_to_end_aborts_the_run_and_switches_off(shop):
    async with shop.bench() as bench:
        program = await bench.boot_watch("window=60 s")
        await program.says(WATCHING)
        bench.daemon.signal(signal.SIGTERM)
        assert await bench.daemon.ends(10) == 0
        assert await bench.output_is_off()
        (kept,) = bench.kept_verdicts()
        assert (kept.outcome, kept.finding) == ("Aborted", "stopped")
        assert await program.ends() == 4
        assert shop.verdict(program) == kept


async def test_a_worker_left_alone_switches_off_and_loses_nothing(shop):
    async with shop.sim() as addresses:
        config = shop.configure(addresses)
        async with shop.daemon(config) as (daemon, url):
            bench = shop.bench_of(config, daemon, url)
            program = await bench.boot_watch("window=60 s")
            await program.says(WATCHING)
            daemon.signal(signal.SIGKILL)  # the supervisor: there is nobody who would start another worker
            await daemon.says("the supervisor is gone, so the bench is not served any more")
            assert await program.ends() == 4
            assert await bench.is_safe()
            assert bench.kept_verdicts() == [shop.verdict(program)]
