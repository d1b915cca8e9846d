"""USB as the second witness of a restart."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wakerail.analysis.seen import Restart, Revision
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.outcome import Finding, Outcome

MODES = ("rom", "loader", "system")


def attached(at_s, mode="system", *, family="handheld", path="1-1", order=True):
    number = MODES.index(mode)
    return UsbAttached(
        instrument="usb",
        at_s=at_s,
        path=path,
        vendor_id=0x1209,
        product_id=number + 1,
        device_class=0,
        family=family,
        mode=mode if order else "",
        mode_order=number if order else None,
        last_order=len(MODES) - 1 if order else None,
    )


def detached(at_s, path="1-1"):
    return UsbDetached(instrument="usb", at_s=at_s, path=path)


def staged_boot(begin_s):
    """One boot: three modes, each leaving before the next comes."""
    yield attached(begin_s + 0.1, "rom")
    yield detached(begin_s + 0.4)
    yield attached(begin_s + 0.7, "loader")
    yield detached(begin_s + 1.6)
    yield attached(begin_s + 3.5, "system")


def feed(reader, trace, events, sizes=(1,)):
    """Feed samples with the events between them, as they come on a bench."""
    seen, waiting = [], sorted(events, key=lambda event: event.at_s)
    for frame in trace.frames(sizes):
        while waiting and waiting[0].at_s <= frame.t_s[0]:
            seen += reader.take_usb(waiting.pop(0))
        seen += reader.take_frame(frame)
    return seen


@pytest.fixture(name="reader")
def _reader():
    return BootReader(ReaderSettings(standing_a=0.0003))


def test_a_staged_boot_going_forward_is_no_restart(reader):
    assert [one for event in staged_boot(100) for one in reader.take_usb(event)] == []


@pytest.mark.parametrize("left_seen", [True, False])
def test_an_earlier_mode_alone_proves_a_warm_restart(reader, trace, left_seen):
    boot = trace(20).then(0.0003, 2).boot(20)
    events = [*staged_boot(102), *([detached(110)] if left_seen else []), *staged_boot(110.5)]
    onset, restart = feed(reader, boot, events)
    assert restart.evidence == ("usb-earlier-mode",)
    assert restart.again_s == pytest.approx(110.6)
    assert restart.at_s == (110 if left_seen else 110.6)
    assert "'rom'" in restart.says
    earliest_s = restart.again_s - restart.uncertainty_s
    assert earliest_s == pytest.approx(110 if left_seen else 105.5)
    assert reader.finish(boot.end_s).finding is Finding.RESTARTING
    assert onset.at_s == pytest.approx(102)


@pytest.mark.parametrize(
    ("limited_s", "finding"),
    [(110.2, Finding.SUPPLY_LIMITED), (108.0, Finding.RESTARTING), (113.0, Finding.RESTARTING)],
)
def test_a_warm_restart_at_the_supplys_limit_is_no_finding_about_the_device(reader, trace, limited_s, finding):
    boot = trace(20).then(0.0003, 2, limiting=0.0).boot(0).then(0.19, limited_s - 106.05, limiting=0.0)
    boot.then(0.19, 0.05, limiting=1.0).then(0.19, 126 - limited_s, ripple=0.1, limiting=0.0)
    feed(reader, boot, [*staged_boot(102), detached(110), *staged_boot(110.5)])
    assert reader.finish(boot.end_s).finding is finding


def test_both_witnesses_tell_of_one_restart(reader, trace):
    loop = trace(20).then(0.0003, 2).loop(2).boot(12)
    events = [*staged_boot(102), detached(106.06), *staged_boot(106.45), detached(110.52), *staged_boot(110.9)]
    _, first, second = feed(reader, loop, events)
    for restart in (first, second):
        assert restart.evidence[0] == "current-collapse"
        assert "usb-left" in restart.evidence
        assert restart.probability > 0.99
    reading = reader.finish(loop.end_s)
    assert len(reading.restarts) == 2


def test_usb_that_is_ahead_of_the_current_does_not_make_two_of_one(reader, trace):
    loop = trace(20).then(0.0003, 2).loop(1).boot(12)
    seen = []
    for event in (*staged_boot(102), detached(106.06), *staged_boot(106.45)):
        seen += reader.take_usb(event)
    for frame in loop.frames():
        seen += reader.take_frame(frame)
    assert len(reader.finish(loop.end_s).restarts) == 1


def test_what_left_usb_before_the_boot_is_no_restart_of_it(trace):
    reader = BootReader(ReaderSettings(standing_a=0.0003, prompted_s=101))
    boot = trace(20).then(0.0003, 2).boot(12)
    seen = feed(reader, boot, [attached(100.1), detached(100.5), *staged_boot(102)])
    assert len(seen) == 1


@pytest.mark.parametrize(("stays", "restarts"), [(True, 0), (False, 1)])
def test_a_fall_to_the_standing_level_with_usb_still_there_is_sleep(reader, trace, stays, restarts):
    asleep = trace(20).then(0.0003, 2).boot(8).then(0.0003, 3)
    asleep = asleep.then(0.19, 12, ripple=0.1) if stays else asleep.boot(12)
    events = [*staged_boot(102), *([] if stays else [detached(114.06)])]
    feed(reader, asleep, events)
    assert len(reader.finish(asleep.end_s).restarts) == restarts


def test_only_a_dip_with_usb_still_there_is_a_sleep(reader, trace):
    """What comes to the opening's level without one, and is looked at live or in hindsight, is none."""
    asleep = trace(20).then(0.0003, 2).boot(8).then(0.0003, 3).then(0.19, 6, ripple=0.1)
    asleep = asleep.then(0.114, 3, ripple=0.01).boot(12)
    feed(reader, asleep, [attached(106, order=False)])
    assert "It slept once, still on USB." in reader.finish(asleep.end_s).says


