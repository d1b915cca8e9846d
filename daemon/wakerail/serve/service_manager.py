"""What a service manager is told: ready, still here, stopping. The sd_notify protocol: lines in a datagram.

Without ``NOTIFY_SOCKET`` in the environment nobody is told anything.
"""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Mapping

from wakerail_kit.clock import Clock

#: A manager that takes nothing is not waited for.
_SEND_TIMEOUT_S = 0.5


class ServiceManager:
    """The service manager, if there is one (sd_notify(3), sd_watchdog_enabled(3))."""

    def __init__(self, environment: Mapping[str, str], clock: Clock) -> None:
        address = environment.get("NOTIFY_SOCKET", "")
        # "@" stands for the zero byte that begins an abstract address
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._clock = clock
        # it names the process whose signs of life it wants; ours, unless an ancestor was meant
        meant = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        usec = environment.get("WATCHDOG_USEC", "")
        self._period_s = int(usec) / 2e6 if meant and usec.isdigit() and int(usec) else None
        self._due_s = clock.monotonic_s()

    def tell(self, *lines: str) -> None:
        """Send ``NAME=value`` lines. Nobody to hear them is no fault."""
        if not self._address:
            return
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:
            door.settimeout(_SEND_TIMEOUT_S)
            door.sendto("\n".join(lines).encode(), self._address)

    def still_here(self) -> None:
        """Say that this process still turns, if that is wanted and due: twice in the time that the manager waits."""
        now_s = self._clock.monotonic_s()
        if self._period_s is not None and now_s >= self._due_s:
            self._due_s = now_s + self._period_s
            self.tell("WATCHDOG=1")
