"""The heating plate: one lump of heat capacity under a heater that lags, losing heat to the room, with its thermostat.

    element:  tau_h dP/dt = u P_max - P
    plate:    C dT/dt = P - (T - T_room) / R          (lumped-capacity heat balance)
    sensor:   tau_s dTs/dt = T - Ts

The thermostat is proportional with a feed-forward of the loss at its set point, so it settles on it.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping

from wakerail_sim.noise import Noise
from wakerail_sim.plate_sensor import PlateSensor, SensorFault
from wakerail_sim.ticks import STEP_S

ROOM_C = 25.0
HEATER_W = 800.0
CAPACITY_J_PER_K = 350.0
LOSS_K_PER_W = 0.9
#: With a fan that blows whenever the heater is off.
FANNED_K_PER_W = 0.17
ELEMENT_LAG_S = 2.0
MAX_SETPOINT_C = 350.0
PLATE_STEPS = 50  # the plate is slow: it moves on every 50 ms
_PLATE_STEP_S = PLATE_STEPS * STEP_S
_GAIN_PER_K = 0.08
_RUNAWAY_SHARE = 3.0
_DRIFT_K_PER_S = 0.3
_OTHER_HAND_C = 300.0


class Plate:
    """State of the plate, moved on in steps of 50 ms. Set point 0..350 degC; its heater is off at power-on.

    One that ``has_fan`` is blown cool by it whenever its heater is off. ``warms`` is what lies on it: told of each
    step, the plate's temperature and how long it was.
    """

    def __init__(
        self, noise: Noise, *, has_fan: bool = False, warms: Callable[[float, float], None] = lambda _c, _s: None
    ) -> None:
        self._has_fan = has_fan
        self._warms = warms
        self.sensor = PlateSensor(noise, ROOM_C)
        self._heat_w = 0.0
        self._relay_stuck = False
        self._runs_away = False
        self._drifts = False
        self.temperature_c = ROOM_C
        self.setpoint_c = ROOM_C
        self.heater_on = False
        #: Whether its plug is in: pulled, nothing heats whatever is stuck.
        self.plugged_in = True

    def power_on(self) -> None:
        """Take the settings of power-on."""
        self.setpoint_c = ROOM_C
        self.heater_on = False

    def faults(self) -> Mapping[str, Callable[[], None]]:
        """Return what each of its faults does, by its name without ``plate-`` and ``-after``."""
        sensor = {
            "sensor-open": SensorFault.OPEN,
            "sensor-off": SensorFault.OFF,
            "sensor-stuck": SensorFault.STUCK,
            "sensor-jumps": SensorFault.JUMPS,
            "sensor-false": SensorFault.FALSE,
            "sensor-clears-early": SensorFault.CLEARS_EARLY,
        }
        return {name: functools.partial(self.sensor.break_, fault) for name, fault in sensor.items()} | {
            "relay-stuck": self._stick_relay,
            "runs-away": self._run_away,
            "setpoint-drifts": self._drift,
            "other-hand": self._obey_another,
        }

    def pass_by(self, from_step: int, to_step: int) -> None:
        """Move on through the world's steps ``from_step`` to ``to_step``."""
        for _ in range(to_step // PLATE_STEPS - from_step // PLATE_STEPS):
            self._move_on()

    def shown_c(self, step: int) -> float | None:
        """Return what the sensor shows, in steps of 0.1 degC, or None with the sensor open."""
        return self.sensor.shown_c(step // PLATE_STEPS)

    def _move_on(self) -> None:
        power_w = HEATER_W * (_RUNAWAY_SHARE if self._runs_away else 1.0)
        self._heat_w += (self._duty() * power_w - self._heat_w) * _PLATE_STEP_S / ELEMENT_LAG_S
        fanned = self._has_fan and self.plugged_in and not self.heater_on
        loss_w = (self.temperature_c - ROOM_C) / (FANNED_K_PER_W if fanned else LOSS_K_PER_W)
        self.temperature_c += (self._heat_w - loss_w) * _PLATE_STEP_S / CAPACITY_J_PER_K
        self.sensor.move_on(self.temperature_c, _PLATE_STEP_S)
        self._warms(self.temperature_c, _PLATE_STEP_S)
        if self._drifts:
            self.setpoint_c = min(MAX_SETPOINT_C, self.setpoint_c + _DRIFT_K_PER_S * _PLATE_STEP_S)

    def _duty(self) -> float:
        if not self.plugged_in:
            return 0.0
        if self._relay_stuck:
            return 1.0
        if not self.heater_on or self.sensor.open:  # a plate that cannot measure does not heat
            return 0.0
        if self._runs_away:
            return 1.0
        needed = (self.setpoint_c - ROOM_C) / LOSS_K_PER_W / HEATER_W
        return min(1.0, max(0.0, needed + _GAIN_PER_K * (self.setpoint_c - self.sensor.seen_c())))

    def _stick_relay(self) -> None:
        self._relay_stuck = True

    def _run_away(self) -> None:
        self._runs_away = True

    def _drift(self) -> None:
        self._drifts = True

    def _obey_another(self) -> None:
        self.setpoint_c, self.heater_on = _OTHER_HAND_C, True
