"""The supply's driver over a serial port, as a pseudo-terminal is one to the whole stack below."""

from __future__ import annotations

import contextlib
import os
import pty
import threading
import tty

import pytest

from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, OutOfSync

ANSWERS = {
    "ID": "SI-5 1.0",
    "REMOTE 1": "OK",
    "REMOTE 0": "OK",
    "V 0330": "OK",
    "V 9999": "ERR 2",
    "I 0100": "OK",
    "OUT 1": "OK",
    "OUT 0": "OK",
    "SET": "0330,0100",
    "READ": "3.30V,0.250A,CV",
}


class SerialFarEnd:
    """Answers lines on the far side of a pseudo-terminal until it is unplugged."""

    def __init__(self) -> None:
        self.answers = dict(ANSWERS)
        self.end = b"\r\n"
        self.asked: list[str] = []
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self._slave: int | None = slave  # kept open, so that the far side sees no hang-up between two openings
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        if self._slave is not None:
            os.write(self._slave, b"unplug\r\n")
            self._thread.join(5.0)
            assert not self._thread.is_alive()
            os.close(self._master)
            os.close(self._slave)
            self._slave = None

    def _serve(self) -> None:
        came = b""
        while True:
            with contextlib.suppress(OSError):
                came += os.read(self._master, 4096)
            *lines, came = came.split(b"\r\n")
            for line in lines:
                question = line.decode()
                if question == "unplug":
                    return
                self.asked.append(question)
                if question in self.answers:
                    os.write(self._master, self.answers[question].encode("latin-1") + self.end)


@pytest.fixture
def far():
    far = SerialFarEnd()
    yield far
    far.unplug()


@pytest.fixture
def supply(far, built, tmp_path):
    made = []

    def supply(text=""):
        name, where = "ascii-serial-supply", []
        if text:
            name, where = "mine", [tmp_path]
            (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
        driver = built(f"address: ASRL{far.port}::INSTR\ndialect: {name}\ntimeout: 300 ms\n", *where)
        made.append(driver)
        return driver

    yield supply
    for driver in made:
        driver.close()


def test_a_session_over_the_port(far, supply):
    driver = supply()
    assert driver.open().text == "SI-5 1.0"
    driver.set_voltage_v(3.3)
    driver.set_current_limit_a(1.0)
    assert driver.read().signals == {"voltage": [3.3], "current": [0.25], "limiting": [0.0], "output": [1.0]}
    with pytest.raises(DeviceRefused, match="answered 'ERR 2' to 'V 9999'"):
        driver.set_voltage_v(99.99)
    driver.close()
    assert far.asked[0] == "REMOTE 1"
    assert far.asked[-1] == "REMOTE 0"


UNENDED = """\
dialect: mine
kind: power-source
link: {write-end: "\\r\\n", read-end: "", baud: 19200, stop-bits: 2}
identify: {send: "ID", answer: "{model}", length: 6}
commands: {set_voltage: "V {voltage}", set_current_limit: "I {current}", output_on: OUT 1, output_off: OUT 0}
reads:
  - {send: "READ", answer: "{voltage:05.2f}{current:05.3f}"}
  - {send: "STATUS", answer: "{limiting|byte bit 0; output|byte bit 1}"}
"""


def test_answers_without_terminator(far, supply):
    far.end = b""
    far.answers = {"ID": "SI-5/2", "READ": "03.850.521", "STATUS": "\x0a"}
    driver = supply(UNENDED)
    assert driver.open().model == "SI-5/2"
    for _ in range(3):  # the status byte is a line feed, and ends nothing
        assert driver.read().signals == {"voltage": [3.85], "current": [0.521], "limiting": [0.0], "output": [1.0]}


def test_a_second_program_cannot_take_the_port(supply):
    first, second = supply(), supply()
    first.open()
    with pytest.raises(DeviceUnavailable, match=r"^ASRL.* cannot be reached: .*exclusively lock"):
        second.open()
    assert first.read().signals["voltage"] == [3.3]


def test_silence_is_out_of_sync(far, supply):
    driver = supply()
    driver.open()
    del far.answers["READ"]
    with pytest.raises(OutOfSync, match="gave no answer within"):
        driver.read()


def test_an_unplugged_port_is_unavailable(far, supply):
    driver = supply()
    driver.open()
    far.unplug()
    with pytest.raises((DeviceUnavailable, OutOfSync)) as told:
        driver.read()
    assert "\n" not in str(told.value)
    with pytest.raises(DeviceUnavailable):
        driver.open()
    with pytest.raises(DeviceUnavailable):
        driver.make_safe()
