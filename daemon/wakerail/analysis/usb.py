"""What a device's comings and goings on USB say about its boot."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed

UsbEvent = UsbAttached | UsbDetached | UsbEnumerationFailed


@dataclass(slots=True)
class _Stay:
    """One stay on the bus. ``ids`` is None for a device that did not enumerate, ``left_s`` while it stays."""

    path: str
    since_s: float
    on_trial: bool
    ids: tuple[int, int] | None = None
    mode: str = ""
    order: int | None = None
    last_order: int | None = None
    left_s: float | None = None


@dataclass(frozen=True, slots=True)
class BootedAgain:
    """USB alone proves a new boot: the mode it came back in at ``back_s`` is an earlier one.

    It left between ``left_s`` and ``left_by_s``; both are the same where its leaving was seen.
    """

    left_s: float
    left_by_s: float
    back_s: float
    says: str


class UsbTrail:
    """Follows devices on USB: by family, or by bus path where the family is not known.

    One boot goes through its modes forward only (``mode_order`` rises), so coming back in an earlier mode proves
    a new boot. Coming back under the same identity proves none: a worn cable, a change of USB function and a
    restart all look like that. It is only noted, in ``returned_s``.
    """

    def __init__(self) -> None:
        self.returned_s: list[float] = []
        self._last: dict[str, _Stay] = {}
        self._ended: list[_Stay] = []

    def take(self, event: UsbEvent, *, drawing: bool) -> BootedAgain | None:
        """Take one event, in the order of time. ``drawing``: the device on trial draws current at the moment.

        A device of no known family is taken for the one on trial only if it comes while that draws.
        """
        match event:
            case UsbDetached():
                for stay in self._last.values():
                    if stay.path == event.path and stay.left_s is None:
                        stay.left_s = event.at_s
                return None
            case UsbAttached():
                ids = (event.vendor_id, event.product_id)
                on_trial = bool(event.family) or drawing
                stay = _Stay(event.path, event.at_s, on_trial, ids, event.mode, event.mode_order, event.last_order)
                return self._come(event.family or event.path, stay)
            case UsbEnumerationFailed():
                return self._come(event.path, _Stay(event.path, event.at_s, on_trial=False))

    def stayed(self, start_s: float, end_s: float) -> bool:
        """Tell whether the device was on the bus from before ``start_s`` until after ``end_s``."""
        return any(
            stay.on_trial and stay.since_s < start_s and (stay.left_s is None or stay.left_s > end_s)
            for stay in (*self._last.values(), *self._ended)
        )

    def mode_now(self) -> tuple[str, bool] | None:
        """Return the latest mode that the device is on the bus in, and whether it is its family's last; or None."""
        modes = [
            (stay.order, stay.mode, stay.order == stay.last_order)
            for stay in self._last.values()
            if stay.on_trial and stay.left_s is None and stay.order is not None
        ]
        return max(modes)[1:] if modes else None

    def left(self, start_s: float, end_s: float) -> bool:
        """Tell whether a device left the bus between two moments."""
        return any(
            stay.left_s is not None and start_s <= stay.left_s <= end_s for stay in (*self._last.values(), *self._ended)
        )

    def _come(self, key: str, stay: _Stay) -> BootedAgain | None:
        before = self._last.get(key)
        self._last[key] = stay
        if before is None:
            return None
        left_s, left_by_s = before.left_s, before.left_s
        if left_s is None or left_by_s is None:  # nobody saw it leave, but it must have
            left_s, left_by_s = before.since_s, stay.since_s
            before.left_s = stay.since_s
        elif before.ids == stay.ids:
            self.returned_s.append(stay.since_s)
        self._ended = [*self._ended[-7:], before]  # a restart is judged by what ended lately
        if stay.order is None or before.order is None or stay.order >= before.order:
            return None
        says = f"USB came back in mode {stay.mode!r}, which in a boot comes before {before.mode!r}"
        return BootedAgain(left_s, left_by_s, stay.since_s, says)
