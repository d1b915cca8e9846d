"""The boots found so far, and which of them a candidate for another is held against."""

from __future__ import annotations

from wakerail.analysis.candidate import Candidate, Known
from wakerail.analysis.opening import Opening
from wakerail.analysis.rhythm import Rhythm
from wakerail.analysis.sorts import FALLEN, SURE, Sort

_RECENT = 12  # boots looked at for the longest
_SHAPELESS = 8  # ticks
_ENOUGH = 3  # boots, each likely but none sure, make the template one


class Boots:
    """Keeps boots in the order of time, and the template: the opening that others are expected to be like.

    ``template_is_sure`` tells whether the template is a boot's.
    """

    def __init__(self) -> None:
        self.template: Opening | None = None
        self.template_is_sure = False
        self._all: list[Opening] = []
        self._whole: list[Opening] = []  # each from a start out of standing to the next collapse, whatever is between
        self.rhythm = Rhythm()
        self._known: dict[Candidate, Known] = {}  # until the boots change

    @property
    def newest_start_s(self) -> float | None:
        """When the newest boot began; None where none was found."""
        return self._all[-1].start_s if self._all else None

    def begin(self, opening: Opening, *, surely: bool) -> None:
        """Take the first boot, which begins with the onset; what began so need ``surely`` not be one."""
        self._all.append(opening)
        self._whole.append(opening.anew())
        self.template, self.template_is_sure = opening, surely
        self._known.clear()

    def forget_all(self) -> None:
        """Note that what was taken for boots were none."""
        self.template, self.template_is_sure = None, False
        self._all.clear()
        self._whole.clear()
        self._known.clear()

    def end_with(self, candidate: Candidate, log_odds: float) -> None:
        """Take a boot later than all others: the one before it has ended."""
        if not self._all:
            self.template, self.template_is_sure = candidate.opening, log_odds >= SURE
        else:
            last = self._all[-1]
            if last.end_s is None and candidate.at_s > last.start_s:
                last.end_s = candidate.at_s
                self._take_template(last)
        self._all.append(candidate.opening)
        if candidate.sort in FALLEN:
            if self._whole and candidate.at_s > self._whole[-1].start_s:
                self._whole[-1].end_s = candidate.at_s
            self._whole.append(candidate.opening.anew())
        self._changed()

    def insert(self, opening: Opening) -> None:
        """Take a boot found late."""
        self._all.append(opening)
        self._all.sort(key=lambda boot: boot.start_s)
        self._changed()

    def _changed(self) -> None:
        self._known.clear()
        self.template_is_sure |= len(self._all) >= _ENOUGH
        self.rhythm.learn([boot.start_s for boot in self._all], self._all[0].spacing_s)

    def suppose(self, opening: Opening) -> None:
        """Take for the template what is not sure to be a boot, unless there is one: what comes later may be like it."""
        if self.template is None:
            self.template = opening
            self._known.clear()

    def doubt(self, from_s: float) -> None:
        """Note that from then on each boot under way may have been another."""
        for boot in self._all:
            if boot.start_s < from_s:
                boot.doubted_s = min(boot.doubted_s, from_s)

    def has_one_near(self, start_s: float, within_s: float) -> bool:
        """Tell whether a boot began about then."""
        return any(abs(boot.start_s - start_s) < within_s for boot in self._all)

    def known_to(self, candidate: Candidate) -> Known:
        """Return what a candidate is held against."""
        known = self._known.get(candidate)
        if known is None:
            template, under_way_s = self._template_for(candidate), self._under_way_s(candidate)
            courses: tuple[Opening, ...] = ()
            if under_way_s is not None:
                lasted_s = candidate.again_s - under_way_s
                longest = self._longest_before(candidate)
                courses = tuple(
                    boot for boot in (template, longest) if boot is not None and boot.lasted(lasted_s, candidate.at_s)
                )
            known = Known(template, under_way_s, courses, self._whole_course(candidate), self.template_is_sure)
            self._known[candidate] = known
        return known

    def forget(self, candidate: Candidate) -> None:
        """Note that a candidate is decided."""
        self._known.pop(candidate, None)

    def _template_for(self, candidate: Candidate) -> Opening | None:
        likely = self.template_is_sure or candidate.sort is not Sort.JUMP
        return self.template if likely and self.template is not candidate.opening else None

    def _under_way_s(self, candidate: Candidate) -> float | None:
        """Return when the boot began that was under way before a candidate, unless that is the template itself."""
        before = next((boot for boot in reversed(self._all) if boot.start_s < candidate.again_s), None)
        fell = candidate.sort in FALLEN  # which the boot that goes on would have to explain, too
        return None if before is None or (fell and before is self.template) else before.start_s

    def _longest_before(self, candidate: Candidate) -> Opening | None:
        """Return the boot that lasted longest of those that ended before a candidate; None for one that fell."""
        if candidate.sort in FALLEN:
            return None
        ended = [boot for boot in self._all if boot.end_s is not None and boot.end_s <= candidate.at_s]
        return max(ended[-_RECENT:], key=lambda boot: (boot.end_s or 0.0) - boot.start_s, default=None)

    def _whole_course(self, candidate: Candidate) -> tuple[float, Opening] | None:
        """Return when the device last came up from standing, and the longest course that it took at such a time before.

        None for a candidate that fell, or without such a course. What comes at its time after every such start, though
        a boot was told of there, is how the device boots.
        """
        if candidate.sort in FALLEN:
            return None
        before = [boot for boot in self._whole if boot.start_s < candidate.again_s]
        ended = [boot for boot in before[:-1] if boot.end_s is not None][-_RECENT:]
        if not ended:
            return None
        return before[-1].start_s, max(ended, key=lambda boot: (boot.end_s or 0.0) - boot.start_s)

    def _take_template(self, boot: Opening) -> None:
        """Use the first boot seen whole; one that ended too soon to have a shape gives way to a longer one."""
        best = self.template
        if best is None or best is boot or best.end_s is None:
            self.template = best or boot
        elif best.end_s - best.start_s < _SHAPELESS * boot.spacing_s and (boot.end_s or 0.0) - boot.start_s > 2 * (
            best.end_s - best.start_s
        ):
            self.template = boot
