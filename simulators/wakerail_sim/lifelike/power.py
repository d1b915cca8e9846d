"""What power does beside the device: capacitors that charge and discharge, heat, and a converter's bursts."""

from __future__ import annotations

import numpy as np

from wakerail_sim.draws import about
from wakerail_sim.lifelike.devices.device import BurstSupply, Device, Inrush, Traits
from wakerail_sim.noise import Floats

_SECOND_RAIL_LATER_S = 0.02


def discharge(t_s: Floats, from_a: float, to_a: float, traits: Traits) -> Floats:
    """Return the current after power went: the rails fall one after the other, then a small leak decays."""
    fast = 0.8 * np.exp(-t_s / (traits.settle_s * 1.2))
    slow = 0.17 * np.exp(-t_s / (traits.settle_s * 8))
    leak = 0.03 * np.exp(-t_s / (0.12 * traits.discharge_s))
    return to_a + (from_a - to_a) * (fast + slow + leak)


def draw_inrush(
    chance: np.random.Generator, inrush: tuple[Inrush, ...], charge: float, rate_hz: float
) -> list[tuple[int, Floats]]:
    """Return the currents (A) that charge the capacitors, each with how many samples after power it begins.

    ``charge`` is how much the capacitors lack, 0 to 1.
    """
    currents_a: list[tuple[int, Floats]] = []
    later_s = 0.0
    for part in inrush:
        peak_a = part.peak_a * charge * about(chance, 0.03)
        if part.kind == "second-rail":
            later_s += _SECOND_RAIL_LATER_S * about(chance, 0.03)
        if part.kind == "limited":  # the charge makes it longer, not higher
            current_a = _limited(part.peak_a * about(chance, 0.03), part.length_s, charge, rate_hz)
        else:
            current_a = _charging(peak_a, part.length_s, rate_hz)
        currents_a.append((int(later_s * rate_hz), current_a))
    return currents_a


def heat_up(current_a: Floats, device: Device, on_since_s: float, rate_hz: float) -> Floats:
    """Return the current of a device that draws more as it gets warm, and never less than 0."""
    traits = device.traits
    on_s = np.maximum(np.arange(len(current_a)) / rate_hz - on_since_s, 0)
    gain = 1 + traits.heating * (1 - np.exp(-on_s / traits.heating_s))
    warm_a = device.off_a + (current_a - device.off_a) * np.where(current_a > device.off_a, gain, 1)
    return np.maximum(warm_a, 0)


def supply_in_bursts(current_a: Floats, supply: BurstSupply, rate_hz: float) -> Floats:
    """Return what goes into a converter that hands on a current in bursts: the less, the deeper and rarer they are."""
    bursts_hz = supply.frequency_hz * np.clip(current_a / supply.limit_a, 0.02, 1.0)
    phase = np.cumsum(bursts_hz) / rate_hz % 1.0
    depth = supply.depth * np.clip((supply.limit_a * 1.15 - current_a) / (0.3 * supply.limit_a), 0, 1)
    return current_a * (1 + depth * (1 - 2 * phase))


def _limited(limit_a: float, length_s: float, charge: float, rate_hz: float) -> Floats:
    """Return a soft start of constant current that lasts as long as the charge takes, then quickly falls."""
    charged_s = length_s * (0.3 + 0.7 * charge)
    t_s = np.arange(int((charged_s + 6 * length_s * 0.2) * rate_hz) + 3) / rate_hz
    risen = 1 - np.exp(-t_s / (0.08 * length_s))
    held = 1 - 0.15 * t_s / charged_s
    fallen = np.exp(-(t_s - charged_s) / (0.2 * length_s)) * 0.85
    current_a: Floats = limit_a * risen * np.where(t_s < charged_s, held, fallen)
    return current_a * min(1.0, charge * 1.6)


def _charging(peak_a: float, tau_s: float, rate_hz: float) -> Floats:
    """Return the current into a capacitor through its leads."""
    t_s = (np.arange(int(6 * tau_s * rate_hz) + 3) + 0.5) / rate_hz
    current_a: Floats = peak_a * np.exp(-t_s / tau_s) * (1 - np.exp(-t_s / (0.15 * tau_s)))
    return current_a
