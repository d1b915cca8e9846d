"""The restarts that were told, and what holds of them: none is taken back or made surer silently."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wakerail.analysis.seen import Restart, Revision, Seen
from wakerail.analysis.sorts import probability_of
from wakerail.analysis.telling import Begin
from wakerail.analysis.usb import UsbReturn

_WORTH_TELLING = 0.01  # a probability that changes by less is not told anew


@dataclass(slots=True)
class Told:
    """A restart that was told, how sure it is, and by which witnesses; ``begin`` is what the current shows of it."""

    restart: Restart
    log_odds: float
    by_current: bool
    usb: UsbReturn | None = None
    begin: Begin | None = None

    @property
    def counts(self) -> bool:
        """Whether it still stands for a restart."""
        return self.log_odds >= 0

    def revise(self, log_odds: float, says: str, evidence: str | None = None) -> list[Seen]:
        """Change how sure it is, and return what has to be told of that: nothing where it is not worth it."""
        probability = probability_of(log_odds)
        if abs(probability - self.restart.probability) < _WORTH_TELLING:
            return []
        names = self.restart.evidence if evidence is None else (*self.restart.evidence, evidence)
        self.restart = replace(self.restart, probability=probability, evidence=names)
        self.log_odds = log_odds
        return [Revision(self.restart.number, self.restart.at_s, probability, self.counts, says)]


class ToldRestarts:
    """All of them, in the order in which they were told."""

    def __init__(self) -> None:
        self.all: list[Told] = []

    @property
    def counting(self) -> list[Told]:
        """Those that still stand for a restart."""
        return [told for told in self.all if told.counts]

    def tell(
        self,
        at_s: float,
        again_s: float,
        log_odds: float,
        evidence: list[str],
        says: str,
        uncertainty_s: float,
        *,
        usb: UsbReturn | None = None,
        begin: Begin | None = None,
    ) -> Restart:
        """Take one more, which is by the current if what that shows is given; return what is told of it."""
        number, sure = len(self.all) + 1, probability_of(log_odds)
        restart = Restart(at_s, again_s, number, sure, tuple(evidence), says, uncertainty_s)
        self.all.append(Told(restart, log_odds, by_current=begin is not None, usb=usb, begin=begin))
        return restart

    def up_s(self, at_s: float, onset_s: float | None) -> float | None:
        """Return for how long the boot that ended at a moment had been up, None if it began before the watch."""
        begun_s = [told.restart.again_s for told in self.counting]
        if onset_s is not None:
            begun_s.append(onset_s)
        earlier = [begin_s for begin_s in begun_s if begin_s < at_s]
        return at_s - max(earlier) if earlier else None
