"""The plate's temperature sensor: it lags, scatters, and breaks in the ways that sensors break."""

from __future__ import annotations

from enum import Enum, auto

from wakerail_sim.noise import Noise

LAG_S = 0.8
#: How fast a sensor that has come off the plate cools to the room.
OFF_LAG_S = 6.0
NOISE_K = 0.05
_STREAM = 30
_JUMP_K = 25.0
_JUMP_EVERY_S = 1.0
_FALSE_C, _FALSE_S = 0.0, 0.1
_OPEN_S, _COMES_BACK_S = 1.0, 5.0


class SensorFault(Enum):
    """How a sensor is broken."""

    OPEN = auto()
    OFF = auto()
    STUCK = auto()
    JUMPS = auto()
    FALSE = auto()
    CLEARS_EARLY = auto()


class PlateSensor:
    """Follows the plate in steps; ``shown_c`` is what its converter makes of it, in steps of 0.1 degC."""

    def __init__(self, noise: Noise, room_c: float, stream: int = _STREAM) -> None:
        self._noise = noise
        self._stream = stream
        self._room_c = room_c
        self._fault: SensorFault | None = None
        self._since_s = 0.0
        self._stood_c: float | None = None
        #: What the sensor itself is at.
        self.c = room_c

    def break_(self, fault: SensorFault) -> None:
        """Break it, from now on."""
        self._fault, self._since_s, self._stood_c = fault, 0.0, None

    @property
    def open(self) -> bool:
        """Whether the plate's own control sees that it gives nothing."""
        if self._fault is SensorFault.CLEARS_EARLY:
            return self._since_s < _OPEN_S
        return self._fault is SensorFault.OPEN

    def move_on(self, plate_c: float, step_s: float) -> None:
        """Follow the plate for one step."""
        self._since_s += step_s
        if self._fault is SensorFault.OFF:
            self.c += (self._room_c - self.c) * step_s / OFF_LAG_S
        else:
            self.c += (plate_c - self.c) * step_s / LAG_S

    def seen_c(self) -> float:
        """Return what the plate's own control takes for the temperature, without noise."""
        if self._fault is SensorFault.STUCK:
            self._stood_c = self.c if self._stood_c is None else self._stood_c
            return self._stood_c
        if self._fault is SensorFault.JUMPS and self._since_s % (2 * _JUMP_EVERY_S) >= _JUMP_EVERY_S:
            return self.c - _JUMP_K
        if self._fault is SensorFault.FALSE and self._since_s < _FALSE_S:
            return _FALSE_C
        if self._fault is SensorFault.CLEARS_EARLY:
            back = min(1.0, max(0.0, self._since_s - _OPEN_S) / _COMES_BACK_S)
            return self.c * (0.5 + 0.5 * back)
        return self.c

    def shown_c(self, step: int) -> float | None:
        """Return what is shown in a step of the sensor's own; None while it is open."""
        if self.open:
            return None
        seen_c = self.seen_c()
        quiet = self._fault is SensorFault.STUCK or (self._fault is SensorFault.FALSE and seen_c == _FALSE_C)
        noise_k = 0.0 if quiet else NOISE_K * self._noise.one_normal(self._stream, step)
        return round(seen_c + noise_k, 1)
