"""The heating plate: one lump of heat capacity under a heater that lags, losing heat to the room, with its thermostat.

    element:  tau_h dP/dt = u P_max - P
    plate:    C dT/dt = P - (T - T_room) / R          (lumped-capacity heat balance)
    sensor:   tau_s dTs/dt = T - Ts

The thermostat is proportional with a feed-forward of the loss at its set point, so it settles on it.
"""

from __future__ import annotations

from wakerail_sim.noise import Noise
from wakerail_sim.ticks import STEP_S

ROOM_C = 25.0
HEATER_W = 800.0
CAPACITY_J_PER_K = 350.0
LOSS_K_PER_W = 0.9
ELEMENT_LAG_S = 2.0
SENSOR_LAG_S = 0.8
MAX_SETPOINT_C = 350.0
PLATE_STEPS = 50  # the plate is slow: it moves on every 50 ms
_PLATE_STEP_S = PLATE_STEPS * STEP_S
_GAIN_PER_K = 0.08
_SENSOR_NOISE_K = 0.05
_SENSOR_STREAM = 30


class Plate:
    """State of the plate, moved on in steps of 50 ms. Set point 0..350 degC; its heater is off at power-on."""

    def __init__(self, noise: Noise) -> None:
        self._noise = noise
        self._sensor_c = ROOM_C
        self._heat_w = 0.0
        self.temperature_c = ROOM_C
        self.setpoint_c = ROOM_C
        self.heater_on = False
        self.sensor_open = False

    def power_on(self) -> None:
        """Take the settings of power-on."""
        self.setpoint_c = ROOM_C
        self.heater_on = False

    def pass_by(self, from_step: int, to_step: int) -> None:
        """Move on through the world's steps ``from_step`` to ``to_step``."""
        for _ in range(to_step // PLATE_STEPS - from_step // PLATE_STEPS):
            self._move_on()

    def shown_c(self, step: int) -> float | None:
        """Return what the sensor shows, in steps of 0.1 degC, or None with the sensor open."""
        if self.sensor_open:
            return None
        noise_k = _SENSOR_NOISE_K * self._noise.one_normal(_SENSOR_STREAM, step // PLATE_STEPS)
        return round(self._sensor_c + noise_k, 1)

    def _move_on(self) -> None:
        self._heat_w += (self._duty() * HEATER_W - self._heat_w) * _PLATE_STEP_S / ELEMENT_LAG_S
        loss_w = (self.temperature_c - ROOM_C) / LOSS_K_PER_W
        self.temperature_c += (self._heat_w - loss_w) * _PLATE_STEP_S / CAPACITY_J_PER_K
        self._sensor_c += (self.temperature_c - self._sensor_c) * _PLATE_STEP_S / SENSOR_LAG_S

    def _duty(self) -> float:
        if not self.heater_on or self.sensor_open:  # a plate that cannot measure does not heat
            return 0.0
        needed = (self.setpoint_c - ROOM_C) / LOSS_K_PER_W / HEATER_W
        return min(1.0, max(0.0, needed + _GAIN_PER_K * (self.setpoint_c - self._sensor_c)))
