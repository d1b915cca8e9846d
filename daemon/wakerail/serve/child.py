"""A child process by fork, and the line that joins it to its parent for as long as both live.

Forked, not started anew: a child knows what the parent knows (configuration, plugins, drivers not yet opened), begins
at once, and shares the parent's memory. The parent must have no threads.
"""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import sys
import traceback
from collections.abc import Callable
from typing import Self

#: What asks a program to end: from a person, a service manager, or a terminal that closes.
STOP_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)
_BROKEN = 1


class Child:
    """A forked process. ``line`` is the parent's end of a stream socket: it ends when the child does."""

    def __init__(self, pid: int, line: socket.socket) -> None:
        self.pid = pid
        self.line = line
        self._status: int | None = None

    @classmethod
    def fork(cls, work: Callable[[socket.socket], int]) -> Self:
        """Run ``work`` in a child, given its end of the line; what it returns is the exit code.

        The child begins deaf to what asks a program to end, so that nothing ends it before it can end in order.
        """
        ours, theirs = socket.socketpair()
        sys.stdout.flush()
        sys.stderr.flush()
        pid = os.fork()
        if pid == 0:
            ours.close()  # else it would keep its own line alive and never hear of the parent's death
            _be(work, theirs)
        theirs.close()
        ours.setblocking(False)
        return cls(pid, ours)

    def ended(self) -> int | None:
        """Return how it ended, an exit code or minus the signal that killed it, or None while it lives."""
        if self._status is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self._status = os.waitstatus_to_exitcode(status)
        return self._status

    def send(self, number: int) -> None:
        """Send it a signal, unless it has ended."""
        if self._status is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.pid, number)


def _be(work: Callable[[socket.socket], int], line: socket.socket) -> None:
    """Be the child: work, and end without unwinding what the parent had begun."""
    code = _BROKEN
    try:
        signal.set_wakeup_fd(-1)
        for number in STOP_SIGNALS:
            signal.signal(number, signal.SIG_IGN)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        code = work(line)
    except BaseException:  # noqa: BLE001  nothing may run on into the parent's code
        traceback.print_exc()
    finally:
        with contextlib.suppress(OSError, ValueError):  # a closed terminal or pipe
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)
