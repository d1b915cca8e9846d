"""What a heat is held against: temperatures that mean something, and limits, each with its source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Level:
    """A temperature that means something (a liquidus, a touch limit) and where its value comes from."""

    at_c: float
    source: str


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds of a figure, in that figure's unit, and where they come from; None is no bound on that side."""

    low: float | None
    high: float | None
    source: str

    def allows(self, value: float) -> bool:
        """Tell whether a value lies within the bounds."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)


@dataclass(frozen=True, slots=True)
class ThermalLimits:
    """The limits of one heat. What is None is measured where it can be, and not judged.

    ``soak_between_c`` are the two temperatures between which the soak is timed on the way up. Rates are positive in
    both directions. ``to_peak_s`` is counted from 25 degC to the peak, as J-STD-020 does; ``hot_s`` is all the time
    above the touch limit.
    """

    liquidus: Level
    peak_c: Limit | None = None
    overshoot_k: Limit | None = None
    ramp_up_k_per_s: Limit | None = None
    ramp_down_k_per_s: Limit | None = None
    above_liquidus_s: Limit | None = None
    hold_s: Limit | None = None
    soak_s: Limit | None = None
    soak_between_c: tuple[float, float] | None = None
    to_peak_s: Limit | None = None
    hot_s: Limit | None = None
    touch: Level | None = None
    ceiling: Level | None = None
