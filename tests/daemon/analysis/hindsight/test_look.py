"""Looking back: what it finds that is not seen live, and what it refutes of that."""

from wakerail.analysis.hindsight.look import look_at
from wakerail.analysis.hindsight.weighing import grown
from wakerail.analysis.seen import Restart
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail.analysis.words import brief
from wakerail_sim.corpus import draw_faulty, draw_healthy, make_recording
from wakerail_sim.lifelike import make_lifelike


def seen_live_in(made):
    """Return what is told where no look back is taken."""
    reader = BootReader(ReaderSettings(), lambda *_: [])
    return [one for one in reader.take(made.t_s, made.current_a) if isinstance(one, Restart)]


def read(seed, rate_hz, size, draw=draw_faulty):
    made = make_recording(draw(seed, rate_hz), seed)
    reader, seen = BootReader(ReaderSettings()), []
    for first in range(0, len(made.t_s), size):
        seen += reader.take(made.t_s[first : first + size], made.current_a[first : first + size])
    return made, seen, reader.finish(float(made.t_s[-1]))


def test_a_look_finds_what_is_not_seen_live():
    made, told, reading = read(106000, 200.0, 65536)  # warm: the opening alone tells
    assert len(seen_live_in(made)) < len(made.truth.restarts) / 2
    assert len(reading.restarts) > 0.8 * len(made.truth.restarts)
    late = [one for one in told if isinstance(one, Restart) and "in hindsight" in one.says]
    assert len(late) > len(made.truth.restarts) / 3  # while it runs


def test_how_long_a_boot_was_up_is_said_by_all_that_is_known_in_the_end():
    _, live, reading = read(106000, 200.0, 65536)
    told = {one.number: one for one in live if isinstance(one, Restart)}
    before = dict(zip([one.number for one in reading.restarts[1:]], reading.restarts, strict=False))
    changed = 0
    for one in reading.restarts[1:]:
        assert f"after {brief(one.at_s - before[one.number].again_s)} up" in one.says
        changed += one.number in told and told[one.number].says != one.says
    assert changed


def test_what_a_look_refutes_is_not_told():
    made, told, reading = read(97021, 100.0, 65536, draw_healthy)  # pulses of a radio and of charging
    assert len(seen_live_in(made)) > 10
    assert not any(isinstance(one, Restart) for one in (*told, *reading.last_seen))
    assert not reading.restarts


def test_what_is_told_late_does_not_depend_on_the_pieces():
    _, live, whole = read(106000, 200.0, 10**6)
    _, live_too, pieces = read(106000, 200.0, 333)
    assert whole == pieces
    assert (*live, *whole.last_seen) == (*live_too, *pieces.last_seen)


def test_the_forest_asks_for_nothing_that_does_not_describe_a_moment():
    made = make_recording(draw_faulty(106000, 200.0), 106000)
    columns = []

    def looking(recorded, live_s, _):
        columns.append(look_at(recorded, live_s).columns.keys())
        return []

    reader = BootReader(ReaderSettings(), looking)
    reader.take(made.t_s, made.current_a)
    reader.finish(float(made.t_s[-1]))
    assert columns
    assert all(each == set(grown().alone.names) for each in columns)


def test_a_lifelike_restart_that_is_seen_several_times_is_told_once():
    made = make_lifelike(1008, "hiccup-fast")
    reader = BootReader(ReaderSettings())
    reader.take(made.t_s, made.current_a)
    assert len(seen_live_in(made)) > 3
    assert len(reader.finish(float(made.t_s[-1])).restarts) == len(made.truth.restarts) == 1
