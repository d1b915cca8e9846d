"""The safe state asked for by hand while the daemon lives: every run ended, every instrument off and looked at."""

from __future__ import annotations

import asyncio

from wakerail.bench import Bench
from wakerail.bus import Requests
from wakerail.serve.runs import Runs
from wakerail.serve.safe_state import NOTHING_TO_SWITCH_OFF, PULL_ITS_PLUG, seen_in
from wakerail_kit import topics
from wakerail_kit.messages import Frame, MakeSafe, SafeState

#: How long the runs get to end; what they switch off at their end is off already.
RUNS_END_S = 3.0
#: How long an instrument gets to show itself in its next samples.
LOOK_S = 1.0


class SafeByHand:
    """Carries out the request ``safe``."""

    def __init__(self, bench: Bench, runs: Runs) -> None:
        self._bench = bench
        self._runs = runs

    def handle(self, requests: Requests) -> None:
        """Answer the bench's request."""
        requests.handle("safe", self._safe)

    async def _safe(self, args: MakeSafe) -> list[SafeState]:
        # First off, then the runs' ends, then off again: what a run had on its way may have come in between.
        ending = asyncio.ensure_future(self._runs.end_all(args.why))
        await self._bench.make_safe()
        await asyncio.wait([ending], timeout=RUNS_END_S)
        reached = await self._bench.make_safe()
        return await asyncio.gather(*(self._seen(name, reached[name]) for name in self._bench.instruments))

    async def _seen(self, name: str, reached: bool) -> SafeState:
        host = self._bench.instruments[name]
        if not host.kind.can_hurt:
            safe, says = True, NOTHING_TO_SWITCH_OFF
        elif not reached:
            safe, says = False, f"{host.words}; {PULL_ITS_PLUG}"
        else:
            shown, says = await self._look(name)
            safe = shown is not False
            says = says or "switched off" if safe else f"it was told to switch off, and shows: {says}; {PULL_ITS_PLUG}"
        return SafeState(instrument=name, kind=host.kind.name, can_hurt=host.kind.can_hurt, safe=safe, says=says)

    async def _look(self, name: str) -> tuple[bool | None, str]:
        topic = topics.instrument(self._bench.name, name, "frame")
        async with self._bench.bus.listen(topic) as frames:
            try:
                async with asyncio.timeout(LOOK_S):
                    await anext(frames)  # it may have been gathered before
                    _, frame = await anext(frames)
            except TimeoutError:
                return None, ""
        assert isinstance(frame, Frame)
        return seen_in(self._bench.instruments[name].kind, frame.signals)
