"""A clock that runs faster than the machine's, shared by the processes of a simulated bench through a file.

It never runs away from them. The simulator renews it every few milliseconds, and it goes on for no longer than its
leash after the last renewal. It is not renewed while the daemon that goes by it gives no sign of life, and the daemon
gives none while one of its threads has not yet woken by the clock, or has not come back from what it woke for. So on a
busy machine a second of the bench takes longer, and nothing on the bench comes too late because of that.
"""

from __future__ import annotations

import asyncio
import mmap
import threading
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from wakerail_kit.errors import ConfigInvalid

#: How far the clock goes, in the machine's time, without being renewed or without the daemon's sign of life.
LEASH_S = 0.005
RENEWED_EVERY_S = BEATS_EVERY_S = 0.002
#: A thread that has not come back for so long waits for what takes the bench's own time, such as a slow answer.
AWAITED_S = 0.25
#: A daemon without a sign of life for so long has gone: the clock goes on without it.
GONE_S = 2.0
#: Nobody looks again sooner than this whether it is time.
_LEAST_REST_S = 0.001

#: Places of eight bytes, each written in one go (``struct`` clears a place first, and another process sees that). The
#: simulator writes the first three, the number being odd while it does so; the daemon the beat; the rest never change.
_NUMBER, _RENEWED, _BENCH, _BEAT, _SPEED, _BEGUN, _BEGUN_AT = range(7)
_SIZE = 7 * 8
_MOST_LOOKS = 1000


@dataclass(frozen=True, slots=True)
class _Thread:
    """A thread that waits until the clock shows ``due_s``, or woke from that at ``woke_s`` of the machine's time."""

    due_s: float | None = None
    woke_s: float | None = None


class FastClock:
    """A ``Clock`` that runs up to ``speed`` times as fast as the machine's own, on a page that processes share.

    ``machine_s`` is the machine's monotonic time. A new one stands still until it is renewed for the first time.
    """

    def __init__(self, page: bytearray | mmap.mmap, machine_s: Callable[[], float] = time.monotonic) -> None:
        self._use(page)
        self._machine_s = machine_s
        self.speed, self._begun_s = self._seconds[_SPEED], self._seconds[_BEGUN]
        self._begun_at = datetime.fromtimestamp(self._seconds[_BEGUN_AT], UTC)
        self._threads: dict[int, _Thread] = {}

    @classmethod
    def new(cls, speed: float, machine_s: Callable[[], float] = time.monotonic) -> FastClock:
        """Return a clock that begins at the machine's time."""
        page, begun_s = bytearray(_SIZE), machine_s()
        seconds = memoryview(page).cast("d")
        seconds[_RENEWED], seconds[_BENCH] = begun_s - LEASH_S, begun_s - LEASH_S * speed
        seconds[_SPEED], seconds[_BEGUN], seconds[_BEGUN_AT] = speed, begun_s, datetime.now(UTC).timestamp()
        return cls(page, machine_s)

    @classmethod
    def of(cls, file: Path, machine_s: Callable[[], float] = time.monotonic) -> FastClock:
        """Return the clock that is shared through a file. Raises ConfigInvalid if there is none."""
        try:
            with file.open("r+b") as page:
                return cls(mmap.mmap(page.fileno(), _SIZE), machine_s)
        except (OSError, ValueError) as wrong:
            raise ConfigInvalid(f"{file}: cannot be read as a simulated bench's clock: {wrong}") from None

    def share(self, file: Path) -> None:
        """Share the clock through a file from now on."""
        file.write_bytes(self._seconds)
        with file.open("r+b") as page:
            self._use(mmap.mmap(page.fileno(), _SIZE))

    def _use(self, page: bytearray | mmap.mmap) -> None:
        self._numbers, self._seconds = memoryview(page).cast("Q"), memoryview(page).cast("d")

    # --- the clock ---

    def monotonic_s(self) -> float:
        return self._at(self._machine_s())[1]

    def now(self) -> datetime:
        return self._begun_at + timedelta(seconds=self.monotonic_s() - self._begun_s)

    async def sleep(self, delay_s: float) -> None:
        end_s = self.monotonic_s() + delay_s
        await asyncio.sleep(max(0.0, delay_s / self.speed))
        while (left_s := end_s - self.monotonic_s()) > 0:  # noqa: ASYNC110  it may have stood still meanwhile
            await asyncio.sleep(max(_LEAST_REST_S, left_s / self.speed))

    def wait(self, event: threading.Event, delay_s: float) -> bool:
        me, end_s = threading.get_ident(), self.monotonic_s() + delay_s
        self._threads[me] = _Thread(due_s=end_s)
        try:
            if event.wait(max(0.0, delay_s / self.speed)):
                return True
            while (left_s := end_s - self.monotonic_s()) > 0:
                if event.wait(max(_LEAST_REST_S, left_s / self.speed)):
                    return True
            return False
        finally:
            self._threads[me] = _Thread(woke_s=self._machine_s())

    # --- its leash ---

    def renew(self) -> None:
        """Let the clock go on, unless the daemon that goes by it has fallen behind. For the simulator alone."""
        machine_s = self._machine_s()
        beat_s = self._seconds[_BEAT]
        if beat_s and LEASH_S < machine_s - beat_s < GONE_S:
            return
        number, bench_s = self._at(machine_s)
        self._numbers[_NUMBER] = number + 1
        self._seconds[_RENEWED], self._seconds[_BENCH] = machine_s, bench_s
        self._numbers[_NUMBER] = number + 2

    def beat(self) -> None:
        """Give the daemon's sign of life, unless one of its threads has fallen behind."""
        machine_s = self._machine_s()
        bench_s = self._at(machine_s)[1]
        for thread in list(self._threads.values()):
            if thread.due_s is not None and bench_s - thread.due_s > LEASH_S * self.speed:
                return
            if thread.woke_s is not None and LEASH_S < machine_s - thread.woke_s < AWAITED_S:
                return
        self._seconds[_BEAT] = machine_s

    @asynccontextmanager
    async def followed(self) -> AsyncIterator[None]:
        """Give the daemon's sign of life from its event loop as long as this lasts; then it is waited for no more."""
        beats = asyncio.create_task(self._beat_on(), name="keeps the pace of the fast clock")
        try:
            yield
        finally:
            beats.cancel()
            self._seconds[_BEAT] = 0.0

    async def _beat_on(self) -> None:
        while True:
            self.beat()
            await asyncio.sleep(BEATS_EVERY_S)

    def _at(self, machine_s: float) -> tuple[int, float]:
        """Return the number of the last renewal, and what the clock shows at a time of the machine."""
        for _ in range(_MOST_LOOKS):
            number = self._numbers[_NUMBER]
            renewed_s, bench_s = self._seconds[_RENEWED], self._seconds[_BENCH]
            if number % 2 == 0 and number == self._numbers[_NUMBER]:
                break
        return number, bench_s + min(max(machine_s - renewed_s, 0.0), LEASH_S) * self.speed
