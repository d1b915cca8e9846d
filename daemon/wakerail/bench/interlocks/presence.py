"""Heat needs a person at the bench: somebody who confirmed within the last minutes that they are there."""

from __future__ import annotations

from wakerail.bench.interlocks.plate_state import PlateGuard
from wakerail.bench.interlocks.trip import Trip
from wakerail_kit.units import human


class Presence:
    """When a person last confirmed to be at the bench; all its plates share it. Any thread may ask."""

    def __init__(self, attended_s: float) -> None:
        self.attended_s = attended_s
        self._until_s = float("-inf")

    def confirm(self, now_s: float) -> None:
        """Take that a person is at the bench now."""
        self._until_s = max(self._until_s, now_s + self.attended_s)

    def left_s(self, now_s: float) -> float:
        """Return for how long heat may still go on; 0 if it may not."""
        return max(0.0, self._until_s - now_s)


class Attended(PlateGuard):
    """Refuses heat while nobody has confirmed, and trips when the confirmation lapses."""

    def __init__(self, presence: Presence) -> None:
        self._presence = presence

    def refusal(self, now_s: float) -> str | None:
        if self._presence.left_s(now_s) > 0:
            return None
        within = human(self._presence.attended_s, "s")
        return f"heat needs a person at the bench, and none has confirmed it within the last {within}"

    def check(self, now_s: float, *, heating: bool) -> Trip | None:
        if not heating or self._presence.left_s(now_s) > 0:
            return None
        limit_s = self._presence.attended_s
        says = f"nobody has confirmed within {human(limit_s, 's')} that they are at the bench"
        return Trip("unattended", says, None, limit_s, "s")
