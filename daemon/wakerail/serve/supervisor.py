"""The parent of ``wakerail serve``: starts the worker, watches it, and does nothing else.

When the worker dies or stops answering, another child walks over the instruments and puts each into its safe state;
then the worker is started again, with back-off. A run or a heat is never resumed. The supervisor itself has no event
loop, no threads, no broker, no journal and no open instrument: nothing that ends the worker can hold it up.
"""

from __future__ import annotations

import math
import os
import select
import signal
import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import NamedTuple

import structlog
from msgspec import DecodeError, json

from wakerail.config import BenchConfig
from wakerail.serve.child import STOP_SIGNALS, Child
from wakerail.serve.lifeline import BEAT_S, Lifeline, Pulse
from wakerail.serve.service_manager import ServiceManager
from wakerail.serve.walk import Note, Report, switch_off, walk
from wakerail_kit.clock import Clock

#: Exit codes with which a worker ends in order: told to; wrong input; the bench failed before it was ready.
DONE, BAD_INPUT, BENCH_FAULT = 0, 2, 5
#: A terminal cannot halt those who watch over heat.
_DEAF_TO = (signal.SIGTSTP, signal.SIGTTIN, signal.SIGTTOU)
_CHUNK = 65536

log = structlog.get_logger()

#: Serves the bench in the worker, given its lifeline and what happened after the last worker's death; the exit code.
Work = Callable[[Lifeline, Sequence[Note]], int]


@dataclass(frozen=True, slots=True)
class Patience:
    """How long the supervisor waits for what."""

    #: A worker without a sign of life for so long counts as hung. Its interlocks have threads of their own meanwhile.
    silence_s: float = 3.0
    #: From being told to end until it is killed.
    stop_s: float = 15.0
    #: From being killed until the walk begins although it is still there, stuck in the kernel.
    kill_s: float = 2.0
    #: For the walk over the instruments and the record of it.
    walk_s: float = 15.0
    #: Before the second start in a row, then twice as long each time; the first is at once.
    first_retry_s: float = 1.0
    last_retry_s: float = 30.0
    #: A worker that was ready for so long ends the row.
    settled_s: float = 30.0


class Ending(NamedTuple):
    """How a worker ended: its exit code, or minus the signal that ended it; None: it did not begin, or did not end."""

    code: int | None
    how: str
    served_for_s: float


