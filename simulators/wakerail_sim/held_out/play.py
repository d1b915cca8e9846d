"""Plays a setting, and says which part of it is recorded and what happened in it."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail_sim.held_out.machine import Machine, State
from wakerail_sim.held_out.scenes.setting import Setting
from wakerail_sim.held_out.telling import Happened, Span

LONGEST_S = 600.0
SHORTEST_S = 20.0
_MOST_SAMPLES = 599_000
_MOST_RESTARTS = 25
_TRIES_TO_BEGIN, _TRIES_TO_END_LATER, _TRIES_TO_END_EARLIER = 400, 5, 4
_EXAMPLES = 3


@dataclass(frozen=True, slots=True)
class Played:
    """What is recorded of a machine, in its time, and whether it is fit to be.

    ``onset_s`` and ``happened`` are in the recording's time; ``onset_s`` is None if it was on before.
    """

    machine: Machine
    begin_s: float
    end_s: float
    onset_s: float | None
    happened: Happened
    fit: bool

    @property
    def length_s(self) -> float:
        """How long it is."""
        return self.end_s - self.begin_s


def play(setting: Setting, rate_hz: float, *, faulty: bool) -> Played:
    """Let a setting's machine run, to be recorded at ``rate_hz``. It is fit only if a ``faulty`` one restarts."""
    machine = setting.machine
    begin_s, began = _begin(setting)
    end_s = _run(setting, begin_s, rate_hz, faulty=faulty)
    end_s = _cut_short(setting, begin_s, end_s, rate_hz, faulty=faulty)
    restarts = tuple(
        Span(ended_s - begin_s, again_s - begin_s)
        for ended_s, again_s in machine.restarts_s
        if ended_s >= begin_s and again_s < end_s
    )
    boots_s = [boot_s - begin_s for boot_s in machine.boots_s if begin_s <= boot_s < end_s]
    begins_running = setting.begins_s is not None
    onset_s = boots_s[0] if boots_s and not begins_running else None
    too_soon = begins_running and bool(restarts) and restarts[0].begin_s < max(1.0, 20 / rate_hz)
    return Played(
        machine,
        begin_s,
        end_s,
        onset_s,
        _happened(machine, begin_s, end_s - begin_s, onset_s, restarts, boots_s),
        fit=began
        and end_s - begin_s >= SHORTEST_S
        and (bool(restarts) or not faulty)
        and not too_soon
        and len(restarts) <= _MOST_RESTARTS,
    )


def _begin(setting: Setting) -> tuple[float, bool]:
    """Run until the recording begins; return when that is, and whether the machine is in the state it should be."""
    machine = setting.machine
    if setting.switched_on_s is None:
        return 0.0, True
    if setting.begins_s is None:
        machine.at(setting.switched_on_s, machine.power_up)
        machine.draw("always-on", setting.device.off_a)
        return 0.0, True
    machine.at(0.0, machine.power_up)
    machine.run(setting.begins_s)
    wanted: set[State] = {"sleep"} if setting.begins_asleep else {"run", "sleep"}
    for _ in range(_TRIES_TO_BEGIN):
        settled = not machine.restarts_s or machine.now_s - machine.boots_s[-1] > 2
        if machine.state in wanted and settled:
            break
        machine.run(machine.now_s + 0.5)
    return machine.now_s, machine.state in wanted


def _run(setting: Setting, begin_s: float, rate_hz: float, *, faulty: bool) -> float:
    """Run until the recording has its length, and on if it would end in the begin of a boot; return when it ends."""
    machine, boot_s = setting.machine, setting.device.boot_s
    longest_s = min(LONGEST_S, _MOST_SAMPLES / rate_hz)
    end_s = begin_s + setting.length_s
    machine.run(end_s)
    for _ in range(_TRIES_TO_END_LATER):
        late_s = [again_s for _, again_s in machine.restarts_s if again_s > end_s - boot_s * 1.2]
        if machine.ended_s is not None and faulty:
            late_s.append(machine.now_s)
        if not late_s or end_s - begin_s >= longest_s:
            break
        end_s = min(begin_s + longest_s, late_s[-1] + boot_s * setting.chance.uniform(1.3, 3.0))
        machine.run(end_s)
    return end_s


def _cut_short(setting: Setting, begin_s: float, end_s: float, rate_hz: float, *, faulty: bool) -> float:
    """Return when the recording ends so that it shows enough of its last boot."""
    machine = setting.machine
    for tried in range(_TRIES_TO_END_EARLIER):
        needed_s = 50 / rate_hz if tried else max(16 / rate_hz, 0.4 * setting.device.boot_s)
        cut_s = [ended_s for ended_s, again_s in machine.restarts_s if 0 < end_s - again_s < needed_s]
        if not cut_s:
            break
        end_s = cut_s[0] - max(0.05, 0.002 * setting.length_s)
    if machine.ended_s is not None and machine.ended_s > begin_s and faulty:
        end_s = min(end_s, machine.ended_s - 0.05)
    return end_s


def _happened(
    machine: Machine,
    begin_s: float,
    length_s: float,
    onset_s: float | None,
    restarts: tuple[Span, ...],
    boots_s: list[float],
) -> Happened:
    ran_s = [ran_s - begin_s for ran_s in machine.ran_s]
    next_s = [restart.begin_s for restart in restarts[1:]] + [length_s]
    boots_end_s = tuple(
        min([until_s, length_s, *[at_s for at_s in ran_s if at_s > restart.end_s][:1]])
        for restart, until_s in zip(restarts, next_s, strict=False)
    )
    stops_s = sorted(ran_s + [restart.begin_s for restart in restarts])
    boots = [Span(boot_s, next((stop_s for stop_s in stops_s if stop_s > boot_s), length_s)) for boot_s in boots_s]
    longest = sorted(boots, key=lambda boot: -boot.length_s)[:_EXAMPLES]
    return Happened(onset_s or 0.0, restarts, boots_end_s, (*longest, *boots[:1]))
