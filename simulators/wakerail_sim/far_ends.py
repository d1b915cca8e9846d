"""The far ends' transports: listeners on TCP and unix sockets, and pseudo-terminals, each with its own thread."""

from __future__ import annotations

import contextlib
import errno
import os
import pty
import selectors
import socket
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable
from pathlib import Path

from wakerail_kit.clock import Clock
from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.link import Answer, Cut, Link, cut_line
from wakerail_sim.mishaps import Mishaps
from wakerail_sim.reactor import Reactor

LOOPBACK = "127.0.0.1"
MAX_UNIX_PATH_BYTES = 107  # sockaddr_un has room for 108, one of them for the end
_BACKLOG = 16

Bind = Callable[[], socket.socket]


class FarEnd(ABC):
    """The far end of an instrument's link, in a thread of its own, plugged in once it is started."""

    def __init__(self, name: str, clock: Clock) -> None:
        self._clock = clock
        self._reactor = Reactor(f"sim-{name}", clock)
        self._links: dict[int, Link] = {}

    def start(self) -> None:
        """Start the thread and plug in. Raises ConfigInvalid if the address is taken."""
        self._reactor.start()
        self.plug()

    def stop(self) -> None:
        """Unplug and end the thread. May be called twice."""
        self.unplug_soon()
        self._reactor.stop()

    def plug(self) -> None:
        """Let clients reach it. Raises ConfigInvalid if the address is taken."""
        self._reactor.ask(self._plug_in)

    def unplug(self) -> None:
        """Pull the link: clients lose it and find none."""
        self._reactor.ask(self._pull_out)

    def unplug_soon(self) -> None:
        """Pull the link without waiting for it."""
        self._reactor.post(self._pull_out)

    def nudge(self) -> None:
        """Look again at what waits, because the mishaps were changed."""
        self._reactor.post(self._serve_links)

    def _serve_links(self) -> None:
        for link in list(self._links.values()):
            link.serve()

    @abstractmethod
    def _plug_in(self) -> None:
        """Open the link, in the far end's thread."""

    @abstractmethod
    def _pull_out(self) -> None:
        """Close the link if it is open, in the far end's thread."""


class ListeningEnd(FarEnd):
    """A far end that clients connect to."""

    def __init__(self, name: str, clock: Clock, bind: Bind) -> None:
        super().__init__(name, clock)
        self._bind = bind
        self._listener: socket.socket | None = None
        self._clients: dict[int, socket.socket] = {}

    def _plug_in(self) -> None:
        listener = self._bind()
        listener.setblocking(False)
        self._listener = listener
        self._reactor.watch(listener.fileno(), selectors.EVENT_READ, lambda: self._accept(listener))

    def _pull_out(self) -> None:
        if self._listener is not None:
            self._reactor.unwatch(self._listener.fileno())
            if self._listener.family is socket.AF_UNIX:
                Path(self._listener.getsockname()).unlink(missing_ok=True)
            self._listener.close()
            self._listener = None
        for file in list(self._clients):
            self._drop(file)

    def _accept(self, listener: socket.socket) -> None:
        """Take all clients that wait: none of them misses what is told next."""
        with contextlib.suppress(OSError):  # no more of them, or the client has gone again
            while True:
                client, _ = listener.accept()
                self._take_in(client)

    def _take_in(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError):
            client.setblocking(False)
            if client.family is socket.AF_INET:
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._clients[client.fileno()] = client
            self._welcome(client)

    def _drop(self, file: int) -> None:
        self._reactor.unwatch(file)
        if (client := self._clients.pop(file, None)) is not None:
            client.close()

    @abstractmethod
    def _welcome(self, client: socket.socket) -> None:
        """Begin to serve a client."""


class LineServer(ListeningEnd):
    """Answers lines from any number of clients. ``answer`` gets a line without its end, and returns it with one."""

    def __init__(self, name: str, clock: Clock, bind: Bind, answer: Answer, mishaps: Mishaps) -> None:
        super().__init__(name, clock, bind)
        self._answer = answer
        self._mishaps = mishaps

    def _welcome(self, client: socket.socket) -> None:
        file = client.fileno()
        link = Link(self._reactor, self._clock, file, cut=cut_line, answer=self._answer, mishaps=self._mishaps)
        link.gone = lambda: self._drop(file)
        self._links[file] = link

    def _drop(self, file: int) -> None:
        if (link := self._links.pop(file, None)) is not None:
            link.close()
        super()._drop(file)


class SerialEnd(FarEnd):
    """Answers requests on a pseudo-terminal, which clients open by the symbolic link ``path``."""

    def __init__(self, path: Path, clock: Clock, answer: Answer, mishaps: Mishaps, cut: Cut = cut_line) -> None:
        super().__init__(path.name, clock)
        self._path = path
        self._cut = cut
        self._answer = answer
        self._mishaps = mishaps
        # Our own hold on the client's side keeps the terminal alive while no client has it open.
        self._files: tuple[int, int] | None = None

    def _plug_in(self) -> None:
        ours, theirs = self._files = pty.openpty()
        tty.setraw(theirs)
        os.set_blocking(ours, False)
        self._links[ours] = Link(
            self._reactor, self._clock, ours, cut=self._cut, answer=self._answer, mishaps=self._mishaps
        )
        fresh = self._path.with_name(f".{self._path.name}.new")
        fresh.unlink(missing_ok=True)
        fresh.symlink_to(os.ttyname(theirs))
        fresh.replace(self._path)

    def _pull_out(self) -> None:
        if self._files is None:
            return
        self._path.unlink(missing_ok=True)
        ours, theirs = self._files
        self._links.pop(ours).close()
        os.close(ours)
        os.close(theirs)
        self._files = None


class LoopbackPort:
    """A TCP port of the loopback, 0 for any free one; once bound, ``number`` stays what it is.

    ``whose`` instrument it is, messages say.
    """

    def __init__(self, number: int, whose: str) -> None:
        self.number = number
        self._whose = whose

    def bind(self) -> socket.socket:
        """Return a socket that listens there. Raises ConfigInvalid if another one does."""
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind((LOOPBACK, self.number))
            bound.listen(_BACKLOG)
        except (OSError, OverflowError) as wrong:
            bound.close()
            taken = isinstance(wrong, OSError) and wrong.errno == errno.EADDRINUSE
            why = "is in use" if taken else f"cannot be used ({wrong})"
            says = f"{self._whose} port {self.number} {why}; choose another, or 0 for any free one"
            raise ConfigInvalid(says) from None
        self.number = bound.getsockname()[1]
        return bound


def bind_unix(path: Path) -> socket.socket:
    """Return a unix stream socket that listens at ``path``, in place of one that was left there.

    Raises ConfigInvalid if the path is too long for a socket.
    """
    check_unix_path(path)
    bound = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    path.unlink(missing_ok=True)
    try:
        bound.bind(str(path))
        bound.listen(_BACKLOG)
    except OSError as wrong:
        bound.close()
        raise ConfigInvalid(f"{path}: a socket cannot be made here: {wrong.strerror}") from None
    return bound


def check_unix_path(path: Path) -> None:
    """Raise ConfigInvalid if a path is too long for a unix socket."""
    length = len(os.fsencode(path))
    if length > MAX_UNIX_PATH_BYTES:
        raise ConfigInvalid(
            f"{path}: {length} bytes are too long a path for a socket, at most {MAX_UNIX_PATH_BYTES};"
            " choose a folder with a shorter path"
        )
