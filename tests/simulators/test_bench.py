from __future__ import annotations

import contextlib
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from wakerail_kit.clock import SimulatedClock
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable
from wakerail_kit.families import DeviceFamily
from wakerail_sim.bench import SimSettings, SimulatedBench
from wakerail_sim.hands import tell

KILLED = """
import os, sys
from pathlib import Path
from wakerail_kit.families import DeviceFamily
from wakerail_sim.bench import SimSettings, SimulatedBench
SimulatedBench(SimSettings(Path(sys.argv[1]), DeviceFamily("any", "", 3.8, ()))).start()
os.kill(os.getpid(), 9)
"""


def open_files() -> set[str]:
    """What each open descriptor stands for: a count would also move when an earlier test's file is collected."""
    found = set()
    for descriptor in Path("/proc/self/fd").iterdir():
        with contextlib.suppress(FileNotFoundError):  # the one that the listing itself held
            found.add(str(descriptor.readlink()))
    return found


def bench(folder: Path, family: DeviceFamily, port: int = 0) -> SimulatedBench:
    return SimulatedBench(SimSettings(folder, family, supply_port=port), SimulatedClock())


def refusal(folder: Path, family: DeviceFamily, port: int = 0) -> str:
    threads, files = threading.active_count(), open_files()
    with pytest.raises(ConfigInvalid) as refused:
        bench(folder, family, port).start()
    assert "\n" not in str(refused.value)
    assert threading.active_count() == threads
    assert open_files() <= files
    return str(refused.value)


def test_everything_is_found_under_its_fixed_name(tmp_path: Path, family: DeviceFamily) -> None:
    folder = tmp_path / "new" / "bench"
    with bench(folder, family) as at:
        assert at.supply.startswith("TCPIP::127.0.0.1::")
        assert at.supply.endswith("::SOCKET")
        for name, path in (
            ("plate", at.plate),
            ("plate-modbus", at.plate_modbus),
            ("port-tester", at.port_tester),
            ("usb", at.usb_socket),
            ("sysfs", at.usb_sysfs),
            ("kernel-log", at.kernel_log),
            ("hands", at.hands),
        ):
            assert Path(path) == folder / name
            assert Path(path).exists()
        assert (folder / "plate").is_symlink()
        assert (folder / "usb").is_socket()
    assert sorted(path.name for path in folder.iterdir()) == ["kernel-log", "lock"]


def test_opening_and_closing_leaks_neither_threads_nor_files(tmp_path: Path, family: DeviceFamily) -> None:
    with bench(tmp_path / "bench", family):
        pass
    threads, files = threading.active_count(), open_files()
    for _ in range(5):
        with bench(tmp_path / "bench", family) as at:
            port = int(at.supply.split("::")[2])
            with socket.create_connection(("127.0.0.1", port), 10.0) as client:
                client.sendall(b"*IDN?\n")
                assert client.recv(100).startswith(b"Tarnwick")
                left_open = socket.create_connection(("127.0.0.1", port), 10.0)
            assert tell(tmp_path / "bench", "unplug plate") == "ok"
        with left_open, contextlib.suppress(ConnectionResetError):  # which it is if it was not accepted yet
            assert left_open.recv(1) == b""
        assert threading.active_count() == threads
    assert open_files() <= files


def test_stopping_twice_does_no_harm_and_hands_say_that_it_stopped(tmp_path: Path, family: DeviceFamily) -> None:
    stopped = bench(tmp_path / "bench", family)
    stopped.start()
    stopped.stop()
    stopped.stop()
    with pytest.raises(DeviceUnavailable, match="has stopped"):
        stopped.hands.unplug("plate")


def test_a_second_simulator_in_the_folder_is_refused(tmp_path: Path, family: DeviceFamily) -> None:
    folder = tmp_path / "bench"
    with bench(folder, family):
        assert "another simulated bench runs in this folder" in refusal(folder, family)
        assert tell(folder, "state").startswith("ok")  # the first one is unharmed
    with bench(folder, family):
        assert tell(folder, "state").startswith("ok")


def test_what_a_killed_simulator_left_is_replaced(tmp_path: Path, family: DeviceFamily) -> None:
    folder = tmp_path / "bench"
    killed = subprocess.run([sys.executable, "-c", KILLED, str(folder)], check=False, timeout=50)
    assert killed.returncode == -9
    assert (folder / "usb").is_socket()
    assert (folder / "plate").is_symlink()
    with bench(folder, family):
        assert tell(folder, "state").startswith("ok")


@pytest.mark.parametrize("name", ["plate", "sysfs", "hands", "kernel-log"])
def test_files_of_someone_else_are_left_alone(tmp_path: Path, family: DeviceFamily, name: str) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    assert "choose an empty folder" in refusal(tmp_path, family)
    assert (tmp_path / name).read_text(encoding="utf-8") == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == [name]


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path, family: DeviceFamily) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert "cannot be used as a bench's folder" in refusal(tmp_path / "file" / "bench", family)


def test_a_path_that_is_too_long_for_a_socket_is_refused(tmp_path: Path, family: DeviceFamily) -> None:
    says = refusal(tmp_path / ("x" * 110), family)
    assert "too long" in says
    assert "shorter" in says


def test_a_busy_port_is_refused_in_one_line(tmp_path: Path, family: DeviceFamily) -> None:
    with socket.create_server(("127.0.0.1", 0)) as busy:
        number = busy.getsockname()[1]
        says = refusal(tmp_path / "bench", family, number)
    assert says == f"supply port {number} is in use; choose another, or 0 for any free one"
    assert "cannot be used" in refusal(tmp_path / "bench", family, 70000)


def test_a_chosen_port_is_taken(tmp_path: Path, family: DeviceFamily) -> None:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        number = probe.getsockname()[1]
    with bench(tmp_path / "bench", family, number) as at:
        assert at.supply == f"TCPIP::127.0.0.1::{number}::SOCKET"


def test_a_relative_folder_is_given_out_whole(
    tmp_path: Path, family: DeviceFamily, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with bench(Path("bench"), family) as at:
        assert Path(at.plate).is_absolute()
        assert tell(Path("bench"), "state").startswith("ok")
