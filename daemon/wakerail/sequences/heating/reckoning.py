"""What the model of plate and board says of a heat while it lasts."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.sequences.heating.trace import HeatTrace
from wakerail_kit.heat_profiles import HeatProfile, Stage
from wakerail_kit.messages import Measurement


@dataclass(frozen=True, slots=True)
class BoardEstimate:
    """The board's temperature with its uncertainty (k = 2)."""

    temperature_c: float
    half_width_k: float


class Reckoning:
    """Follows a heat with the model."""

    def __init__(self, profile: HeatProfile) -> None:
        self._profile = profile

    def take(self, trace: HeatTrace, count: int) -> None:
        """Take the newest ``count`` samples of a trace."""

    def board(self) -> BoardEstimate | None:
        return None

    def board_at_most_c(self) -> float | None:
        return None

    def left_s(self, stage: Stage) -> float | None:  # noqa: ARG002
        return None

    def why_slow(self, target_c: float) -> str:  # noqa: ARG002
        return ""

    def measurements(self) -> tuple[Measurement, ...]:
        return ()
