"""What is told of what is seen live, whatever a look back says of that: here a look says what the test wants."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from wakerail.analysis.hindsight.look import Verdict
from wakerail.analysis.seen import Restart, Revision
from wakerail.analysis.sorts import Sort

REFUTED, DOUBTFUL, SURE = -4.0, -1.0, 3.0


@dataclass
class Looker:
    """Says of restart k of a loop, at look n since one was seen live, what ``says[n][k]`` is; the last goes on."""

    says: list[list[float]]
    more: dict[float, float] = field(default_factory=dict)  # log odds of moments that are not seen live
    live_s: list[list[float]] = field(default_factory=list)

    def __call__(self, recorded, live_s, outside):
        row = self.says[min(len(self.live_s), len(self.says) - 1)]
        if live_s:
            self.live_s.append(list(live_s))
        of_live = [
            Verdict(Sort.COLLAPSE, again_s - 0.4, again_s, 0.0, 0.0, False, row[min(place, len(row) - 1)])
            for place, again_s in enumerate(live_s)
        ]
        until_s = recorded.trail.start_s[-1]
        more = {at_s: log_odds for at_s, log_odds in self.more.items() if at_s < until_s}
        return of_live + [Verdict(Sort.JUMP, at_s, at_s, 0.0, 5.0, False, log_odds) for at_s, log_odds in more.items()]


def told(seen):
    """Return the numbers of the restarts told, and of those taken back (-) or told again (+), in their order."""
    return [
        one.number if isinstance(one, Restart) else f"{'+' if one.counts else '-'}{one.number}"
        for one in seen
        if isinstance(one, Restart | Revision)
    ]


def watched(trace, watch, restarts, says, more=None):
    looker = Looker(says, more or {})
    loop = trace(50.0).then(0.0003, 3).loop(restarts).boot(12)
    watching = watch(loop, [7], looking=looker)
    return looker, told(watching.seen), watching.reader.finish(loop.end_s)


def test_what_a_look_bears_out_is_told_as_it_was_seen(trace, watch):
    _, live, reading = watched(trace, watch, 3, [[SURE]])
    assert live == [1, 2, 3]
    assert [one.number for one in reading.restarts] == [1, 2, 3]
    assert not reading.last_seen
    assert not any("hindsight" in one.says for one in reading.restarts)


@pytest.mark.parametrize("log_odds", [REFUTED, DOUBTFUL])
def test_what_no_look_bears_out_is_not_told(trace, watch, log_odds):
    looker, live, _ = watched(trace, watch, 3, [[log_odds]])
    assert live == []
    assert [len(each) for each in looker.live_s] == [1, 2, 3, 3]  # at each, and at the end


def test_what_a_later_look_bears_out_is_told_then(trace, watch):
    _, live, reading = watched(trace, watch, 3, [[REFUTED], [SURE]])
    assert sorted(live) == [1, 2, 3]
    assert len(reading.restarts) == 3


def test_what_a_later_look_refutes_is_taken_back_and_told_again_by_its_number(trace, watch):
    looker, live, reading = watched(trace, watch, 4, [[SURE], [REFUTED, SURE], [SURE]])
    assert live == [1, "-1", 2, "+1", 3, 4]
    assert len(reading.restarts) == 4
    assert looker.live_s[2] == looker.live_s[-1][:3]
    assert len(looker.live_s) == 5  # that of the fourth was trusted; one that nothing asked for came after it


def test_what_was_told_stays_while_it_is_in_doubt(trace, watch):
    _, live, reading = watched(trace, watch, 3, [[SURE], [DOUBTFUL, SURE]])
    assert live == [1, 2, 3]
    assert not reading.last_seen


def test_where_looks_bear_out_what_is_seen_live_few_are_needed(trace, watch):
    looker, live, reading = watched(trace, watch, 40, [[SURE]])
    assert live == list(range(1, 41))
    assert not reading.last_seen
    assert len(looker.live_s) < 13


def test_what_was_told_without_a_look_is_taken_back_by_the_next(trace, watch):
    says = [[SURE]] * 3 + [[SURE, SURE, SURE, REFUTED, SURE]]
    _, live, reading = watched(trace, watch, 8, says)
    assert "-4" in live
    assert 4 not in [one.number for one in reading.restarts]


def test_at_the_end_what_was_seen_live_stands_while_it_is_in_doubt(trace, watch):
    _, live, reading = watched(trace, watch, 3, [[DOUBTFUL]])
    assert live == []
    assert told(reading.last_seen) == [1, 2, 3]
    assert len(reading.restarts) == 3


def test_where_too_little_was_recorded_to_look_back_what_is_seen_live_is_told(trace, watch):
    loop = trace(50.0).then(0.0003, 3).loop(2).boot(12)
    watching = watch(loop, [7], looking=lambda *_: [])
    assert told(watching.seen) == [1, 2]
    assert len(watching.reader.finish(loop.end_s).restarts) == 2


def test_what_only_a_look_shows_is_told_by_it_if_it_is_sure_and_else_at_the_end(trace, watch):
    _, live, reading = watched(trace, watch, 3, [[SURE]], {104.0: 3.0, 105.0: 0.5, 106.0: DOUBTFUL})
    assert live == [1, 2, 3, 4]
    assert told(reading.last_seen) == [5]
    in_hindsight = [one.at_s for one in reading.restarts if "in hindsight" in one.says]
    assert in_hindsight == [104.0, 105.0]


def test_the_first_restart_waits_for_more_than_a_likeness_and_is_told_at_the_end(trace, watch):
    _, live, reading = watched(trace, watch, 1, [[0.3]])
    assert live == []
    assert told(reading.last_seen) == [1]


def test_what_nothing_live_proposes_is_told_before_the_end_all_the_same(trace, watch):
    looker = Looker([[SURE]], {110.0: 3.0})
    boot = trace(50.0).then(0.0003, 3).boot(40)
    watching = watch(boot, [7], looking=looker)
    assert looker.live_s == []
    assert told(watching.seen) == [1]
    assert not watching.reader.finish(boot.end_s).last_seen