def test_a_stranger_on_the_bus_does_not_excuse_a_collapse(reader, trace):
    loop = trace(20).then(0.0003, 2).loop(1).boot(12)
    keyboard = attached(100.5, family="", path="3-4", order=False)
    assert len(feed(reader, loop, [keyboard])) == 2


def test_coming_back_under_the_same_identity_is_noted_and_proves_nothing(reader, trace):
    boot = trace(20).then(0.0003, 2).boot(30)
    events = [*staged_boot(102), detached(115), attached(115.4), detached(120), attached(120.4)]
    assert len(feed(reader, boot, events)) == 1
    reading = reader.finish(boot.end_s)
    assert reading.outcome is Outcome.PASSED
    assert {m.name: m.value for m in reading.measurements}["usb-returns"] == 2


def test_failed_enumerations_are_no_restart(reader):
    for count in range(1, 8):
        failed = UsbEnumerationFailed(instrument="usb", at_s=100 + 17 * count, path="3-2", count=count)
        assert reader.take_usb(failed) == []


def test_usb_tells_a_device_that_hangs_from_one_that_runs_at_full_load(trace):
    busy = trace(100).then(0.0003, 2).then(0.09, 0.4).then(0.26, 20, ripple=0.06)
    for last, expected in (
        ("loader", (Finding.STALLED, Outcome.FAILED)),
        ("system", (Finding.RUNNING, Outcome.PASSED)),
    ):
        reader = BootReader(ReaderSettings(standing_a=0.0003))
        feed(reader, busy, [attached(102.5, "rom"), detached(103), attached(103.5, last)])
        reading = reader.finish(busy.end_s)
        assert (reading.finding, reading.outcome) == expected
        assert repr(last) in reading.says


# --- USB alone ---


def under_id(at_s, product_id):
    return UsbAttached(instrument="usb", at_s=at_s, path="1-1", vendor_id=0x1209, product_id=product_id, device_class=0)


def told(*events):
    reader = BootReader(ReaderSettings())
    seen = [one for event in events for one in reader.take_usb(event)]
    return seen, reader.finish(events[-1].at_s)


def test_an_identity_left_behind_that_comes_back_is_a_restart():
    seen, reading = told(under_id(1, 1), detached(2), under_id(3, 2), detached(8), under_id(8.5, 1))
    (restart,) = seen
    assert (restart.at_s, restart.again_s, restart.evidence) == (8, 8.5, ("usb-earlier-mode",))
    assert restart.probability > 0.95
    assert "1209:0001" in restart.says
    assert reading.finding is Finding.RESTARTING


