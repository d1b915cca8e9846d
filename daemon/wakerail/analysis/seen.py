"""What the boot reader reports while it watches."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Onset:
    """The device began to draw at ``at_s``; ``level_a`` is the median of what it drew in the hold time after."""

    at_s: float
    level_a: float


@dataclass(frozen=True, slots=True)
class Restart:
    """The device went through its boot again: one boot ended at ``at_s``, the next began at ``again_s``.

    ``probability`` is how sure that is, ``evidence`` names what it rests on: ``current-collapse``, ``current-dip``,
    ``opening-again``, ``new-opening``, ``usb-left``, ``usb-earlier-mode``, ``usb-returned``. ``number`` counts in
    the order in which they became sure. ``uncertainty_s`` bounds how far either moment may be from the truth.
    """

    at_s: float
    again_s: float
    number: int
    probability: float
    evidence: tuple[str, ...]
    says: str
    uncertainty_s: float


@dataclass(frozen=True, slots=True)
class Revision:
    """What was told of restart ``number`` has to be told anew: its probability now, and whether it still counts."""

    number: int
    at_s: float
    probability: float
    counts: bool
    says: str


Seen = Onset | Restart | Revision
