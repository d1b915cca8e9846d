"""What goes wrong with an instrument names it once: the host says which it is, no driver does."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from wakerail.bench import load_plugins
from wakerail.bench.host import InstrumentHost
from wakerail.config import load_bench_config
from wakerail_kit.clock import RealClock
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.events import EventData
from wakerail_kit.messages import Frame, InstrumentState, Status

ABSENT = {
    "supply": "{driver: supply, address: 'TCPIP::127.0.0.1::9::SOCKET', limits: {volts: 5 V, limit: 3 A}}",
    "plate": "{driver: plate, address: nowhere, limits: {temperature: 260 degC}}",
    "plate-modbus": "{driver: plate-modbus, address: nowhere, limits: {temperature: 260 degC}}",
    "port-tester": "{driver: port-tester, address: nowhere}",
    "multimeter": "{driver: multimeter, address: 'TCPIP::127.0.0.1::9::SOCKET'}",
    "usb-watcher": "{driver: usb-watcher, source: uevents, socket: nowhere, sysfs: nowhere}",
}


class Unheard:
    """Waits for an instrument that cannot be reached, and hears of nothing else."""

    def __init__(self) -> None:
        self.unavailable = asyncio.get_running_loop().create_future()

    def frame(self, frame: Frame) -> None: ...
    def event(self, data: EventData, instrument: str, run: str | None) -> None: ...

    def status(self, status: Status) -> None:
        if status.state is InstrumentState.UNAVAILABLE and not self.unavailable.done():
            self.unavailable.set_result(status.words)


@pytest.mark.parametrize("driver", ABSENT)
async def test_an_instrument_that_is_not_there_is_named_once(tmp_path: Path, driver: str) -> None:
    file = tmp_path / "bench.yaml"
    file.write_text(f"bench: b\ninstruments:\n  held-to-account: {ABSENT[driver]}\n", encoding="utf-8")
    (config,) = load_bench_config(file, load_plugins().types, RealClock()).instruments
    unheard = Unheard()
    host = InstrumentHost(config, "b", RealClock(), unheard)
    host.start()
    try:
        words = await asyncio.wait_for(unheard.unavailable, 20)
        assert "held-to-account" not in words
        asked = [host.test(name, run=None) for name in host.kind.tests]
        asked += [host.apply(name, 1.0, run=None) for name in host.kind.settings]
        for result in await asyncio.gather(*asked, return_exceptions=True):
            assert isinstance(result, DeviceUnavailable)
            assert str(result) == f"held-to-account: {words}"
    finally:
        assert await host.stop()