def test_a_boot_that_goes_through_identities_again_and_again_is_a_loop():
    events = []
    for number in range(4):
        begin_s = 10 * number
        events += [under_id(begin_s + 1, 1), detached(begin_s + 2), under_id(begin_s + 3, 2), detached(begin_s + 9)]
    seen, reading = told(*events)
    assert [one.again_s for one in seen] == [11, 21, 31]
    assert reading.cadence.median_s == 10


@pytest.mark.parametrize(
    ("events", "count"),
    [
        ([under_id(1, 1), detached(5), under_id(6, 1)], 1),
        ([under_id(1, 1), under_id(6, 1), under_id(11, 1)], 0),  # nobody saw it leave
        ([under_id(1, 1), detached(5), under_id(6, 2), detached(7), under_id(8, 3)], 0),  # on to a new identity
        ([detached(0), under_id(1, 1)], 0),  # what left was there before
    ],
)
def test_returns_under_the_same_identity_count_if_they_were_seen_to_leave(events, count):
    assert len(told(*events)[0]) == count


def test_returns_at_like_intervals_make_each_other_more_likely():
    """Those at any time do not: a worn cable comes and goes like that."""
    regular = [under_id(0, 1)]
    for number in range(1, 6):
        regular += [detached(10 * number - 0.5), under_id(10 * number, 1)]
    seen, reading = told(*regular)
    assert [one.number for one in seen if isinstance(one, Restart)] == [1, 2, 3, 4, 5]
    assert all(one.counts for one in seen if isinstance(one, Revision))
    assert {round(one.probability, 3) for one in reading.restarts} == {0.982}
    worn = [under_id(0, 1)]
    for at_s in (3, 17, 18, 60, 64):
        worn += [detached(at_s - 0.5), under_id(at_s, 1)]
    assert {round(one.probability, 2) for one in told(*worn)[1].restarts} == {0.69}


def test_what_usb_proves_after_the_current_told_makes_it_surer(trace):
    """The same restart, told once; the change is an event, and it is what the reading ends with."""
    reader = BootReader(ReaderSettings())
    running = trace(20).then(0.19, 8, ripple=0.1).then(0.002, 0.3).then(0.3, 3, ripple=0.1)
    early = [under_id(100.5, 1), detached(101), under_id(102, 2)]
    seen = feed(reader, running, early)
    restarts = [one for one in seen if isinstance(one, Restart)]
    late = [one for event in (detached(108.02), under_id(110.9, 1)) for one in reader.take_usb(event)]
    reading = reader.finish(running.end_s)
    if restarts:
        assert all(isinstance(one, Revision) and one.probability > restarts[0].probability for one in late)
    assert len(reading.restarts) == 1
    assert reading.restarts[0].probability > 0.95
    assert "usb-earlier-mode" in reading.restarts[0].evidence


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    sizes=st.lists(st.integers(1, 300), min_size=1, max_size=5),
    rate_hz=st.sampled_from([5, 20, 200]),
    left_s=st.lists(st.floats(103, 125), max_size=3, unique=True),
    away_s=st.floats(0.2, 3),
)
def test_what_is_told_on_the_way_is_what_the_reading_ends_with(trace, sizes, rate_hz, left_s, away_s):
    """Whatever comes, in pieces of any size: every change is an event, and nothing else changes."""
    loop = trace(rate_hz).then(0.0003, 2).loop(3).boot(12)
    events = [*staged_boot(102)]
    for at_s in sorted(left_s):
        events += [detached(at_s), attached(at_s + away_s, "loader")]
    events.sort(key=lambda event: event.at_s)
    known = {}
    reader = BootReader(ReaderSettings(standing_a=0.0003))
    seen = feed(reader, loop, events, sizes)
    reading = reader.finish(loop.end_s)
    for one in (*seen, *reading.last_seen):
        if isinstance(one, Restart):
            assert one.number == len(known) + 1
            known[one.number] = one.probability
        elif isinstance(one, Revision):
            assert one.counts == (one.probability >= 0.5)
            known[one.number] = one.probability
    assert {one.number: one.probability for one in reading.restarts} == {
        number: probability for number, probability in known.items() if probability >= 0.5
    }
