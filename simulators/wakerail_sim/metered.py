"""What all recordings have that a meter made, whatever was played to it."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail_sim.corpus import Truth
from wakerail_sim.noise import Floats


@dataclass(frozen=True, slots=True, eq=False)
class Metered:
    """A recording: times ascending (s), current (A), and what is true of it, without confusers and marks.

    ``rate_hz`` is how many samples the meter gives in a second, of which ``held_samples`` in a row are the same one.
    """

    rate_hz: float
    held_samples: int
    t_s: Floats
    current_a: Floats
    truth: Truth

    @property
    def sample_s(self) -> float:
        """The time between samples that can differ."""
        return self.held_samples / self.rate_hz
