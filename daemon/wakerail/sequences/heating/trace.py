"""The trace of a heat as it comes: what the plate said, and what of it is believed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from wakerail.analysis.thermal.sensor import SensorWatch
from wakerail_kit.messages import Frame


@dataclass(slots=True)
class HeatTrace:
    """Samples of one plate, oldest first. A temperature is None where the sensor gave none.

    ``believed_c`` is the newest temperature that the check of the sensor lets stand; None while there is none.
    ``firm_c`` are the temperatures that it let stand at once, None for the others.
    """

    t_s: list[float] = field(default_factory=list)
    temperature_c: list[float | None] = field(default_factory=list)
    firm_c: list[float | None] = field(default_factory=list)
    setpoint_c: list[float | None] = field(default_factory=list)
    heating: list[bool] = field(default_factory=list)
    _sensor: SensorWatch = field(default_factory=SensorWatch)
    _doubted_s: set[float] = field(default_factory=set)

    @property
    def believed_c(self) -> float | None:
        return self._sensor.believed_c

    @property
    def now_s(self) -> float:
        """When the newest sample was taken; 0 while there is none."""
        return self.t_s[-1] if self.t_s else 0.0

    @property
    def believed(self) -> list[bool]:
        """Tell of each sample whether it is believed."""
        return [t_s not in self._doubted_s for t_s in self.t_s]

    def take(self, frame: Frame, asked_c: Callable[[float], float | None]) -> None:
        """Take a frame's samples; ``asked_c`` gives the set point that the run asked for at a moment, None for none."""
        nothing: list[float | None] = [None] * len(frame.t_s)
        temperatures = frame.signals.get("temperature", nothing)
        heaters = frame.signals.get("heater", nothing)
        for t_s, c, heater in zip(frame.t_s, temperatures, heaters, strict=True):
            heating = bool(heater)
            for doubt in self._sensor.add(t_s, c, heating=heating):
                self._doubted_s.add(doubt.at_s)
            self.t_s.append(t_s)
            self.temperature_c.append(c)
            self.firm_c.append(c if c == self._sensor.believed_c else None)
            self.setpoint_c.append(asked_c(t_s))
            self.heating.append(heating)
