"""The supply's driver and dialects against SCPI-1999 and IEEE 488.2: error numbers, event bits, blocks.

Sources: SCPI-1999 vol. 2, 21.8 (numbers, words and classes of errors), as they stand in j123b567/scpi-parser at
commit 8866159, libscpi/inc/scpi/error.h and src/error.c; IEEE 488.2 11.5.1.2 (bits of the event status register), same,
ieee488.h. The other end here is a model of the standard's error queue, written for this test from those clauses.
"""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.dialect import load_dialect
from wakerail_kit.dialect_talk import Talk
from wakerail_kit.dialect_wording import FLAG, read_wording
from wakerail_plugins.power_supply.driver import PowerSupply

DIALECTS = Path(__file__).parents[2] / "config" / "dialects"

#: SCPI-1999 21.8.9 to 21.8.16: number, words, and the event status bit that its class sets.
ERRORS = [
    (-100, "Command error", 32),
    (-101, "Invalid character", 32),
    (-102, "Syntax error", 32),
    (-103, "Invalid separator", 32),
    (-104, "Data type error", 32),
    (-108, "Parameter not allowed", 32),
    (-109, "Missing parameter", 32),
    (-113, "Undefined header", 32),
    (-114, "Header suffix out of range", 32),
    (-120, "Numeric data error", 32),
    (-131, "Invalid suffix", 32),
    (-138, "Suffix not allowed", 32),
    (-151, "Invalid string data", 32),
    (-161, "Invalid block data", 32),
    (-200, "Execution error", 16),
    (-201, "Invalid while in local", 16),
    (-203, "Command protected", 16),
    (-220, "Parameter error", 16),
    (-221, "Settings conflict", 16),
    (-222, "Data out of range", 16),
    (-223, "Too much data", 16),
    (-224, "Illegal parameter value", 16),
    (-230, "Data corrupt or stale", 16),
    (-240, "Hardware error", 16),
    (-241, "Hardware missing", 16),
    (-300, "Device specific error", 8),
    (-310, "System error", 8),
    (-330, "Self-test failed", 8),
    (-350, "Queue overflow", 8),
    (-360, "Communication error", 8),
    (-363, "Input buffer overrun", 8),
    (-365, "Time out error", 8),
    (-400, "Query error", 4),
    (-410, "Query INTERRUPTED", 4),
    (-420, "Query UNTERMINATED", 4),
    (-430, "Query DEADLOCKED", 4),
    (-440, "Query UNTERMINATED after indefinite response", 4),
    (-500, "Power on", 128),
    (-600, "User request", 64),
    (-700, "Request control", 2),
    (-800, "Operation complete", 1),
]


class Standard:
    """A wire to an instrument that has nothing but an error queue (first in, first out) and an event register."""

    def __init__(self, *errors: tuple[int, str, int], empty: str = '0,"No error"') -> None:
        self.queue = [f'{code},"{words}"' for code, words, _ in errors]
        self.events = 0
        for _, _, bit in errors:
            self.events |= bit
        self.empty = empty
        self.came = b""

    def write(self, data: bytes) -> None:
        match data.decode().strip():
            case "SYST:ERR?":
                self.came += (self.queue.pop(0) if self.queue else self.empty).encode() + b"\n"
            case "*CLS":
                self.queue.clear()
                self.events = 0
            case "*ESR?":
                self.came += f"{self.events}\n".encode()
                self.events = 0
            case "*IDN?":
                self.came += b"Northfen Works,PS-3,0,0\n"
            case "VOLT?" | "CURR?" | "OUTP?" | "STAT:QUES?":
                self.came += b"0\n"

    def read_until(self, end: bytes) -> bytes:
        line, end, self.came = self.came.partition(end)
        return line + end

    def read_exactly(self, count: int) -> bytes:
        taken, self.came = self.came[:count], self.came[count:]
        return taken

    def pause(self, delay_s: float) -> None: ...

    def close(self) -> None: ...


