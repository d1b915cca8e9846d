"""What the interlocks of a heating plate look at, and what each of them is."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.bench.interlocks.trip import Trip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateState:
    """One sample of a plate beside what was commanded here.

    ``temperature_c`` is believed; ``shown_c`` is what the plate says where it is not known to be false.
    ``wanted_heater`` None: not known. ``wanted_c`` None: nothing was set since the plate was opened. ``wanted_s``
    is when the newest command was sent, ``off_s`` since when the heater is meant to be off.
    """

    t_s: float
    temperature_c: float | None = None
    shown_c: float | None = None
    setpoint_c: float | None = None
    heater: bool | None = None
    wanted_heater: bool | None = False
    wanted_c: float | None = None
    wanted_s: float = float("-inf")
    off_s: float = float("-inf")

    @property
    def heating(self) -> bool:
        """Whether the heater is on as far as anyone knows: commanded here, or said by the plate."""
        return self.wanted_heater is not False or bool(self.heater)


class PlateGuard:
    """One interlock of a plate. What it has no use for it leaves as it is here."""

    def refusal(self, now_s: float) -> str | None:  # noqa: ARG002
        """Return why the heater must not be switched on, or None if it may."""
        return None

    def judge(self, state: PlateState) -> Trip | None:  # noqa: ARG002
        """Look at a sample."""
        return None

    def check(self, now_s: float, *, heating: bool) -> Trip | None:  # noqa: ARG002
        """Look at the time alone."""
        return None

    def reset(self) -> None:
        """Forget what led to a trip: a person has looked."""
