"""What the driver needs of a plate, however it is worded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from wakerail_kit.messages import Identity


@dataclass(frozen=True, slots=True)
class PlateState:
    """What a plate tells. ``temperature_c`` None: the sensor is lost. ``setpoint_c`` None: it holds none."""

    temperature_c: float | None
    setpoint_c: float | None
    heater: bool


class PlateLink(Protocol):
    """One way to speak with a plate. Methods raise DeviceRefused, DeviceUnavailable or OutOfSync.

    After the latter two a link refuses all use, raising OutOfSync, until ``connect`` opens it anew.
    ``setpoint_step_c`` is the smallest step in which the plate takes a set temperature.
    """

    setpoint_step_c: float

    def connect(self) -> None: ...
    def identify(self) -> Identity: ...
    def read(self) -> PlateState: ...
    def held_c(self) -> float | None:
        """Ask afresh which temperature the plate holds, or would hold; None for none."""
        ...

    def heater_is_on(self) -> bool:
        """Ask afresh whether the heater is switched on."""
        ...

    def set_temperature_c(self, temperature_c: float) -> None: ...
    def set_heater(self, on: bool) -> None: ...
    def close(self) -> None: ...
