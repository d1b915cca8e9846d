"""What a running simulated bench says of itself, and that nothing is believed of one that does not run."""

from __future__ import annotations

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.bench import SimSettings, SimulatedBench
from wakerail_sim.fast_clock import FastClock
from wakerail_sim.running import running_bench


def test_a_running_bench_tells_its_instruments_and_its_clock(tmp_path, family):
    folder = tmp_path / "bench"
    with SimulatedBench(SimSettings(folder, family)) as addresses:
        running = running_bench(folder)
        assert running.addresses == addresses
        assert {addresses.supply, addresses.plate, addresses.usb_socket} < addresses.instruments
        assert running.fast_clock is None
    with SimulatedBench(SimSettings(folder, family), FastClock.new(15.0)):
        fast = running_bench(folder).fast_clock
        assert fast is not None
        assert fast.speed == 15.0


def test_a_bench_that_does_not_run_is_none(tmp_path, family):
    folder = tmp_path / "bench"
    with pytest.raises(ConfigInvalid, match="no simulated bench runs there; start one with 'wakerail sim --dir"):
        running_bench(folder)
    with SimulatedBench(SimSettings(folder, family)):
        told = (folder / "addresses.json").read_bytes()
    (folder / "addresses.json").write_bytes(told)  # as one that was killed leaves it
    with pytest.raises(ConfigInvalid, match="no simulated bench runs there"):
        running_bench(folder)