class Supervisor:
    """Keeps one worker serving a bench."""

    def __init__(
        self, config: BenchConfig, clock: Clock, work: Work, manager: ServiceManager, patience: Patience | None = None
    ) -> None:
        self._config = config
        self._clock = clock
        self._work = work
        self._manager = manager
        self._patience = patience or Patience()
        self._log = log.bind(bench=config.name)
        self._bell = -1
        self._stopping = False
        self._ever_ready = False
        self._notes: list[Note] = []
        self._worker: Child | None = None

    def run(self) -> int:
        """Serve until a signal says to stop or the worker finds its input wrong; return the exit code."""
        retry_s = 0.0
        if extra := [thread.name for thread in threading.enumerate() if thread is not threading.main_thread()]:
            self._log.error("a plugin started threads when it was loaded; the worker is without them", threads=extra)
        with self._signals():
            while True:
                ending = self._serve()
                if ending.code in self._in_order():
                    return ending.code or DONE
                self._log.error("worker died", how=ending.how)
                self._manager.tell(f"STATUS=its worker {ending.how}; switching off")
                self._make_safe(ending.how)
                code = ending.code or 0
                if self._stopping or (code > 0 and not self._ever_ready):
                    return code if code > 0 else BENCH_FAULT
                if ending.served_for_s >= self._patience.settled_s:
                    retry_s = 0.0
                self._log.warning("worker is started again; nothing is resumed", in_s=retry_s)
                if not self._rest(retry_s):
                    return DONE
                retry_s = min(max(2 * retry_s, self._patience.first_retry_s), self._patience.last_retry_s)

    def _in_order(self) -> set[int]:
        """Return the exit codes with which a worker ends by itself, having let go of whatever it had."""
        return {DONE, BAD_INPUT} if self._ever_ready else {DONE, BAD_INPUT, BENCH_FAULT}

    # --- the worker ---

    def _serve(self) -> Ending:
        """Run one worker until it has ended, by itself or by being killed."""
        notes = tuple(self._notes)
        try:
            worker = Child.fork(lambda line: self._work(Lifeline(line), notes))
        except OSError as wrong:  # no memory, no more processes
            return Ending(None, f"could not be started: {wrong.strerror}", 0.0)
        pulse = Pulse(worker.line, self._clock)
        ready_s = killed_s = math.inf
        stop_by_s = math.inf
        why = ""
        while (code := worker.ended()) is None:
            self._turn(worker.line)
            pulse.look(2 * BEAT_S)
            now_s = self._clock.monotonic_s()
            if pulse.ready and ready_s == math.inf:
                ready_s, self._ever_ready = now_s, True
                self._manager.tell("READY=1", "STATUS=ready")
            if pulse.recorded:
                self._notes.clear()
            if self._stopping and pulse.began and stop_by_s == math.inf:  # before its first sign of life it is deaf
                stop_by_s = now_s + self._patience.stop_s
                self._manager.tell("STOPPING=1")
                worker.send(signal.SIGTERM)
            if pulse.silent_s > self._patience.silence_s:
                why = f"gave no sign of life for {self._patience.silence_s:g} s"
            elif now_s > stop_by_s:
                why = f"did not end within {self._patience.stop_s:g} s of being told to"
            if why or pulse.ended:
                worker.send(signal.SIGKILL)  # so that its ports are free
                killed_s = min(killed_s, now_s)
            if now_s > killed_s + self._patience.kill_s:
                why = f"{why or 'hung up'} and cannot be killed"
                break
        worker.line.close()
        self._worker = worker
        return Ending(code, why or _how(code), max(0.0, self._clock.monotonic_s() - ready_s))

    # --- after its death ---

    def _make_safe(self, how: str) -> None:
        """Let a child walk over the instruments; log what it saw, and keep what the next worker is to record."""
        try:
            walker = Child.fork(lambda line: walk(self._config, self._clock, how, line))
        except OSError:  # no memory, no more processes: then in this one, whatever a driver may do to it
            self._tell(switch_off(self._config, self._clock, how))
            return
        end_s = self._clock.monotonic_s() + self._patience.walk_s
        said = b""
        while self._clock.monotonic_s() < end_s and (chunk := self._heard(walker.line)) != b"":
            said += chunk or b""
        try:
            self._tell(json.decode(said, type=Report))
        except DecodeError:
            self._log.error("THE INSTRUMENTS WERE NOT REACHED: pull their plugs")
        while walker.ended() is None:  # it puts that into the journal
            self._turn()
            if self._clock.monotonic_s() > end_s:
                walker.send(signal.SIGKILL)
        walker.line.close()

    def _heard(self, line: socket.socket) -> bytes | None:
        self._turn(line)
        try:
            return line.recv(_CHUNK)
        except BlockingIOError:
            return None
        except OSError:
            return b""

    def _tell(self, report: Report) -> None:
        self._notes += report.notes
        for state in report.states:
            if not state.safe:
                self._log.error("not made safe", instrument=state.instrument, says=state.says)
            elif state.can_hurt:
                self._log.warning("made safe", instrument=state.instrument, says=state.says)

    def _rest(self, delay_s: float) -> bool:
        """Wait before the next start, and until the last worker is gone; False if told to stop meanwhile."""
        end_s = self._clock.monotonic_s() + delay_s
        while not self._stopping and (
            self._clock.monotonic_s() < end_s or (self._worker is not None and self._worker.ended() is None)
        ):
            self._turn()
        return not self._stopping

    # --- waiting ---

    def _turn(self, line: socket.socket | None = None) -> None:
        """Wait for a signal, for something on ``line``, or a moment; and show the service manager that we turn."""
        self._manager.still_here()
        watched = [self._bell] if line is None else [self._bell, line.fileno()]
        heard, _, _ = select.select(watched, [], [], BEAT_S)
        if self._bell in heard:
            os.read(self._bell, _CHUNK)

    @contextmanager
    def _signals(self) -> Iterator[None]:
        """Let every signal ring the bell, so that waiting ends at once; note those that ask to stop."""

        def stop(*_: object) -> None:
            self._stopping = True

        with ExitStack() as stack:
            self._bell, ring = os.pipe()
            stack.callback(os.close, self._bell)
            stack.callback(os.close, ring)
            os.set_blocking(ring, False)
            stack.callback(signal.set_wakeup_fd, signal.set_wakeup_fd(ring, warn_on_full_buffer=False))
            handlers = dict.fromkeys(STOP_SIGNALS, stop) | {signal.SIGCHLD: lambda *_: None}
            handlers |= dict.fromkeys(_DEAF_TO, signal.SIG_IGN)
            for number, handler in handlers.items():
                stack.callback(signal.signal, number, signal.signal(number, handler))
            yield


def _how(code: int | None) -> str:
    if code is None or code >= 0:
        return f"ended with exit code {code}"
    try:
        return f"was killed by {signal.Signals(-code).name}"
    except ValueError:
        return f"was killed by signal {-code}"
