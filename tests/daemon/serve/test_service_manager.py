"""What goes to a service manager's socket, as sd_notify(3) and sd_watchdog_enabled(3) say."""

from __future__ import annotations

import os
import secrets
import socket

import pytest

from wakerail.serve.service_manager import ServiceManager
from wakerail_kit.clock import SimulatedClock


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path):
    """A service manager's end: a datagram socket, and the address as it stands in the environment."""
    address = str(tmp_path / "n") if request.param == "path" else f"@wakerail-{secrets.token_hex(8)}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as door:
        door.bind(address.replace("@", "\0"))
        door.setblocking(False)
        yield door, {"NOTIFY_SOCKET": address}


def heard(door):
    lines = []
    try:
        while True:
            lines.append(door.recv(4096).decode())
    except BlockingIOError:
        return lines


def test_lines_come_as_one_datagram(manager):
    door, environment = manager
    ServiceManager(environment, SimulatedClock()).tell("READY=1", "STATUS=ready")
    assert heard(door) == ["READY=1\nSTATUS=ready"]


def test_signs_of_life_come_twice_in_the_time_that_is_waited(manager):
    door, environment = manager
    clock = SimulatedClock()
    told = ServiceManager({**environment, "WATCHDOG_USEC": "4000000", "WATCHDOG_PID": str(os.getpid())}, clock)
    for _ in range(40):  # ten seconds
        told.still_here()
        clock.advance(0.25)
    assert heard(door) == ["WATCHDOG=1"] * 5


@pytest.mark.parametrize("more", [{}, {"WATCHDOG_USEC": "4000000", "WATCHDOG_PID": "1"}, {"WATCHDOG_USEC": "soon"}])
def test_no_sign_of_life_where_none_is_asked_of_this_process(manager, more):
    door, environment = manager
    ServiceManager({**environment, **more}, SimulatedClock()).still_here()
    assert heard(door) == []


def test_nobody_to_hear_it_is_no_fault(tmp_path):
    ServiceManager({}, SimulatedClock()).tell("READY=1")
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}, SimulatedClock()).tell("READY=1")
