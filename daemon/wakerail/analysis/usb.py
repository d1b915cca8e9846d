"""What a device's comings and goings on USB say about its boot, and how strongly.

One boot goes through its modes forward only, each under an identity of its own. So a device that comes back in an
earlier mode of its family, or under an identity that it left for another one in the same boot, has begun a new boot:
that speaks for a restart by e^4 to 1. Coming back under the same identity, after its leaving was seen, speaks for it
by e^0.8 to 1 only, since a worn cable and a change of USB function look like that; each time that it comes at a like
interval adds 1.2, up to 4. What nobody saw leave was asked again by the host, and going on to a new identity is how a
boot goes: neither is a restart. The odds are common sense in numbers, not measured.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed

UsbEvent = UsbAttached | UsbDetached | UsbEnumerationFailed

EARLIER_MODE, RETURNED, LEFT = "usb-earlier-mode", "usb-returned", "usb-left"
PROOF = 4.0
_RETURN, _LIKE_RETURN = 0.8, 1.2
_LIKE = 0.25  # intervals that differ by no more than this share of the longer are alike
_LATE_S = 0.3  # a hub tells this late that a device has left

_Ids = tuple[int, int]


@dataclass(slots=True)
class _Stay:
    """One stay on the bus. ``ids`` is None for a device that did not enumerate, ``left_s`` while it stays."""

    path: str
    since_s: float
    on_trial: bool
    ids: _Ids | None = None
    mode: str = ""
    order: int | None = None
    last_order: int | None = None
    left_s: float | None = None


@dataclass(slots=True)
class _Course:
    """How a device went through its modes: this stay, the identities left in this boot, and its like returns."""

    stay: _Stay
    left_behind: set[_Ids] = field(default_factory=set)
    back_s: float | None = None
    interval_s: float | None = None
    likes: int = 0


@dataclass(frozen=True, slots=True)
class UsbReturn:
    """A device came back at ``back_s``, and that speaks for a new boot by ``log_odds``.

    It left between ``left_s`` and ``left_by_s``; both are the same where its leaving was seen. ``device`` tells
    returns of one device from others'; ``evidence`` is EARLIER_MODE or RETURNED.
    """

    left_s: float
    left_by_s: float
    back_s: float
    log_odds: float
    evidence: str
    device: str
    says: str

    def is_near(self, at_s: float, again_s: float, within_s: float) -> bool:
        """Tell whether a restart that the current shows may be this one."""
        return again_s >= self.left_s - within_s and at_s <= self.back_s + within_s


class UsbTrail:
    """Follows devices on USB: by family, or by bus path where the family is not known.

    ``returned_s``: when a device came back under the same identity, having been seen to leave.
    """

    def __init__(self) -> None:
        self.returned_s: list[float] = []
        self._courses: dict[str, _Course] = {}
        self._ended: deque[_Stay] = deque(maxlen=16)  # a restart is judged by what ended lately

    def take(self, event: UsbEvent, *, drawing: bool) -> UsbReturn | None:
        """Take one event, in the order of time. ``drawing``: the device on trial draws current at the moment.

        A device of no known family is taken for the one on trial only if it comes while that draws.
        """
        match event:
            case UsbDetached():
                for course in self._courses.values():
                    if course.stay.path == event.path and course.stay.left_s is None:
                        course.stay.left_s = event.at_s
                return None
            case UsbAttached():
                ids = (event.vendor_id, event.product_id)
                on_trial = bool(event.family) or drawing
                stay = _Stay(event.path, event.at_s, on_trial, ids, event.mode, event.mode_order, event.last_order)
                return self._come(event.family or event.path, stay)
            case UsbEnumerationFailed():
                return self._come(event.path, _Stay(event.path, event.at_s, on_trial=False))

    @property
    def empty(self) -> bool:
        """True as long as nothing was seen on the bus."""
        return not self._courses

    def stayed(self, start_s: float, end_s: float) -> bool:
        """Tell whether the device was on the bus from before ``start_s`` until after ``end_s``."""
        return any(
            stay.on_trial and stay.since_s < start_s and (stay.left_s is None or stay.left_s > end_s + _LATE_S)
            for stay in self._stays()
        )

    def left(self, start_s: float, end_s: float) -> bool:
        """Tell whether the device left the bus between two moments."""
        return any(
            stay.on_trial and stay.left_s is not None and start_s <= stay.left_s <= end_s for stay in self._stays()
        )

    def mode_now(self) -> tuple[str, bool] | None:
        """Return the latest mode that the device is on the bus in, and whether it is its family's last; or None."""
        stays = [course.stay for course in self._courses.values()]
        modes = [
            (stay.order, stay.mode, stay.order == stay.last_order)
            for stay in stays
            if stay.on_trial and stay.left_s is None and stay.order is not None
        ]
        return max(modes)[1:] if modes else None

    def _stays(self) -> list[_Stay]:
        return [*(course.stay for course in self._courses.values()), *self._ended]

    def _come(self, device: str, stay: _Stay) -> UsbReturn | None:
        course = self._courses.get(device)
        if course is None:
            self._courses[device] = _Course(stay)
            return None
        before, course.stay = course.stay, stay
        seen = before.left_s is not None
        left_s, left_by_s = (before.left_s or before.since_s), (before.left_s or stay.since_s)
        before.left_s = left_by_s
        self._ended.append(before)
        if (why := _earlier(before, stay, course.left_behind)) is not None:
            course.left_behind.clear()
            course.back_s = stay.since_s
            return UsbReturn(left_s, left_by_s, stay.since_s, PROOF, EARLIER_MODE, device, why)
        if before.ids != stay.ids:
            if before.ids is not None:
                course.left_behind.add(before.ids)
            return None
        if not seen:
            return None
        self.returned_s.append(stay.since_s)
        return UsbReturn(left_s, left_by_s, stay.since_s, _count(course, before), RETURNED, device, _again(stay))


def _earlier(before: _Stay, stay: _Stay, left_behind: set[_Ids]) -> str | None:
    """Return why a device is in an earlier part of a boot than it was; None if it is not."""
    if stay.order is not None and before.order is not None:
        if stay.order >= before.order:
            return None
        return f"USB came back in mode {stay.mode!r}, which in a boot comes before {before.mode!r}"
    if stay.ids is None or before.ids is None or stay.ids == before.ids or stay.ids not in left_behind:
        return None
    return f"USB came back as {_id(stay.ids)}, which it had left for {_id(before.ids)} before"


def _again(stay: _Stay) -> str:
    if stay.ids is None:
        return "the device left USB and came back, again without being enumerated"
    return f"the device left USB and came back, again as {_id(stay.ids)}"


def _id(ids: _Ids) -> str:
    return f"{ids[0]:04x}:{ids[1]:04x}"


def _count(course: _Course, before: _Stay) -> float:
    """Return how strongly a return under the same identity speaks, with those before it."""
    interval_s = course.stay.since_s - (before.since_s if course.back_s is None else course.back_s)
    earlier_s, course.interval_s, course.back_s = course.interval_s, interval_s, course.stay.since_s
    if earlier_s is not None and abs(interval_s - earlier_s) <= _LIKE * max(interval_s, earlier_s):
        course.likes += 1
    return min(_RETURN + _LIKE_RETURN * course.likes, PROOF)