@pytest.fixture
def opened():
    """Return a function giving a driver that is open on a wire."""

    def opened(wire: Standard) -> PowerSupply:
        driver = PowerSupply(load_dialect(DIALECTS / "scpi-1999.yaml", "power-source"), lambda: wire, SimulatedClock())
        driver.open()
        return driver

    return opened


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: str(error[0]))
def test_every_error_of_the_standard_is_told_by_number_and_words(opened, error):
    wire = Standard()
    driver = opened(wire)
    wire.queue.append(f'{error[0]},"{error[1]}"')
    assert [(fault.code, fault.text) for fault in driver.faults()] == [error[:2]]


def test_the_queue_is_read_in_its_order_until_no_error(opened):
    wire = Standard()
    driver = opened(wire)
    wire.queue += [f'{code},"{words}"' for code, words, _ in ERRORS]
    assert [fault.code for fault in driver.faults()] == [code for code, _, _ in ERRORS]


@pytest.mark.parametrize("empty", ['0,"No error"', '+0,"No error"', '0, "No error"'])
def test_an_empty_queue_in_any_spelling(opened, empty):
    assert opened(Standard(empty=empty)).faults() == []


def test_device_words_after_a_semicolon_are_kept(opened):
    wire = Standard()
    driver = opened(wire)
    wire.queue.append('-222,"Data out of range;VOLT 99, limit 6"')
    assert driver.faults()[0].text == "Data out of range;VOLT 99, limit 6"


def test_opening_clears_the_queue_as_cls_does(opened):
    wire = Standard(*ERRORS[:3])
    opened(wire)
    assert wire.queue == []
    assert wire.events == 0


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: str(error[0]))
def test_a_dialect_may_read_the_event_register_bit_by_bit(error):
    """IEEE 488.2 11.5.1.2: OPC 1, RQC 2, QYE 4, DDE 8, EXE 16, CME 32, URQ 64, PON 128."""
    wire = Standard(error)
    wire.write(b"*ESR?\n")
    line = wire.read_until(b"\n").decode()
    for bit in range(8):
        wording = read_wording(f"{{fault|bit {bit}}}", {"fault": FLAG}, (), answer=True)
        assert wording.match(line) == {"fault": float(error[2] == 1 << bit)}


def test_a_supply_without_a_queue_is_asked_for_its_event_register(tmp_path):
    """What an instrument gives in place of SYST:ERR? is a number, and 0 when nothing is wrong."""
    text = (DIALECTS / "scpi-1999.yaml").read_text(encoding="utf-8")
    file = tmp_path / "events.yaml"
    lines = [line for line in text.splitlines() if not line.startswith("errors:")]
    lines = [line.replace("dialect: scpi-1999", "dialect: events") for line in lines]
    file.write_text("\n".join([*lines, 'errors: {send: "*ESR?", answer: "{code}"}']), encoding="utf-8")
    wire = Standard()
    driver = PowerSupply(load_dialect(file, "power-source"), lambda: wire, SimulatedClock())
    driver.open()
    wire.events = 32
    assert [(fault.code, fault.text) for fault in driver.faults()] == [(32, "error 32")]
    assert driver.faults() == []


@pytest.mark.parametrize("signal", ["limiting", "limited"])
@pytest.mark.parametrize(("register", "on"), [(0, 0.0), (1, 1.0), (2, 0.0), (3, 1.0)])
def test_constant_current_is_bit_0_of_the_questionable_registers(signal, register, on):
    """SCPI-1999 vol. 1, 9.4: bit 0 VOLTage, bit 1 CURRent; voltage not regulated means constant current."""
    dialect = load_dialect(DIALECTS / "scpi-1999.yaml", "power-source")
    (wording,) = next(read for read in dialect.reads if signal in read.gives).answer
    assert wording.match(str(register)) == {signal: on}


def test_a_definite_length_block_by_the_letter(opened):
    """IEEE 488.2 8.7.9: '#', one digit n, n digits of the length, then as many bytes, whatever they are."""
    dialect = load_dialect(DIALECTS / "scpi-1999-buffered.yaml", "power-source").bind({})
    data = struct.pack(">3f", 1.5, -0.25, 9.91e37)
    for head in (b"#212", b"#42000"[:2] + b"0012"):
        wire = Standard()
        wire.came = head + data + b"\n"
        answer = Talk(dialect, wire).run(dialect.reads[0])
        assert answer.samples == {"current": [1.5, -0.25, None]}
        assert wire.came == b""
