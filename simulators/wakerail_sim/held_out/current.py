"""What a device's supply sees of what its loads were told to draw."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from wakerail_sim.held_out.draws import ornstein_uhlenbeck
from wakerail_sim.held_out.machine import Inrush, Load, Machine
from wakerail_sim.noise import Floats

_PWM_SHOWS_HZ = 900.0  # slower samples average over it
_PWM_DUTY = 0.6
_WARMS_S = 40.0


def draw_current(
    machine: Machine, chance: np.random.Generator, t_s: Floats, rate_hz: float, limit_a: float | None
) -> Floats:
    """Return the current (A) at times that are evenly ``rate_hz`` apart; the supply may limit it to about so much."""
    course = _Course(machine, chance, t_s, rate_hz)
    current_a = _warmed(machine, course.device_a(), rate_hz)
    for inrush in machine.inrushes:
        _add_inrush(current_a, t_s, rate_hz, inrush)
    current_a += course.of("charger") * (1 + 0.003 * course.wander(1.0))
    current_a += course.of("leak") * (1 + 0.08 * course.wander(0.2))
    if limit_a:
        over = current_a > limit_a
        current_a[over] = limit_a * (1 + 0.004 * chance.standard_normal(int(over.sum())))
    decoupling_s = chance.uniform(0.3e-3, 2e-3)
    kept = np.exp(-1 / rate_hz / decoupling_s)
    decoupled_a: Floats = lfilter([1 - kept], [1, -kept], current_a, zi=[current_a[0] * kept])[0]
    for begin_s, end_s in machine.opens_s:
        begin, end = np.searchsorted(t_s, (begin_s, end_s))
        decoupled_a[begin : max(end, begin + 1)] = 0
    return np.maximum(decoupled_a, 0)


class _Course:
    """The courses of a machine's loads, with what fluctuates in them."""

    def __init__(self, machine: Machine, chance: np.random.Generator, t_s: Floats, rate_hz: float) -> None:
        self._machine = machine
        self._chance = chance
        self._t_s = t_s
        self._rate_hz = rate_hz

    def of(self, load: Load) -> Floats:
        """Return what a load was told to draw (A)."""
        return self._machine.loads[load].over(self._t_s)

    def wander(self, tau_s: float) -> Floats:
        """Draw a process of unit variance whose values are alike for about ``tau_s``."""
        return ornstein_uhlenbeck(self._chance, len(self._t_s), self._rate_hz, tau_s)

    def device_a(self) -> Floats:
        """Draw what the device takes: its regulated rails, and what has no regulator."""
        rails_a = self._core_and_memory_a()
        rails_a += self._display_a()
        rails_a += self.of("storage") * np.where(self.wander(0.015) > -0.2, 1.45, 0.25)
        direct_a = self._unregulated_a()
        rails_a += self.of("receiver") * (1 + 0.05 * self.wander(0.02))
        return self._regulated_a(rails_a) + direct_a + self.of("always-on")

    def _core_and_memory_a(self) -> Floats:
        activity = self._machine.activity.over(self._t_s)
        wandering = 0.5 * self.wander(0.004) + 0.6 * self.wander(0.05) + 0.5 * self.wander(0.6)
        works = (self.wander(0.03) > 0.5).astype(float)  # in bursts, between waits
        core = np.clip(1 + activity * (wandering * 0.6 + 0.9 * (works - 0.31)), 0.15, 2.2)
        memory_a = self.of("memory") * (1 + 0.25 * activity * wandering)
        return self.of("core") * core + memory_a + self.of("self-refresh")

    def _display_a(self) -> Floats:
        display_a = self.of("display") * (1 + 0.04 * self.wander(1.5))
        pwm_hz = self._machine.device.pwm_hz
        if not pwm_hz or self._rate_hz <= _PWM_SHOWS_HZ:
            return display_a
        lit = (self._t_s * pwm_hz * (1 + 1e-4)) % 1 < _PWM_DUTY
        return display_a * np.where(lit, 1 / _PWM_DUTY, 0)

    def _unregulated_a(self) -> Floats:
        motor_a = self.of("motor")
        if motor_a.any():
            turning = np.tanh(motor_a / max(1e-9, self._machine.device.peripheral_a("motor")))
            turned = np.cumsum(90 + 25 * turning) / self._rate_hz
            motor_a = motor_a * (1 + 0.15 * np.sin(2 * np.pi * turned) + 0.04 * self.wander(0.01))
        amplifier_a = self.of("amplifier")
        if amplifier_a.any():
            amplifier_a = amplifier_a * np.clip(1 + 0.5 * self.wander(0.02), 0.1, 3)
        transmitter_a = self.of("transmitter") * (1 + 0.03 * self.wander(0.005))
        head_a = self.of("head") * (1 + 0.05 * self.wander(0.01))
        return motor_a + amplifier_a + transmitter_a + head_a + self.of("light")

    def _regulated_a(self, rails_a: Floats) -> Floats:
        """Return what the regulators take for the rails: more than they give at light load, and at full load."""
        device = self._machine.device
        light_a = 0.15 * (device.core_idle_a + 1e-4)
        efficiency = 0.97 + 0.12 * np.exp(-rails_a / (10 * light_a))
        loss_a: Floats = 0.04 * rails_a**2 / max(1e-3, device.core_busy_a)
        return rails_a * efficiency + loss_a


def _warmed(machine: Machine, current_a: Floats, rate_hz: float) -> Floats:
    """Return a current with the leakage of silicon that it warms."""
    kept = np.exp(-1 / rate_hz / _WARMS_S)
    warmth_a = lfilter([1 - kept], [1, -kept], current_a)
    return current_a * (1 + 0.05 * np.tanh(warmth_a / max(1e-6, machine.device.core_busy_a)))


def _add_inrush(current_a: Floats, t_s: Floats, rate_hz: float, inrush: Inrush) -> None:
    """Add in place what charges a capacitor behind a soft start, whatever the samples miss of its shape."""
    begin, end = np.searchsorted(t_s, (inrush.at_s, inrush.at_s + 12 * inrush.tau_s + 2 / rate_hz))
    since_s = np.clip(t_s[begin:end] - inrush.at_s, 0, None)
    flowed = _charged(since_s + 1 / rate_hz, inrush.tau_s) - _charged(since_s, inrush.tau_s)
    current_a[begin:end] += inrush.charge_c * flowed * rate_hz


def _charged(since_s: Floats, tau_s: float) -> Floats:
    """Return which part of its charge a capacitor has after a time."""
    part: Floats = 1 - (1 + since_s / (tau_s * 0.4)) * np.exp(-since_s / (tau_s * 0.4))
    return part
