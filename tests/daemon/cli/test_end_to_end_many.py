"""A daemon that serves run after run grows by none of them."""

from __future__ import annotations

import asyncio
import contextlib
import uuid

import psutil

from wakerail.bus import BusClient
from wakerail_kit import topics
from wakerail_kit.messages import RunSequence, Verdict

RUNS = 20


async def test_twenty_runs_leave_nothing_behind(shop):
    async with shop.bench("--fault", "dead-short") as bench, BusClient(bench.url, "shop") as client:
        daemon = psutil.Process(bench.daemon.pid)
        held, verdicts = [], []
        verdicts_told = client.messages(f"{topics.ROOT}/shop/sequence/+/verdict")
        async with contextlib.aclosing(verdicts_told), asyncio.timeout(50):
            await client.subscribed()
            for _ in range(RUNS):
                answer = await client.ask("run", RunSequence(sequence="port-check"))
                assert answer.ok, answer.says
                _, verdict = await anext(verdicts_told)
                assert isinstance(verdict, Verdict)
                assert verdict.run == answer.data["run"]
                verdicts.append(verdict)
                held.append((daemon.num_fds(), daemon.num_threads()))
        assert held[-1][0] <= held[2][0] + 1, held  # the first few runs open what stays open
        assert held[-1][1] <= held[2][1] + 1, held
        ids = [uuid.UUID(text) for verdict in verdicts for text in (verdict.id, verdict.run)]
        assert len(set(ids)) == 2 * RUNS
        assert {one.version for one in ids} == {7}
        assert sorted(verdict.run for verdict in verdicts) == [verdict.run for verdict in verdicts]
        assert bench.kept_verdicts() == verdicts
