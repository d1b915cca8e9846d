"""What the shipped sequences say of each device, from the command line to the verdict."""

from __future__ import annotations

import asyncio

import msgspec
import pytest

from wakerail.config import shipped
from wakerail_kit.families import load_families
from wakerail_kit.messages import InstrumentState
from wakerail_sim.bench import SimSettings, SimulatedBench, parse_fault

FAMILY = next(family for family in load_families(shipped("devices")) if family.name == "fenmoor-t3")


class Table:
    """A bench whose devices change: one daemon, and far ends that come and go as their mains switch does."""

    def __init__(self, shop):
        self._shop = shop
        self._port = self._meter_port = 0
        self._far_ends = None
        self.bench = None

    def put(self, *faults):
        """Put a device with these faults on the bench; return the addresses of the far ends."""
        settings = SimSettings(
            self._shop.folder / "sim",
            FAMILY,
            self._port,
            meter_port=self._meter_port,
            faults=tuple(parse_fault(text) for text in faults),
        )
        self._far_ends = SimulatedBench(settings)
        addresses = msgspec.to_builtins(self._far_ends.start())
        self._port, self._meter_port = (int(addresses[name].split("::")[2]) for name in ("supply", "meter"))
        return addresses

    async def change(self, *faults):
        """Take the device away with its simulator, and put another one there."""
        await asyncio.to_thread(self._far_ends.stop)
        await self.bench.are(InstrumentState.UNAVAILABLE, "supply", "usb")
        await asyncio.to_thread(self.put, *faults)
        await self.bench.are(InstrumentState.READY, "supply", "usb")

    def clear(self):
        self._far_ends.stop()


async def watch_boots(shop, *devices):
    """Watch the boot of one device after another; return what the command line concluded of each."""
    table = Table(shop)
    config = shop.configure(await asyncio.to_thread(table.put, *devices[0][0]))
    concluded = []
    try:
        async with shop.daemon(config) as (daemon, url):
            table.bench = bench = shop.bench_of(config, daemon, url)
            for place, (faults, inputs) in enumerate(devices):
                if place:
                    await table.change(*faults)
                program = await bench.boot_watch(*inputs)
                code = await program.ends()
                verdict = shop.verdict(program)
                concluded.append((code, verdict.outcome, verdict.finding))
                booted = any(one.type == "wakerail.onset-seen.v1" for one in verdict.evidence)
                assert ("known-good boot" in verdict.reason) == booted  # the daemon looked it up in its journal
                assert await bench.output_is_off()
                assert bench.kept_verdicts()[-1] == verdict
            assert await daemon_is_well(bench)
    finally:
        await asyncio.to_thread(table.clear)
    return concluded


async def daemon_is_well(bench):
    return bench.daemon.running and "Traceback" not in bench.daemon.err


@pytest.mark.timeout(120)
async def test_the_boot_watch_tells_devices_apart(shop):
    lanes = await asyncio.gather(
        watch_boots(
            shop.branch("a"),
            ([], ["window=17 s"]),
            (["standing-draw:40mA"], []),
            (["dead-short"], []),
            ([], ["window=2 s"]),
        ),
        watch_boots(
            shop.branch("b"),
            (["sleep-wake"], ["window=19.2 s"]),
            (["no-draw"], ["window=5.2 s"]),
        ),
        watch_boots(
            shop.branch("c"),
            (["stalls-at-stage:loader"], ["window=13 s"]),
            (["restart-at-stage:loader"], ["window=30 s"]),
        ),
    )
    # A device that sleeps and wakes never counts as restarting; whether it counts as settled is a matter of moments.
    assert lanes[1].pop(0)[1:] in {("Passed", "running"), ("Inconclusive", "too-little-data")}
    assert lanes == [
        [
            (0, "Passed", "running"),
            (1, "Failed", "standing-draw"),
            (1, "Failed", "hard-short"),
            (3, "Inconclusive", "too-little-data"),
        ],
        [
            (1, "Failed", "no-draw"),
        ],
        [
            (1, "Failed", "stalled"),
            (1, "Failed", "restarting"),
        ],
    ]


async def test_a_limit_that_holds_the_boot_back_is_no_finding_about_the_device(shop):
    async with shop.bench() as bench:
        program = await bench.boot_watch("limit=500 mA", "window=4 s")
        assert await program.ends() == 3
        verdict = shop.verdict(program)
        assert (verdict.outcome, verdict.finding) == ("Inconclusive", "supply-limited")
        assert "500 mA" in verdict.reason
        assert await bench.output_is_off()


async def test_rail_check_and_port_check_at_the_prompt(shop):
    async with shop.bench("--fault", "dirty-port", "--fault", "plate-sensor-open-after:0s") as bench:
        rail = await bench.run("rail-check")
        assert await rail.ends() == 0  # the plate has no part in it
        assert shop.verdict(rail).finding == "rail-quiet"

        left_dirty = await bench.run("port-check")
        await bench.confirm(left_dirty)
        assert await left_dirty.ends() == 1
        assert shop.verdict(left_dirty).finding == "port-fault"

        cleaned = await bench.run("port-check")
        await bench.confirm(cleaned, "clean port")
        assert await cleaned.ends() == 0
        assert shop.verdict(cleaned).finding == "port-clear"
