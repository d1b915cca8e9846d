"""Looking back: what is found late, and what is taken back."""

from dataclasses import dataclass

from wakerail.analysis.hindsight.look import Verdict, stand_for
from wakerail.analysis.hindsight.weighing import grown
from wakerail.analysis.seen import Restart, Revision
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.sorts import Sort
from wakerail.analysis.watch import BootReader
from wakerail.analysis.words import brief
from wakerail_sim.corpus import draw_faulty, draw_healthy, make_recording
from wakerail_sim.lifelike import make_lifelike


def read(seed, rate_hz, size, draw=draw_faulty):
    made = make_recording(draw(seed, rate_hz), seed)
    reader, seen = BootReader(ReaderSettings()), []
    for first in range(0, len(made.t_s), size):
        seen += reader.take(made.t_s[first : first + size], made.current_a[first : first + size])
    return made, seen, reader.finish(float(made.t_s[-1]))


def test_what_only_the_whole_recording_shows_is_told_late():
    made, live, reading = read(106000, 200.0, 65536)  # warm: the opening alone tells
    told = [one for one in live if isinstance(one, Restart)]
    late = [one for one in reading.last_seen if isinstance(one, Restart)]
    assert len(told) < len(made.truth.restarts) / 2
    assert len(reading.restarts) > 0.8 * len(made.truth.restarts)
    assert {one.number for one in told}.isdisjoint(one.number for one in late)
    assert all("in hindsight" in one.says for one in late)


def test_how_long_a_boot_was_up_is_said_by_all_that_is_known_in_the_end():
    _, live, reading = read(106000, 200.0, 65536)
    told = {one.number: one for one in live if isinstance(one, Restart)}
    before = dict(zip([one.number for one in reading.restarts[1:]], reading.restarts, strict=False))
    changed = 0
    for one in reading.restarts[1:]:
        assert f"after {brief(one.at_s - before[one.number].again_s)} up" in one.says
        changed += one.number in told and told[one.number].says != one.says
    assert changed


def test_what_the_whole_recording_refutes_is_taken_back():
    _, live, reading = read(97021, 100.0, 65536, draw_healthy)  # pulses of a radio and of charging
    told = {one.number for one in live if isinstance(one, Restart)}
    back = [one for one in reading.last_seen if isinstance(one, Revision)]
    assert len(told) > 10
    assert len(back) > 0.8 * len(told)
    assert not any(one.counts for one in back)
    assert {one.number for one in reading.restarts}.isdisjoint(one.number for one in back)


def test_what_is_told_late_does_not_depend_on_the_pieces():
    _, live, whole = read(106000, 200.0, 10**6)
    _, live_too, pieces = read(106000, 200.0, 333)
    assert whole == pieces
    assert (*live, *whole.last_seen) == (*live_too, *pieces.last_seen)


def test_the_forest_asks_for_nothing_that_does_not_describe_a_moment():
    made = make_recording(draw_faulty(106000, 200.0), 106000)
    reader = BootReader(ReaderSettings())
    reader.take(made.t_s, made.current_a)
    assert set(grown().alone.names) == reader.look_at_all().columns.keys()


@dataclass
class Told:
    at_s: float
    again_s: float


def verdict(at_s, again_s):
    return Verdict(Sort.DIP, at_s, again_s, 0.01, 5.0, dipped=False, log_odds=3.0)


def test_of_two_that_stand_for_one_restart_the_nearer_does():
    told = [Told(1.0, 1.4), Told(1.0, 1.51), Told(5.0, 5.2), Told(9.0, 9.4)]
    assert stand_for(told, [verdict(1.0, 1.5), verdict(9.0, 9.41)], 0.02) == [False, True, False, True]


def test_two_restarts_may_each_be_stood_for():
    told = [Told(1.0, 1.4), Told(1.5, 1.8)]
    assert stand_for(told, [verdict(1.0, 1.4), verdict(1.5, 1.8)], 0.02) == [True, True]
    assert stand_for([], [verdict(1.0, 1.4)], 0.02) == []


def test_a_lifelike_restart_that_was_told_twice_is_told_once_in_the_end():
    made = make_lifelike(1008, "hiccup-fast")
    reader = BootReader(ReaderSettings())
    live = reader.take(made.t_s, made.current_a)
    reading = reader.finish(float(made.t_s[-1]))
    assert sum(isinstance(one, Restart) for one in live) > 3
    assert len(reading.restarts) == len(made.truth.restarts) == 1
