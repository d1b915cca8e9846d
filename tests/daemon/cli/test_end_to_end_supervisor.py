"""Whatever ends the worker, with heater and output on: the bench is switched off, served again, and nothing resumed."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import resource
import signal
import sqlite3

import pytest

from wakerail.bus import BusClient
from wakerail.cli.following import follow_run
from wakerail.cli.terminal import Reply
from wakerail.journal import JournalReader
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.events import MadeSafe, WorkerDied, any_data
from wakerail_kit.messages import Event, RunSequence
from wakerail_kit.outcome import Outcome

HEAT = """\
sequence: heat
purpose: Output and heater on.
needs: {supply: power-source, plate: heat-source}
steps:
  - prompt: Confirm.
  - wait: 1 s  # a plate is not heated before its sensor has been seen to read
  - supply: {volts: 3.85 V, limit: 1 A, output: on}
  - plate: {temperature: 120 degC, heater: on}
  - wait: 600 s
finally:
  - supply: {output: off}
  - plate: {heater: off}
"""
READY = " is ready; broker "


@contextlib.asynccontextmanager
async def heatable(shop):
    """A bench whose own sequence switches everything on."""
    (shop.folder / "sequences").mkdir()
    (shop.folder / "sequences" / "heat.yaml").write_text(HEAT)
    async with shop.bench() as bench:
        yield bench


class Person:
    """Confirms every prompt, at the bench."""

    def take(self, topic, message): ...

    async def answer(self, prompt):
        return Reply(confirmed=True)

    async def wish(self):
        await asyncio.Event().wait()


async def heat(bench):
    """Begin a run and wait until everything is on; return what will be its verdict."""

    async def follow():
        async with BusClient(bench.url, "shop") as client:
            request = RunSequence(sequence="heat", operator="Ilse")
            return await follow_run(client, request, Person(), asyncio.Event())

    following = asyncio.ensure_future(follow())
    async with asyncio.timeout(20):
        while not (" output=on " in (seen := await bench.hands("state")) and " heater=on " in seen):
            pass  # each look takes its time
    return following


async def is_cut_off(following):
    with pytest.raises(DeviceUnavailable):
        await following


def deaths(journal):
    """Return how each worker died, and what was walked over then, as the journal has it."""
    with JournalReader(str(journal)) as reader:
        kept = [any_data(each.message) for each in reader.messages() if isinstance(each.message, Event)]
    found = []
    for data in kept:
        if isinstance(data, WorkerDied):
            found.append((data.how, data.not_reached, {}))
        elif isinstance(data, MadeSafe) and found and len(found[-1][2]) < 2:
            found[-1][2][data.instrument] = data.reached
    return found


async def test_nothing_that_ends_the_worker_leaves_anything_on(shop):
    walked = ([], {"supply": True, "plate": True})
    async with heatable(shop) as bench:
        followed = await heat(bench)
        os.kill(bench.worker, signal.SIGKILL)
        await bench.becomes_safe()
        await is_cut_off(followed)
        await bench.daemon.says(READY, times=2)
        assert await bench.is_safe()  # and stays so: nothing is resumed
        assert deaths(bench.journal) == [("was killed by SIGKILL", *walked)]
        assert bench.kept_verdicts() == []
        with JournalReader(str(bench.journal)) as journal:
            assert journal.run("last").cut_off

        followed = await heat(bench)
        worker, full = bench.worker, (1024, resource.RLIM_INFINITY)  # as a full disk: no file grows beyond a kilobyte
        for process in (bench.daemon.pid, worker):
            resource.prlimit(process, resource.RLIMIT_FSIZE, full)
        os.kill(worker, signal.SIGKILL)
        await bench.becomes_safe()
        await is_cut_off(followed)
        await bench.daemon.says("not in the journal yet")
        resource.prlimit(bench.daemon.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
        await bench.daemon.says(READY, times=3)
        async with asyncio.timeout(10):
            while [how for how, *_ in deaths(bench.journal)].count("was killed by SIGKILL") < 2:
                await bench.hands("state")  # the next worker writes it, once it can

        followed = await heat(bench)
        with contextlib.closing(sqlite3.connect(bench.journal)) as other:
            other.execute("BEGIN IMMEDIATE")  # another program locks the journal
            os.kill(bench.worker, signal.SIGSTOP)  # and the worker hangs
            await bench.becomes_safe()
            await bench.daemon.says("made safe", times=6)
        await is_cut_off(followed)
        await bench.daemon.says(READY, times=4)
        assert deaths(bench.journal)[-1] == ("gave no sign of life for 3 s", *walked)
        assert await bench.is_safe()
    assert "Traceback" not in bench.daemon.err


async def test_everything_off_by_hand(shop):
    async with heatable(shop) as bench:
        config = str(bench.config)
        followed = await heat(bench)
        code, asked = await shop.command("safe", "--config", config)  # of the daemon, by its bus
        assert code == 0, asked.out + asked.err
        assert await bench.is_safe()
        for seen in ("✔ safe", "output off", "heater off", "has nothing to switch off"):
            assert seen in asked.out
        assert (await followed).reason == "Aborted: everything was switched off by hand."

        followed = await heat(bench)
        worker = bench.worker
        for process in (bench.daemon.pid, worker):
            os.kill(process, signal.SIGSTOP)
        code, alone = await shop.command("safe", "--json", "--config", config)
        assert code == 5
        states = {state["instrument"]: state for state in json.loads(alone.out)}
        assert {name: state["safe"] for name, state in states.items()} == {
            "supply": True,  # takes a second connection
            "plate": False,  # its port is held
            "port": True,
            "meter": True,
            "usb": True,
        }
        assert "another program uses it; IT MAY BE ON: pull its plug; the daemon (process" in states["plate"]["says"]
        assert f"`kill {bench.daemon.pid}` ends it and switches off" in states["plate"]["says"]
        for process in (bench.daemon.pid, worker):
            os.kill(process, signal.SIGCONT)
        bench.daemon.signal(signal.SIGTERM)
        with contextlib.suppress(DeviceUnavailable):  # the broker ends with the daemon, perhaps before the last word
            await followed
        assert await bench.daemon.ends() == 0
        # for the daemon's end, or for what was overdue when it woke: a plate not read, a journal not written for long
        assert bench.kept_verdicts()[-1].outcome not in {Outcome.PASSED, Outcome.FAILED}
        assert "worker died" not in bench.daemon.err  # that both stood still was no silence of the worker's
        assert await bench.is_safe()

        code, alone = await shop.command("safe", "--config", config)  # nobody serves the bench
        assert code == 0, alone.out + alone.err
