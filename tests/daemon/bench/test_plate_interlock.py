"""The plate's interlocks on the simulated plate, over its real serial line and driver."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest
from pymodbus.client import ModbusSerialClient

from wakerail.bench import Bench, load_plugins
from wakerail.bus import Bus
from wakerail.config import load_bench_config
from wakerail.journal import Journal
from wakerail_kit import topics
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import DeviceRefused
from wakerail_kit.events import InterlockTripped, read_event
from wakerail_kit.families import load_families
from wakerail_kit.messages import Event, Frame, InstrumentState
from wakerail_sim.bench import SimSettings, SimulatedBench, parse_fault
from wakerail_sim.hands import tell

BENCH_YAML = """\
bench: bench-1
instruments:
  plate: {{driver: plate, address: {address}, dialect: plate-ascii, rate: 50 Hz, limits: {{temperature: 260 degC}}}}
"""


def turn_up(address: str) -> None:
    """Set the plate to 200 degC over its other line, behind the daemon's back."""
    with ModbusSerialClient(address, baudrate=9600, timeout=2) as client:
        assert not client.write_register(0, 2000, device_id=1).isError()


@pytest.mark.parametrize(
    ("fault", "interlock"),
    [
        (None, "second-source"),
        ("plate-sensor-open-after:3s", "sensor-open"),
        ("plate-gone-after:3s", "lost-communication"),
    ],
)
async def test_the_heater_goes_off_and_stays_off_until_a_person_resets(
    tmp_path: Path, project: Path, fault: str | None, interlock: str
) -> None:
    (family,) = load_families(project / "config" / "devices")
    faults = (parse_fault(fault),) if fault else ()
    with SimulatedBench(SimSettings(folder=tmp_path / "sim", family=family, faults=faults)) as addresses:
        file = tmp_path / "bench.yaml"
        file.write_text(BENCH_YAML.format(address=addresses.plate), encoding="utf-8")
        clock, bus = RealClock(), Bus()
        config = load_bench_config(file, load_plugins().types, clock)
        journal = await Journal.open(str(tmp_path / "journal.sqlite"), bench="bench-1", clock=clock)
        tripped: asyncio.Future[InterlockTripped] = asyncio.get_running_loop().create_future()
        frames: asyncio.Queue[Frame] = asyncio.Queue()

        def look(_: str, message: object) -> None:
            if isinstance(message, Frame):
                frames.put_nowait(message)
            if isinstance(message, Event) and (trip := read_event(message, InterlockTripped)) and not tripped.done():
                tripped.set_result(trip)

        bus.subscribe(topics.everything("bench-1"), look)
        bench = Bench(config, clock, bus, journal)
        async with asyncio.timeout(30), bench.hosting():
            plate = bench.instruments["plate"]
            read = 0
            while read < 40:  # the sensor must have been seen for half a second
                read += len((await frames.get()).t_s)
            with pytest.raises(DeviceRefused, match="above this bench's limit"):
                await plate.apply("temperature", 300.0, run=None)
            await plate.apply("temperature", 120.0, run=None)
            with pytest.raises(DeviceRefused, match="heat needs a person at the bench"):
                await plate.apply("heater", True, run=None)
            assert bench.person_present("Ilse") == pytest.approx(180.0)
            await plate.apply("heater", True, run=None)
            assert "heater=on" in tell(tmp_path / "sim", "state")
            if interlock == "second-source":
                await asyncio.to_thread(turn_up, addresses.plate_modbus)
            trip = await tripped
            assert trip.interlock == interlock
            if interlock == "lost-communication":  # nothing reaches it, and that is said
                assert "PULL ITS PLUG" in trip.says
                return
            assert "heater=off" in tell(tmp_path / "sim", "state")
            assert plate.state is InstrumentState.TRIPPED
            with pytest.raises(DeviceRefused, match="a person must look"):
                await plate.apply("heater", True, run=None)
            assert "heater=off" in tell(tmp_path / "sim", "state")
        await journal.close()
