"""The fast clock: what it promises whatever the machine does, and that every process reads the same one."""

from __future__ import annotations

import subprocess
import sys
import threading
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.fast_clock import AWAITED_S, GONE_S, LEASH_S, FastClock


class Machine:
    """The machine's monotonic time, moved by hand."""

    def __init__(self) -> None:
        self.at_s = 1000.0

    def __call__(self) -> float:
        return self.at_s


SPEED = 12.0
STEPS = st.lists(
    st.tuples(st.floats(0.0, 5.0), st.sampled_from(["nothing", "renew", "beat", "beat and renew"])), max_size=60
)


@given(STEPS)
def test_it_never_goes_back_and_never_faster_than_its_speed(steps):
    machine = Machine()
    clock = FastClock.new(SPEED, machine)
    before_s = clock.monotonic_s()
    for delay_s, happens in steps:
        machine.at_s += delay_s
        if "beat" in happens:
            clock.beat()
        if "renew" in happens:
            clock.renew()
        now_s = clock.monotonic_s()
        assert -1e-6 <= now_s - before_s <= SPEED * min(delay_s, LEASH_S) + 1e-6
        before_s = now_s


def run(clock, machine, machine_s, *, beats, every_s=0.002):
    """Let so much of the machine's time go by, renewing the clock; return how far it went."""
    began_s = clock.monotonic_s()
    for _ in range(round(machine_s / every_s)):
        machine.at_s += every_s
        if beats:
            clock.beat()
        clock.renew()
    return clock.monotonic_s() - began_s


def test_it_runs_at_its_speed_and_stands_still_until_its_daemon_catches_up():
    machine = Machine()
    clock = FastClock.new(SPEED, machine)
    assert clock.monotonic_s() == pytest.approx(machine.at_s)
    machine.at_s += 1.0
    assert clock.monotonic_s() == pytest.approx(1000.0)  # nobody has renewed it
    clock.renew()
    assert run(clock, machine, 1.0, beats=False) == pytest.approx(SPEED, rel=0.02)  # no daemon yet
    assert run(clock, machine, 1.0, beats=True) == pytest.approx(SPEED, rel=0.02)
    assert run(clock, machine, GONE_S / 2, beats=False) <= 2 * LEASH_S * SPEED  # it has fallen behind
    assert run(clock, machine, 1.0, beats=True) == pytest.approx(SPEED, rel=0.02)
    run(clock, machine, GONE_S, beats=False)
    assert run(clock, machine, 1.0, beats=False) == pytest.approx(SPEED, rel=0.02)  # it has gone


def test_it_stands_still_until_a_late_thread_has_come_back():
    machine = Machine()
    clock = FastClock.new(SPEED, machine)
    clock.renew()
    never = threading.Event()
    assert not clock.wait(never, 0.0)  # this thread wakes, and does something now
    assert run(clock, machine, 0.9 * AWAITED_S, beats=True) <= 3 * LEASH_S * SPEED
    assert not clock.wait(never, 0.0)
    assert run(clock, machine, LEASH_S, beats=True) > 0
    run(clock, machine, AWAITED_S, beats=True)
    assert run(clock, machine, 1.0, beats=True) == pytest.approx(SPEED, rel=0.02)  # it waits for a slow answer


class Starved(threading.Event):
    """An event whose waiter does not come back from it until the test lets it."""

    def __init__(self) -> None:
        super().__init__()
        self.waited_for, self.may_go_on = threading.Event(), threading.Event()

    def wait(self, timeout: float | None = None) -> bool:
        self.waited_for.set()
        self.may_go_on.wait()
        return False


def test_it_goes_no_further_than_a_thread_that_is_to_wake():
    machine, event = Machine(), Starved()
    clock = FastClock.new(SPEED, machine)
    clock.renew()
    waits = threading.Thread(target=clock.wait, args=(event, 6.0))
    waits.start()
    event.waited_for.wait()
    assert 6.0 <= run(clock, machine, 1.5, beats=True) <= 6.0 + 3 * LEASH_S * SPEED
    event.may_go_on.set()
    waits.join()
    run(clock, machine, GONE_S, beats=True)
    assert run(clock, machine, 1.0, beats=True) == pytest.approx(SPEED, rel=0.02)


def test_civil_time_goes_as_fast():
    machine = Machine()
    clock = FastClock.new(SPEED, machine)
    clock.renew()
    began, began_s = clock.now(), clock.monotonic_s()
    run(clock, machine, 10.0, beats=False)
    assert (clock.now() - began).total_seconds() == pytest.approx(clock.monotonic_s() - began_s, abs=1e-5)


def test_processes_that_share_it_read_the_same_time(tmp_path: Path):
    machine = Machine()
    ours = FastClock.new(SPEED, machine)
    run(ours, machine, 0.5, beats=False)
    ours.share(tmp_path / "clock")
    theirs = FastClock.of(tmp_path / "clock", machine)
    run(ours, machine, 0.5, beats=False)
    assert theirs.speed == SPEED
    assert (theirs.monotonic_s(), theirs.now()) == (ours.monotonic_s(), ours.now())
    theirs.beat()
    assert run(ours, machine, GONE_S / 2, beats=False) <= 2 * LEASH_S * SPEED


def test_a_file_that_holds_no_clock_is_refused(tmp_path: Path):
    for name, content in (("empty", b""), ("short", b"x")):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(ConfigInvalid, match="cannot be read as a simulated bench's clock"):
            FastClock.of(tmp_path / name)
    with pytest.raises(ConfigInvalid, match="cannot be read"):
        FastClock.of(tmp_path / "absent")


@pytest.fixture
def running():
    """A clock on the machine's own time, renewed by a thread."""
    clock, ended = FastClock.new(20.0), threading.Event()

    def renew():
        while not ended.wait(0.001):
            clock.renew()

    thread = threading.Thread(target=renew)
    thread.start()
    yield clock
    ended.set()
    thread.join()


async def test_sleepers_and_waiters_wake_by_this_clock(running):
    began_s = running.monotonic_s()
    await running.sleep(2.0)
    assert running.monotonic_s() - began_s >= 2.0
    event, began_s = threading.Event(), running.monotonic_s()
    assert not running.wait(event, 1.0)
    assert running.monotonic_s() - began_s >= 1.0
    event.set()
    assert running.wait(event, 3600.0)


RENEWS_ON = """
import sys, time
from pathlib import Path
from wakerail_sim.fast_clock import FastClock
clock = FastClock.of(Path(sys.argv[1]))
print("begun", flush=True)
until_s = time.monotonic() + 30.0
while time.monotonic() < until_s:
    for _ in range(1000):
        clock.renew()
"""


def test_a_time_that_another_process_writes_just_now_is_never_read_in_halves(tmp_path):
    """Looked at a hundred thousand times while it is written without a pause, it never goes back, nor far ahead."""
    clock = FastClock.new(SPEED)
    clock.share(tmp_path / "clock")
    with subprocess.Popen(
        [sys.executable, "-c", RENEWS_ON, str(tmp_path / "clock")], stdout=subprocess.PIPE
    ) as simulator:
        try:
            assert simulator.stdout is not None
            assert simulator.stdout.readline() == b"begun\n"
            read_s = [clock.monotonic_s() for _ in range(100_000)]
        finally:
            simulator.kill()
    ahead_s = [after_s - before_s for before_s, after_s in pairwise(read_s)]
    assert min(ahead_s) > -SPEED * LEASH_S
    assert abs(read_s[-1] - read_s[0]) < 60.0 * SPEED
