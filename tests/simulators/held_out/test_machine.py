"""A machine does what is asked of it when it is due, and keeps what became of it."""

from __future__ import annotations

import numpy as np
import pytest

from wakerail_sim.held_out.agenda import Agenda, Process
from wakerail_sim.held_out.command import Command
from wakerail_sim.held_out.devices import DEVICES
from wakerail_sim.held_out.happenings.supply import Contact, WeakSupply, open_contact
from wakerail_sim.held_out.machine import Machine

DEVICE = DEVICES[0]


def idle_firmware(machine: Machine, cold: bool) -> Process:
    """Boot for a second, twice as long when cold, and then do nothing."""
    machine.need("boot", 0.5)
    yield 2.0 if cold else 1.0
    machine.end("boot")
    machine.enter("run")


def machine_of(seed: int = 1) -> Machine:
    return Machine(DEVICE, np.random.default_rng(seed), idle_firmware)


def running_machine() -> Machine:
    machine = machine_of()
    machine.at(1.0, machine.power_up)
    machine.run(10.0)
    return machine


def test_calls_come_in_order_of_time_and_of_asking() -> None:
    agenda, called = Agenda(), list[tuple[str, float]]()
    for name, at_s in (("late", 2.0), ("first", 1.0), ("second", 1.0), ("too late", 9.0)):
        agenda.at(at_s, lambda name=name: called.append((name, agenda.now_s)))  # type: ignore[misc]
    agenda.run(5.0)
    assert called == [("first", 1.0), ("second", 1.0), ("late", 2.0)]
    assert agenda.now_s == 5.0


def test_a_command_ramps_from_where_the_last_one_got() -> None:
    command = Command()
    command.change(1.0, 1.0, ramp_s=2.0)
    command.change(2.0, 0.0, ramp_s=1.0)
    np.testing.assert_allclose(command.over(np.array([0.0, 1.5, 2.0, 2.5, 4.0])), [0.0, 0.25, 0.5, 0.25, 0.0])
    assert command.level == 0.0


def test_it_boots_when_power_comes_and_then_runs() -> None:
    machine = running_machine()
    assert (machine.boots_s, machine.ran_s, machine.restarts_s) == ([1.0], [3.0], [])
    assert machine.is_running
    assert machine.is_up


def test_a_cut_ends_what_the_firmware_does_and_restarts_it_later() -> None:
    machine = running_machine()
    machine.at(10.0, lambda: machine.cut(0.5))
    machine.run(10.2)
    assert (machine.state, machine.ended_s) == ("off", 10.0)
    assert machine.total_a == DEVICE.off_a
    machine.run(20.0)
    assert machine.restarts_s == [(10.0, 10.5)]
    assert machine.ran_s == [3.0, 12.5]


def test_a_cut_in_the_boot_means_that_it_never_ran() -> None:
    machine = machine_of()
    machine.at(1.0, machine.power_up)
    machine.at(2.0, lambda: machine.cut(0.5))
    machine.run(3.2)
    assert machine.ran_s == []


def test_a_warm_reset_has_no_gap() -> None:
    machine = running_machine()
    machine.reset(None)
    machine.run(20.0)
    assert machine.restarts_s == [(10.0, 10.0)]
    assert machine.ran_s == [3.0, 11.0]


def test_nothing_resets_what_is_off_and_what_was_switched_off_stays_so() -> None:
    machine = running_machine()
    machine.switch_off()
    machine.reset(None)
    machine.cut(1.0)
    machine.run(200.0)
    assert (machine.state, machine.restarts_s, machine.boots_s) == ("off", [], [1.0])


def test_the_core_draws_more_the_more_is_needed_of_it() -> None:
    machine = running_machine()
    levels_a = [machine.loads["core"].level]
    for task in ("one", "two", "three", "four"):
        machine.need(task, 0.3)
        levels_a.append(machine.loads["core"].level)
    assert levels_a == sorted(set(levels_a))
    assert levels_a[-1] == pytest.approx(DEVICE.core_busy_a * machine.scale)
    for task in ("one", "two", "three", "four"):
        machine.end(task)
    assert machine.loads["core"].level == levels_a[0]


def test_a_weak_supply_gives_up_after_too_much_for_too_long() -> None:
    machine = running_machine()
    much_a = DEVICE.core_busy_a + 0.2
    supply = WeakSupply(machine, machine.total_a + much_a - 0.1, bearable_s=0.01)
    machine.watch_load = supply.watch
    for begin_s, end_s in ((11.0, 11.005), (12.0, 12.02)):
        machine.at(begin_s, lambda: machine.draw("leak", much_a))
        machine.at(end_s, lambda: machine.draw("leak", 0.0))
    machine.run(11.5)
    assert machine.is_running
    machine.run(20.0)
    assert [ended_s for ended_s, _ in machine.restarts_s] == [pytest.approx(12.01)]


@pytest.mark.parametrize(("open_s", "carried"), [(0.01, True), (0.5, False)])
def test_capacitors_carry_it_through_a_short_opening_only(open_s: float, carried: bool) -> None:
    machine = running_machine()
    contact = Contact(every_s=5.0, open_s=open_s, deviation=0.1, longest_s=2.0, carried_s=0.05)
    machine.surround(open_contact(machine, contact))
    machine.run(60.0)
    assert len(machine.opens_s) > 3
    assert (not machine.restarts_s) == carried
