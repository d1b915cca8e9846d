"""A supply's far end on a real TCP socket that can be told to misbehave, and drivers joined to it."""

from __future__ import annotations

import contextlib
import itertools
import queue
import re
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from wakerail_kit.clock import Clock, RealClock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hooks import BuildContext
from wakerail_kit.kinds import POWER_SOURCE
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins.power_supply import build

DIALECTS = Path(__file__).parents[3] / "config" / "dialects"
PATIENCE_S = 5.0


class FarEnd:
    """A small SCPI supply. Every attribute may be set by a test while it runs; ``asked`` is what came in."""

    def __init__(self) -> None:
        self.values = {"VOLT": "3.85", "CURR": "1", "VOLT:PROT": "5", "CURR:PROT": "2"}
        self.output = "0"
        self.current = "0.25"
        self.condition = "0"
        #: Bit 0 of the questionable event register: it is set once, and cleared by reading it.
        self.latched = "0"
        #: What switching on latches, for there are capacitors to charge.
        self.inrush = "0"
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.blocks: dict[str, list[bytes]] = {"CURR": [], "VOLT": []}
        #: Answers given in place of the proper ones, by question; bytes go out as they are, None is silence.
        self.instead: dict[str, bytes | None] = {}
        #: How long the pieces are in which answers go out, in turn.
        self.pieces: list[int] = []
        self.heard: queue.Queue[str] = queue.Queue()
        self._garbled: set[int] = set()
        self._links: dict[int, socket.socket] = {}
        self._threads: list[threading.Thread] = []
        self._lock = threading.Lock()
        self._listener: socket.socket | None = None
        self.port = 0
        self.start()

    def start(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self.port = self._listener.getsockname()[1]
        self._spawn(self._accept, self._listener)

    def stop(self) -> None:
        """Close all links and the port."""
        if self._listener is not None:
            with contextlib.suppress(OSError):
                self._listener.shutdown(socket.SHUT_RDWR)
            self._listener.close()
            self._listener = None
        self.hang_up()
        for thread in self._threads:
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
        self._threads.clear()

    def hang_up(self) -> None:
        with self._lock:
            links = list(self._links.values())
        for link in links:
            with contextlib.suppress(OSError):
                link.shutdown(socket.SHUT_RDWR)

    def garble(self) -> None:
        with self._lock:
            self._garbled |= set(self._links)

    def links(self) -> int:
        with self._lock:
            return len(self._links)

    def say(self, data: bytes) -> None:
        """Send ``data`` on every link, unasked."""
        with self._lock:
            for link in self._links.values():
                link.sendall(data)

    def _spawn(self, work: Callable[[socket.socket], None], link: socket.socket) -> None:
        thread = threading.Thread(target=work, args=(link,), daemon=True)
        self._threads = [running for running in self._threads if running.is_alive()]
        self._threads.append(thread)
        thread.start()

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                link, _ = listener.accept()
            except OSError:
                return
            link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            with self._lock:
                self._links[id(link)] = link
            self._spawn(self._serve, link)

    def _serve(self, link: socket.socket) -> None:
        try:
            with link, link.makefile("rb") as lines:
                for line in lines:
                    question = line.decode().strip()
                    self.asked.append(question)
                    answer = self._answer(question)
                    if answer is not None and id(link) in self._garbled:
                        answer = b"\x00?\xff\n"
                    if answer is not None:
                        self._send(link, answer)
                    self.heard.put(question)
        except OSError:
            pass
        finally:
            with self._lock:
                self._links.pop(id(link), None)
                self._garbled.discard(id(link))

    def _send(self, link: socket.socket, answer: bytes) -> None:
        sizes = itertools.cycle(self.pieces or [len(answer) or 1])
        while answer:
            size = next(sizes)
            link.sendall(answer[:size])
            answer = answer[size:]

    def _answer(self, question: str) -> bytes | None:
        if question in self.instead:
            return self.instead[question]
        if question.startswith("FETC:ARR:"):
            waiting = self.blocks[question[9:-1]]
            data = waiting.pop(0) if waiting else b""
            return f"#{len(str(len(data)))}{len(data)}".encode() + data + b"\n"
        text = self._text(question)
        return None if text is None else text.encode() + b"\n"

    def _text(self, question: str) -> str | None:
        name, _, value = question.partition(" ")
        if name == "OUTP" and value:
            self.output = {"ON": "1", "OFF": "0"}.get(value, value)
            self.latched = self.inrush if self.output == "1" else self.latched
        elif name in self.values:
            self.values[name] = value
        elif name.endswith("?") and name[:-1] in self.values:
            return self.values[name[:-1]]
        elif re.fullmatch(r"STAT:QUES(:INST:ISUM\d)?\?", name):
            latched, self.latched = self.latched, "0"
            return latched
        elif name == "SYST:ERR?":
            return self.faults.pop(0) if self.faults else '0,"No error"'
        return {
            "*IDN?": "Northfen Works,PS-3,0042,1.7",
            "MEAS:VOLT?": self.values["VOLT"] if self.output == "1" else "0.000",
            "MEAS:CURR?": self.current,
            "STAT:QUES:COND?": self.condition,
            "OUTP?": self.output,
        }.get(question)


class SupplyRig:
    """The far end as the kit's conformance checks take it."""

    kind = POWER_SOURCE

    def __init__(self, far: FarEnd, driver: Callable[[], object]) -> None:
        self._far = far
        self.driver = driver
        self.restore = lambda: None if far._listener else far.start()
        self.garble = far.garble
        self.cut = far.stop

    def energised(self) -> bool:
        return self._far.output == "1"


@pytest.fixture
def far() -> Iterator[FarEnd]:
    far = FarEnd()
    yield far
    far.stop()


@pytest.fixture
def make(far):
    """Return a maker of drivers: ``make(text of further keys, dialects=folder)``."""
    drivers = []

    def make(
        keys: str = "",
        *,
        port: int | None = None,
        dialects: Path = DIALECTS,
        timeout: str = "1 s",
        clock: Clock | None = None,
    ):
        text = f"address: TCPIP::127.0.0.1::{port or far.port}::SOCKET\ntimeout: {timeout}\n{keys}"
        driver = build_from(text, dialects, clock)
        drivers.append(driver)
        return driver

    yield make
    for driver in drivers:
        driver.close()


def build_from(text: str, dialects: Path = DIALECTS, clock: Clock | None = None):
    doc = parse_yaml(text, "bench.yaml")
    driver = build(doc.top, BuildContext(clock or RealClock(), "bench-1", "supply", dialects, ()))
    doc.finish()
    return driver


@pytest.fixture
def built():
    """Return a function giving the driver for a section of bench.yaml."""
    return build_from


@pytest.fixture
def problems():
    """Return a function giving the lines that a section of bench.yaml is refused with."""

    def problems(text: str, dialects: Path = DIALECTS) -> tuple[str, ...]:
        with pytest.raises(ConfigInvalid) as refused:
            build_from(text, dialects)
        return refused.value.problems

    return problems


@pytest.fixture
def rig(far, make):
    return SupplyRig(far, lambda: make(timeout="300 ms"))


def float32(*samples: float) -> bytes:
    return struct.pack(f">{len(samples)}f", *samples)


@pytest.fixture
def block():
    """Return a function giving samples as big-endian 32-bit floats."""
    return float32
