"""What a supply's polls gave: the last values, blocks joined sample by sample, and which slow read is due."""

from __future__ import annotations

import math

from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_talk import Answer
from wakerail_kit.errors import OutOfSync
from wakerail_kit.kinds import POWER_SOURCE, Reading

#: Blocks of two signals fetched one after the other differ by what was sampled in between; by no more than this.
_MOST_AHEAD = 100_000


class Samples:
    """Joins the answers of a dialect's reads into Readings."""

    def __init__(self, dialect: Dialect) -> None:
        self._reads = dialect.reads
        self._spacing_s = dialect.spacing_s
        self._asked_s = [-math.inf] * len(dialect.reads)
        self._limited = False  # the supply has limited for a moment, and no reading has told of it yet
        self._latest: dict[str, float | None] = dict.fromkeys(POWER_SOURCE.signals)
        self._blocks: dict[str, list[float | None]] = {read.block.signal: [] for read in dialect.reads if read.block}

    def refresh(self) -> None:
        """Make every slow read due again, for a setting has changed something."""
        self._asked_s = [-math.inf] * len(self._reads)

    def due(self, number: int, now_s: float) -> bool:
        """Return whether the dialect's read ``number`` is to be asked in a poll at ``now_s``."""
        return now_s - self._asked_s[number] >= self._reads[number].every_s

    def take(self, number: int, answer: Answer, asked_s: float) -> None:
        """Keep what read ``number`` gave. Raises OutOfSync if one signal's samples run away from another's."""
        self._asked_s[number] = asked_s
        for name, value in answer.values.items():
            if name == "limited":
                self._limited |= value == 1.0
            else:
                self._latest[name] = value if isinstance(value, float) else None
        for name, samples in answer.samples.items():
            self._blocks[name] += samples
            if len(self._blocks[name]) > _MOST_AHEAD + min(len(block) for block in self._blocks.values()):
                raise OutOfSync(f"the {name} samples have run far ahead of the others")

    def forget_limited(self) -> None:
        """Forget a moment of limiting that no reading has told of yet."""
        self._limited = False

    def reading(self) -> Reading:
        """Return the poll's reading: one sample, or the block samples that every signal has by now.

        A moment of limiting that the supply remembered makes the last sample of one reading a limited one, and is
        then forgotten: when it was is not known, and how long it lasted even less.
        """
        count = min(len(block) for block in self._blocks.values()) if self._blocks else 1
        if count == 0:
            return Reading()
        signals: dict[str, list[float | None]] = {}
        for name, value in self._latest.items():
            signals[name] = self._blocks[name][:count] if name in self._blocks else [value] * count
        for block in self._blocks.values():
            del block[:count]
        if self._limited:
            signals["limiting"][-1] = 1.0
            self._limited = False
        return Reading(signals, self._spacing_s if self._blocks else None)
