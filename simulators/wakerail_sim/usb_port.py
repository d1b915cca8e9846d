"""The host's USB port that the device hangs on: what attaches, leaves or fails to enumerate, and when."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wakerail_kit.families import DeviceFamily, UsbMode
from wakerail_sim.agenda import Agenda, Planned
from wakerail_sim.stages import Stage
from wakerail_sim.ticks import STEP_S, steps_of

ENUMERATES_S = 0.12  # USB 2.0 7.1.7.3: at least 100 ms of debounce, then reset and address
_FIRST_NUMBER, _LAST_NUMBER = 2, 127  # 1 is the root hub
_BOOT_STAGES = (Stage.ROM, Stage.LOADER, Stage.KERNEL, Stage.SYSTEM, Stage.RUNNING)
_STAGES_BY_COUNT = {
    0: (),
    1: (Stage.RUNNING,),
    2: (Stage.LOADER, Stage.RUNNING),
    3: (Stage.LOADER, Stage.SYSTEM, Stage.RUNNING),
    4: (Stage.ROM, Stage.LOADER, Stage.SYSTEM, Stage.RUNNING),
}


@dataclass(frozen=True, slots=True)
class UsbAttach:
    """A device was given a number on the bus, at that time since the world began."""

    at_s: float
    number: int
    mode: UsbMode


@dataclass(frozen=True, slots=True)
class UsbDetach:
    """The device with that number left the bus."""

    at_s: float
    number: int
    mode: UsbMode


@dataclass(frozen=True, slots=True)
class UsbFailure:
    """Something was there but did not enumerate; ``numbers`` are those the host tried."""

    at_s: float
    numbers: tuple[int, int]


UsbChange = UsbAttach | UsbDetach | UsbFailure


def modes_by_stage(family: DeviceFamily) -> dict[Stage, UsbMode]:
    """Return in which stage the device shows which USB mode.

    A mode that has a stage's name belongs to it if all have; else they follow the boot in their order, the last one
    when running. Of more modes than stages the last is shown when running, and the first four before it.
    """
    modes = sorted(family.usb_modes, key=lambda mode: mode.order)
    by_name = {stage: mode for mode in modes for stage in _BOOT_STAGES if mode.name == stage}
    if modes and len(by_name) == len(modes):
        return by_name
    shown = modes if len(modes) <= len(_BOOT_STAGES) else [*modes[: len(_BOOT_STAGES) - 1], modes[-1]]
    return dict(zip(_STAGES_BY_COUNT.get(len(shown), _BOOT_STAGES), shown, strict=True))


class UsbPort:
    """The port with its cable. ``broken`` says whether enumeration fails just now; ``changed`` hears each change."""

    def __init__(
        self,
        family: DeviceFamily,
        agenda: Agenda,
        broken: Callable[[], bool],
        changed: Callable[[UsbChange], None],
    ) -> None:
        self._modes = modes_by_stage(family)
        self._agenda = agenda
        self._broken = broken
        self._changed = changed
        self._shown: UsbMode | None = None  # by the device, whether the host sees it or not
        self._attached: UsbAttach | None = None
        self._coming: Planned | None = None
        self._number = _FIRST_NUMBER - 1
        self.cable_in = True

    def device_entered(self, stage: Stage) -> None:
        """Follow the device into a stage."""
        shown = self._modes.get(Stage.RUNNING if stage is Stage.SLEEPING else stage)
        if shown != self._shown:
            self._shown = shown
            self._renew()

    def plug(self, cable_in: bool) -> None:
        """Put the cable in or pull it; put in again, everything is enumerated anew."""
        self.cable_in = cable_in
        self._renew()

    def _renew(self) -> None:
        if self._coming is not None:
            self._coming.cancel()
        if self._attached is not None:
            self._changed(UsbDetach(self._now_s(), self._attached.number, self._attached.mode))
            self._attached = None
        if self._shown is not None and self.cable_in:
            self._coming = self._agenda.after(steps_of(ENUMERATES_S), self._enumerate)

    def _enumerate(self) -> None:
        if self._shown is None:
            return
        if self._broken():
            self._changed(UsbFailure(self._now_s(), (self._next_number(), self._next_number())))
            return
        self._attached = UsbAttach(self._now_s(), self._next_number(), self._shown)
        self._changed(self._attached)

    def _next_number(self) -> int:
        self._number = self._number + 1 if self._number < _LAST_NUMBER else _FIRST_NUMBER
        return self._number

    def _now_s(self) -> float:
        return self._agenda.now_step * STEP_S
