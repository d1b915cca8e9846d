"""The supply's meter: single readings, and a buffer of evenly spaced samples."""

from __future__ import annotations

from collections import deque

import numpy as np

from wakerail_sim.noise import Floats, Ints, Noise
from wakerail_sim.supply import Flow, Load, Supply
from wakerail_sim.ticks import STEP_TICKS, TICK_S

VOLTAGE_RESOLUTION_V = 0.001
CURRENT_RESOLUTION_A = 0.0001
BUFFER_SAMPLES = 10_000
DEFAULT_SPACING_S = 0.002
MIN_SPACING_S = TICK_S
MAX_SPACING_S = 1.0
_VOLTAGE_NOISE_V = 0.0004
_CURRENT_NOISE_A = 0.0001
_READING_STREAMS = (20, 21)
_SAMPLE_STREAMS = (22, 23)


class Meter:
    """Shows what flows with noise and in steps of 1 mV and 0.1 mA; a recording is shown as it was recorded.

    Samples are taken every ``spacing_s`` (0.0001..1 s, in steps of 0.1 ms) from the moment the spacing was set;
    the newest 10,000 are kept until they are fetched.
    """

    def __init__(self, supply: Supply, load: Load, noise: Noise) -> None:
        self._supply = supply
        self._load = load
        self._noise = noise
        self._taken = 0
        self._kept: deque[tuple[Floats, Floats]] = deque()
        self._kept_count = 0
        self._fetched_v: Floats = np.empty(0)
        self._spacing_ticks = round(DEFAULT_SPACING_S / TICK_S)
        self._next_tick = 0

    def reset(self, now_tick: int) -> None:
        """Take the spacing of power-on."""
        self.set_spacing(DEFAULT_SPACING_S, now_tick)

    @property
    def spacing_s(self) -> float:
        """How far apart the samples are."""
        return self._spacing_ticks * TICK_S

    def set_spacing(self, spacing_s: float, now_tick: int) -> None:
        """Begin to sample anew with another spacing; what was not fetched is dropped."""
        self._spacing_ticks = round(spacing_s / TICK_S)
        self._next_tick = now_tick
        self._kept.clear()
        self._kept_count = 0
        self._fetched_v = np.empty(0)

    def pass_by(self, end_tick: int) -> None:
        """Take the samples that are due before ``end_tick``."""
        ticks: Ints = np.arange(self._next_tick, end_tick, self._spacing_ticks, dtype=np.int64)
        if len(ticks) == 0:
            return
        flow = self._load.flow(self._supply, ticks)
        self._kept.append(self._shown(flow, _SAMPLE_STREAMS, self._taken + np.arange(len(ticks), dtype=np.int64)))
        self._taken += len(ticks)
        self._kept_count += len(ticks)
        self._next_tick += len(ticks) * self._spacing_ticks
        while self._kept_count - len(self._kept[0][0]) >= BUFFER_SAMPLES:
            self._kept_count -= len(self._kept.popleft()[0])

    def fetch_current_a(self) -> Floats:
        """Return the currents sampled since the last fetch, oldest first, and remember their voltages."""
        kept = list(self._kept)
        self._kept.clear()
        self._kept_count = 0
        self._fetched_v = np.concatenate([voltage_v for voltage_v, _ in kept] or [np.empty(0)])[-BUFFER_SAMPLES:]
        fetched: Floats = np.concatenate([current_a for _, current_a in kept] or [np.empty(0)])[-BUFFER_SAMPLES:]
        return fetched

    def fetched_voltage_v(self) -> Floats:
        """Return the voltages of the samples whose currents were fetched last."""
        return self._fetched_v

    def read(self, step: int) -> tuple[float, float]:
        """Return volts and amperes at one moment."""
        flow = self._load.flow(self._supply, np.array([step * STEP_TICKS], dtype=np.int64))
        voltage_v, current_a = self._shown(flow, _READING_STREAMS, np.array([step], dtype=np.int64))
        return float(voltage_v[0]), float(current_a[0])

    def _shown(self, flow: Flow, streams: tuple[int, int], indices: Ints) -> tuple[Floats, Floats]:
        if not self._load.measured:
            return flow.voltage_v, flow.current_a
        voltage_v = flow.voltage_v + _VOLTAGE_NOISE_V * self._noise.normal(streams[0], indices)
        current_a = flow.current_a + _CURRENT_NOISE_A * self._noise.normal(streams[1], indices)
        return _in_steps(voltage_v, VOLTAGE_RESOLUTION_V), _in_steps(current_a, CURRENT_RESOLUTION_A)


def _in_steps(values: Floats, step: float) -> Floats:
    rounded: Floats = np.round(values / step) * step + 0.0  # + 0.0 turns a negative zero into zero
    return rounded
