"""What the boot reader is told about the watch, and the few levels and times by which it concludes."""

from __future__ import annotations

from dataclasses import dataclass

from wakerail.analysis.cadence import Cadence


@dataclass(frozen=True, slots=True)
class ReaderSettings:
    """The known facts of a watch, and the reader's thresholds. Times are seconds, currents amperes.

    Facts, None where unknown:
        unit: ``A``, or ``W`` where power was recorded in place of a current: then all that is amperes here and in what
            is read is watts.
        prompted_s: when the person was told to start the device (monotonic).
        standing_a: the current measured before that, output on and device off.
        limit_a, set_v: the supply's current limit and set voltage.
        cadence_before: how the same device restarted in an earlier watch.

    Thresholds:
        standing_max_a: a device that is off should not draw more than this.
        patience_s: how long a device may take to begin to draw.
        settle_s: how long it must have been up at the end of the watch before that can be called running.
        max_gap_s: the longest time without a sample in which no restart could hide; more where the trace is slower.
        short_hold_s: how long the supply must be dragged down for a hard short; charging capacitors takes less.
    """

    unit: str = "A"
    prompted_s: float | None = None
    standing_a: float | None = None
    limit_a: float | None = None
    set_v: float | None = None
    cadence_before: Cadence | None = None
    standing_max_a: float = 0.005
    patience_s: float = 5.0
    settle_s: float = 10.0
    max_gap_s: float = 1.0
    short_hold_s: float = 0.5

    @property
    def signal(self) -> str:
        """What was recorded, as a word: ``current`` or ``power``."""
        return "current" if self.unit == "A" else "power"
