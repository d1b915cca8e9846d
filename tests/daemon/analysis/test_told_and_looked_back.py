"""What becomes of restarts told live once the whole recording is looked back at, whatever that says of them."""

from __future__ import annotations

from wakerail.analysis import watch as reading_module
from wakerail.analysis.hindsight.look import Verdict
from wakerail.analysis.seen import Revision
from wakerail.analysis.sorts import Sort


def finished(trace, watch, monkeypatch, log_odds):
    """Return the reading of a loop of as many restarts, of which hindsight says these log odds."""
    loop = trace(50.0).then(0.0003, 3).loop(len(log_odds)).boot(12)
    watched = watch(loop)
    told_s = [(one.at_s, one.again_s) for one in watched.seen[1:]]
    assert len(told_s) == len(log_odds)
    verdicts = [
        Verdict(Sort.COLLAPSE, at_s, again_s, 0.0, 0.0, False, each)
        for (at_s, again_s), each in zip(told_s, log_odds, strict=True)
    ]
    monkeypatch.setattr(reading_module, "look_back", lambda *_: verdicts)
    return watched.reader.finish(loop.end_s)


def revisions(reading):
    assert all(isinstance(one, Revision) for one in reading.last_seen)
    return [(one.number, one.counts) for one in reading.last_seen]


def test_what_hindsight_is_sure_of_stays_as_it_was_told(trace, watch, monkeypatch):
    reading = finished(trace, watch, monkeypatch, [2.0, 2.0, 2.0])
    assert len(reading.restarts) == 3
    assert not reading.last_seen


def test_what_is_in_doubt_stays_as_it_was_told(trace, watch, monkeypatch):
    reading = finished(trace, watch, monkeypatch, [2.0, 2.0, -1.0])
    assert [one.number for one in reading.restarts] == [1, 2, 3]
    assert not reading.last_seen


def test_what_is_refuted_is_taken_back(trace, watch, monkeypatch):
    reading = finished(trace, watch, monkeypatch, [2.0, 2.0, -4.0])
    assert [one.number for one in reading.restarts] == [1, 2]
    assert revisions(reading) == [(3, False)]


def test_where_most_is_refuted_what_is_in_doubt_falls_with_it(trace, watch, monkeypatch):
    reading = finished(trace, watch, monkeypatch, [-4.0, -1.0, -4.0])
    assert not reading.restarts
    assert revisions(reading) == [(1, False), (2, False), (3, False)]
