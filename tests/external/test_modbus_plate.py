"""The plate's Modbus driver against an independent server: pymodbus's, on its own serial port, joined by a line."""

import asyncio
import os
import select
import threading
import tty

import pytest
from pymodbus.framer import FramerType
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.errors import DeviceRefused, OutOfSync
from wakerail_kit.hooks import BuildContext
from wakerail_kit.yamldoc import parse_yaml
from wakerail_plugins import heating_plate


class Line:
    """Two serial ports joined end to end; what goes into one comes out of the other."""

    def __init__(self) -> None:
        self._fds = [*os.openpty(), *os.openpty(), *os.pipe()]
        self._near, near_end, self._far, far_end, self._stop, self._stopping = self._fds
        tty.setraw(near_end)
        tty.setraw(far_end)
        self.near, self.far = os.ttyname(near_end), os.ttyname(far_end)
        self._thread = threading.Thread(target=self._pump, name="line")
        self._thread.start()

    def _pump(self) -> None:
        other = {self._near: self._far, self._far: self._near}
        while True:
            ready, _, _ = select.select([*other, self._stop], [], [])
            if self._stop in ready:
                return
            for end in ready:
                os.write(other[end], os.read(end, 4096))

    def close(self) -> None:
        os.write(self._stopping, b"x")
        self._thread.join(5)
        for fd in self._fds:
            os.close(fd)


class Server:
    """pymodbus's serial server in a thread of its own, holding the registers of the shipped map."""

    def __init__(self, port: str, unit: int = 1) -> None:
        self.registers: dict[tuple[int, int], int] = {}  # what was written, by function and address
        self._port = port
        self._unit = unit
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="modbus-server")
        self._thread.start()
        assert self._ready.wait(10)

    async def _serve(self) -> None:
        text = "Tarnwick,HP-3,SN1042,1.3".ljust(32, "\0")
        nothing = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
        holding = [SimData(0, values=[250, 0], datatype=DataType.REGISTERS)]
        inputs = [
            SimData(0, values=[2314, 0], datatype=DataType.REGISTERS),
            SimData(16, values=text, datatype=DataType.STRING),
        ]

        async def note(function, start, address, count, current, values):
            if values is not None:
                self.registers[function, address] = values[0]
            if function == 4 and address <= 1 < address + count:  # the heater's state follows what was written to it
                current[1 - start] = self.registers.get((6, 1), 0)

        device = SimDevice(self._unit, simdata=(nothing, nothing, holding, inputs), action=note)
        server = ModbusSerialServer(device, framer=FramerType.RTU, port=self._port, baudrate=19200)
        self._loop, self._done = asyncio.get_running_loop(), asyncio.Event()
        await server.serve_forever(background=True)
        self._ready.set()
        await self._done.wait()
        await server.shutdown()

    def stop(self) -> None:
        self._loop.call_soon_threadsafe(self._done.set)
        self._thread.join(10)
        assert not self._thread.is_alive()


@pytest.fixture
def line():
    joined = Line()
    yield joined
    joined.close()


@pytest.fixture
def server(line):
    far_end = Server(line.far)
    yield far_end
    far_end.stop()


def build(text, project):
    document = parse_yaml(text, "bench.yaml")
    (offered,) = [each for each in heating_plate.wakerail_instrument_types() if each.name == "plate-modbus"]
    context = BuildContext(SimulatedClock(), "bench", "plate", project / "config" / "dialects", ())
    built = offered.build(document.top, context)
    document.finish()
    return built


@pytest.fixture
def driver(line, project):
    built = build(f"address: {line.near}\ntimeout: 2 s", project)
    yield built
    built.close()


def test_a_plate_is_identified_read_set_heated_and_made_safe(server, driver):
    """The whole way through a library that is not ours, by the shipped register map."""
    assert driver.open().text == "Tarnwick,HP-3,SN1042,1.3"
    assert server.registers == {}, "opening writes nothing"
    assert driver.read().signals == {"temperature": [231.4], "setpoint": [25.0], "heater": [0.0]}
    driver.set_temperature_c(228.5)
    driver.set_heater(True)
    assert server.registers == {(6, 0): 2285, (6, 1): 1}
    assert driver.read().signals == {"temperature": [231.4], "setpoint": [228.5], "heater": [1.0]}
    driver.make_safe()
    assert server.registers[6, 1] == 0


def test_a_register_that_is_not_there_is_refused_in_words(server, line, project, tmp_path):
    """The server's own exception answer."""
    text = (project / "config" / "dialects" / "plate-modbus.yaml").read_text()
    (tmp_path / "config" / "dialects").mkdir(parents=True)
    wrong = text.replace("setpoint:     {table: holding, address: 0", "setpoint:     {table: holding, address: 700")
    assert wrong != text
    (tmp_path / "config" / "dialects" / "plate-modbus.yaml").write_text(wrong)
    driver = build(f"address: {line.near}\ntimeout: 2 s", tmp_path)
    driver.open()
    with pytest.raises(DeviceRefused, match="it has no such register"):
        driver.set_temperature_c(100.0)
    driver.close()


def test_nobody_at_the_other_end_is_out_of_step(line, project):
    """The port opens and nothing answers."""
    driver = build(f"address: {line.near}\ntimeout: 100 ms", project)
    with pytest.raises(OutOfSync, match="no sound answer"):
        driver.open()
    driver.close()
