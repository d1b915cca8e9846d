"""The far ends over their real transports; the clock is simulated, so time passes when the test says so."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import pyvisa
import serial
from pymodbus.client import ModbusSerialClient

from wakerail_kit.clock import RealClock, SimulatedClock
from wakerail_kit.families import DeviceFamily
from wakerail_sim.bench import Addresses, SimSettings, SimulatedBench, parse_fault
from wakerail_sim.usb_end import UsbEnd
from wakerail_sim.usb_port import UsbAttach

WITHIN_S = 10.0
QUIET_S = 0.05  # how long a test listens before it says that nothing comes


@dataclass
class Running:
    bench: SimulatedBench
    clock: SimulatedClock
    at: Addresses

    @property
    def port(self) -> int:
        return int(self.at.supply.split("::")[2])

    @contextmanager
    def client(self) -> Iterator[Client]:
        with socket.create_connection(("127.0.0.1", self.port), WITHIN_S) as link:
            yield Client(link)


@dataclass
class Client:
    link: socket.socket

    def send(self, text: str) -> None:
        self.link.sendall(text.encode())

    def line(self) -> bytes:
        received = b""
        while not received.endswith(b"\n"):
            piece = self.link.recv(1)
            if not piece:
                return received
            received += piece
        return received

    def ask(self, text: str) -> str:
        self.send(text + "\n")
        return self.line().decode().rstrip("\n")

    def is_quiet(self) -> bool:
        self.link.settimeout(QUIET_S)
        try:
            return not self.link.recv(1)
        except TimeoutError:
            return True
        finally:
            self.link.settimeout(WITHIN_S)


@pytest.fixture
def start(tmp_path: Path, family: DeviceFamily) -> Iterator[Any]:
    started: list[SimulatedBench] = []

    def begin(*faults: str) -> Running:
        clock = SimulatedClock()
        settings = SimSettings(tmp_path / "bench", family, faults=tuple(parse_fault(text) for text in faults))
        bench = SimulatedBench(settings, clock)
        started.append(bench)
        return Running(bench, clock, bench.start())

    yield begin
    for bench in started:
        bench.stop()


def test_the_supply_answers_lines_however_they_are_cut(start: Any) -> None:
    with start().client() as client:
        for piece in ("*ID", "N?\r", "\nVOLT 3;VOL", "T?\n"):
            client.send(piece)
        assert client.line() == b"Tarnwick,PS-206,SN3307,2.1\n"
        assert client.line() == b"3.0000\n"


def test_clients_share_one_supply(start: Any) -> None:
    running = start()
    with running.client() as one, running.client() as other:
        assert one.ask("VOLT 4.1;VOLT?") == "4.1000"
        assert other.ask("VOLT?") == "4.1000"
        other.send("FOO\n")
        assert other.ask("*OPC?") == "1"
        assert one.ask("SYST:ERR?") == '-113,"Undefined header"'


def test_a_visa_library_reads_texts_and_blocks(start: Any) -> None:
    running = start()
    manager = pyvisa.ResourceManager("@py")
    try:
        supply = manager.open_resource(running.at.supply, read_termination="\n", write_termination="\n", timeout=5000)
        assert supply.query("*IDN?").startswith("Tarnwick,PS-206")
        supply.write("VOLT 3.85;CURR 3;:OUTP ON;:FORM REAL,32;:SWE:TINT 0.001")
        assert supply.query("*OPC?") == "1"
        running.bench.hands.press()
        running.clock.advance(1.0)
        currents = supply.query_binary_values("FETC:ARR:CURR?", datatype="f", is_big_endian=True)
        voltages = supply.query_binary_values("FETC:ARR:VOLT?", datatype="f", is_big_endian=True)
        assert len(currents) == len(voltages) == 1000
        assert 0.2 < currents[-1] < 0.4
        assert voltages[-1] == pytest.approx(3.85, abs=0.01)
        supply.close()
    finally:
        manager.close()


def test_a_hanging_supply_accepts_and_answers_late(start: Any) -> None:
    running = start()
    with running.client() as client:
        running.bench.hands.hang("supply", 5.0)
        client.send("VOLT?\n")
        with running.client() as other:
            other.send("*IDN?\n")
            assert other.is_quiet()
            assert client.is_quiet()
            running.clock.advance(5.1)
            assert client.line() == b"0.0000\n"
            assert other.line().startswith(b"Tarnwick")
        assert client.ask("OUTP?") == "0"


def test_a_supply_that_hangs_for_good_is_cured_by_its_mains_switch(start: Any) -> None:
    running = start("supply-hangs-after:10s")
    with running.client() as client:
        running.clock.advance(9.9)
        assert client.ask("OUTP ON;OUTP?") == "1"
        running.clock.advance(0.2)
        running.bench.hands.state()  # brings the world to the moment at which it hangs
        client.send("OUTP?\n")
        assert client.is_quiet()
        running.clock.advance(1000.0)
        assert client.is_quiet()
    running.bench.hands.switch_off("supply")
    running.bench.hands.switch_on("supply")
    with running.client() as client:
        assert client.ask("OUTP?;*ESR?") == "0;128"


def test_a_slow_supply_answers_after_its_delay_and_in_order(start: Any) -> None:
    running = start("supply-slow:300ms")
    with running.client() as client:
        client.send("VOLT 2;VOLT?\nCURR?\n")
        assert client.is_quiet()
        running.clock.advance(0.31)
        assert client.line() == b"2.0000\n"
        assert client.line() == b"0.1000\n"


def test_garbled_answers_are_as_many_as_were_asked_for(start: Any) -> None:
    running = start()
    with running.client() as client:
        running.bench.hands.garble("supply", 2)
        for _ in range(2):
            client.send("VOLT?\n")
            garbled = client.line()
            assert garbled.endswith(b"\n")
            assert not garbled.isascii()
        assert client.ask("VOLT?") == "0.0000"


@pytest.mark.parametrize(("share", "spoilt"), [("0", 0), ("0.25", 5), ("1", 20)])
def test_a_share_of_the_answers_is_garbled(start: Any, share: str, spoilt: int) -> None:
    with start(f"supply-garbles:{share}").client() as client:
        found = 0
        for _ in range(20):
            client.send("VOLT?\n")
            found += not client.line().isascii()
        assert found == spoilt


def test_an_unplugged_supply_is_gone_and_goes_on_feeding(start: Any) -> None:
    running = start()
    with running.client() as client:
        assert client.ask("VOLT 3.85;CURR 1;:OUTP ON;OUTP?") == "1"
        running.bench.hands.unplug("supply")
        assert client.line() == b""
    with pytest.raises(ConnectionRefusedError), running.client():
        pass
    assert "output=on" in running.bench.hands.state()
    running.bench.hands.replug("supply")
    with running.client() as client:
        assert client.ask("OUTP?;:VOLT?") == "1;3.8500"


def test_the_supply_is_gone_after_its_time(start: Any) -> None:
    running = start("supply-gone-after:10s")
    with running.client() as client:
        assert client.ask("*OPC?") == "1"
        running.clock.advance(10.1)
        assert client.line() == b""
    assert "unplugged=supply" in running.bench.hands.state()


def test_a_supply_that_is_switched_off_forgets_its_settings(start: Any) -> None:
    running = start()
    with running.client() as client:
        client.ask("VOLT 3.85;CURR 1;:OUTP ON;*OPC?")
        running.bench.hands.switch_off("supply")
        assert client.line() == b""
    assert "output=off" in running.bench.hands.state()
    running.bench.hands.switch_on("supply")
    with running.client() as client:
        assert client.ask("OUTP?;:VOLT?") == "0;0.0000"


def test_a_client_that_reads_late_holds_up_only_itself_and_loses_nothing(start: Any) -> None:
    running = start()
    with running.client() as late, running.client() as client:
        running.clock.advance(30.0)
        assert late.ask("FORM REAL,32;*OPC?") == "1"
        late.send("FETC:ARR:CURR?\n")
        block_bytes = len("#540000") + 40_000 + len("\n")
        received = 0
        while received < block_bytes:
            received += len(late.link.recv(1 << 20))
        late.send("FETC:ARR:VOLT?\n" * 500)  # 20 MB of answers: more than the system keeps for a client
        assert client.ask("*OPC?") == "1"
        received = 0
        while received < 500 * block_bytes:
            piece = late.link.recv(1 << 20)
            assert piece
            received += len(piece)
        assert received == 500 * block_bytes
        assert late.ask("*OPC?") == "1"


def test_the_plate_speaks_on_its_serial_port(start: Any) -> None:
    running = start()
    with serial.Serial(running.at.plate, exclusive=True, timeout=WITHIN_S) as port:
        port.write(b"ID?\r\nSP 120.0\r\nH 1\r\n")
        assert port.readline() == b"Tarnwick,HP-3,SN1042,1.3\r\n"
        assert port.readline() == b"OK\r\n"
        assert port.readline() == b"OK\r\n"
        running.clock.advance(300.0)
        port.write(b"T?\r\n")
        assert float(port.readline()[2:]) == pytest.approx(120.0, abs=1.0)


def test_a_port_can_be_opened_again_and_unplugged(start: Any) -> None:
    running = start()
    for _ in range(3):
        with serial.Serial(running.at.port_tester, exclusive=True, timeout=WITHIN_S) as port:
            port.write(b"ID?\r\n")
            assert port.readline() == b"Tarnwick,PT-8,SN0077,2.0\r\n"
    with serial.Serial(running.at.port_tester, exclusive=True, timeout=WITHIN_S) as port:
        running.bench.hands.unplug("port-tester")
        assert not Path(running.at.port_tester).exists()
        with pytest.raises(serial.SerialException):
            port.write(b"ID?\r\n")
    running.bench.hands.replug("port-tester")
    with serial.Serial(running.at.port_tester, exclusive=True, timeout=WITHIN_S) as port:
        port.write(b"TEST\r\n")
        assert [port.readline() for _ in range(7)][-1] == b"RESULT PASS\r\n"


def test_a_modbus_client_reads_and_writes_the_plate(start: Any) -> None:
    running = start()
    client = ModbusSerialClient(running.at.plate_modbus, timeout=WITHIN_S)
    assert client.connect()
    try:
        assert client.read_holding_registers(0, count=2, device_id=1).registers == [250, 0]
        assert not client.write_register(0, 1800, device_id=1).isError()
        assert not client.write_registers(0, [1900, 1], device_id=1).isError()
        text = client.read_input_registers(16, count=16, device_id=1).registers
        assert struct.pack(">16H", *text).rstrip(b"\0") == b"Tarnwick,HP-3,SN1042,1.3"
        assert client.read_input_registers(40, count=1, device_id=1).exception_code == 2
        assert client.read_coils(0, count=1, device_id=1).exception_code == 1
        with serial.Serial(running.at.plate, exclusive=True, timeout=WITHIN_S) as port:
            port.write(b"SP?\r\nH?\r\n")  # it is the same plate
            assert port.readline() == b"SP=190.0\r\n"
            assert port.readline() == b"H=1\r\n"
    finally:
        client.close()


def events(link: socket.socket, count: int) -> list[dict[str, str]]:
    received = b""
    while received.count(b"\0\0") < count:
        piece = link.recv(65536)
        assert piece
        received += piece
    messages = received.split(b"\0\0")[:count]
    return [dict(field.split("=", 1) for field in message.decode().split("\0")[1:]) for message in messages]


@contextmanager
def usb_client(at: Addresses) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
        link.settimeout(WITHIN_S)
        link.connect(at.usb_socket)
        yield link


def power_and_press(running: Running) -> None:
    with running.client() as client:
        assert client.ask("VOLT 3.85;CURR 3;:OUTP ON;*OPC?") == "1"
    running.bench.hands.press()


def test_uevents_reach_every_client_and_sysfs_is_there_before_them(start: Any) -> None:
    running = start()
    sysfs = Path(running.at.usb_sysfs)
    with usb_client(running.at) as one, usb_client(running.at) as other:
        running.bench.hands.state()
        power_and_press(running)
        running.clock.advance(1.0)
        running.bench.hands.state()  # the bench's own thread may look only after the next advance
        added = events(one, 3)
        assert [(event["ACTION"], event["DEVTYPE"]) for event in added] == [
            ("add", "usb_device"),
            ("add", "usb_interface"),
            ("bind", "usb_device"),
        ]
        folder = sysfs / added[0]["DEVPATH"].lstrip("/")
        assert (folder / "idProduct").read_text(encoding="utf-8") == "0a01\n"
        assert (folder / "descriptors").read_bytes()[8:12] == bytes.fromhex("0912010a")
        running.clock.advance(1.0)
        running.bench.hands.state()
        removed = events(one, 3)
        assert [event["ACTION"] for event in removed] == ["remove", "unbind", "remove"]
        assert removed[-1]["DEVPATH"] == added[0]["DEVPATH"]
        assert not folder.exists()
        numbers = [int(event["SEQNUM"]) for event in [*added, *removed]]
        assert numbers == list(range(numbers[0], numbers[0] + 6))
        assert events(other, 6) == [*added, *removed]


def test_clients_that_connect_at_once_both_hear_of_what_comes_next(tmp_path: Path, family: DeviceFamily) -> None:
    end = UsbEnd(tmp_path, SimulatedClock(), family=family, seed=1, begun_s=0.0)
    end.start()
    try:
        held, free = threading.Event(), threading.Event()

        def hold() -> None:
            held.set()
            free.wait(WITHIN_S)

        end._reactor.post(hold)
        assert held.wait(WITHIN_S)
        with socket.socket(socket.AF_UNIX) as one, socket.socket(socket.AF_UNIX) as other:
            for link in (one, other):
                link.settimeout(WITHIN_S)
                link.connect(str(tmp_path / "usb"))
            end.change(UsbAttach(0.0, 1, family.usb_modes[0]))
            free.set()
            assert events(one, 3) == events(other, 3)
    finally:
        end.stop()


def test_usb_events_come_by_themselves_in_real_time(tmp_path: Path, family: DeviceFamily) -> None:
    with SimulatedBench(SimSettings(tmp_path / "bench", family), RealClock()) as at, usb_client(at) as link:
        port = int(at.supply.split("::")[2])
        with socket.create_connection(("127.0.0.1", port), WITHIN_S) as supply:
            client = Client(supply)
            client.ask("VOLT 3.85;CURR 3;:OUTP ON;*OPC?")
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as hands:
            hands.settimeout(WITHIN_S)
            hands.connect(at.hands)
            hands.sendall(b"press power-button\n")
            assert hands.recv(100) == b"ok\n"
        assert events(link, 1)[0]["PRODUCT"] == "1209/a01/100"


def test_a_dirty_port_shows_in_the_kernels_log_and_nowhere_else(start: Any) -> None:
    running = start("dirty-port")
    with usb_client(running.at) as link:
        power_and_press(running)
        running.clock.advance(10.0)
        running.bench.hands.clean()
        running.clock.advance(1.0)
        assert events(link, 1)[0]["PRODUCT"] == "1209/a02/100"  # the first that is seen is the cleaned port's
    log = Path(running.at.kernel_log).read_text(encoding="utf-8")
    assert log.count("unable to enumerate USB device") == 2
    assert log.index("error -71") < log.index("New USB device found")
