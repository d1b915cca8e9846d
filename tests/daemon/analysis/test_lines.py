"""Readings of a connector's lines, judged."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.analysis.lines import SHORT_V, Line, LineState, bridge_suspects, bridged, conclude
from wakerail_kit.connectors import Connector, Known, Pin
from wakerail_kit.outcome import Finding, Outcome


def pin(name: str, known: Known = Known.VOLTS, value: float = 0.5, tolerance: float = 0.1) -> Pin:
    return Pin(name, f"line-{name}", known, value, tolerance)


@pytest.mark.parametrize(
    ("known", "nominal", "value", "state"),
    [
        (Known.VOLTS, 0.5, 0.46, LineState.GOOD),
        (Known.VOLTS, 0.5, 0.44, LineState.LOW),
        (Known.VOLTS, 0.5, 0.56, LineState.HIGH),
        (Known.VOLTS, 0.5, 0.001, LineState.SHORTED),
        (Known.VOLTS, 0.5, None, LineState.OPEN),
        (Known.OHMS, 1e4, 1e4, LineState.GOOD),
        (Known.OHMS, 1e4, 0.3, LineState.SHORTED),
        (Known.OHMS, 1.0, 1.05, LineState.GOOD),  # as low as a short, and known to be
        (Known.OHMS, 1e4, 5e3, LineState.LOW),
        (Known.OHMS, 1e4, None, LineState.OPEN),
        (Known.GROUND, 0.0, 0.002, LineState.GOOD),
        (Known.GROUND, 0.0, 0.4, LineState.HIGH),
        (Known.GROUND, 0.0, None, LineState.OPEN),
        (Known.OPEN, 0.0, None, LineState.GOOD),
        (Known.OPEN, 0.0, 0.4, LineState.LOW),
        (Known.OPEN, 0.0, 0.001, LineState.SHORTED),
    ],
)
def test_a_reading_is_judged_by_what_is_known_of_its_pin(known, nominal, value, state):
    assert Line(pin("1", known, nominal), value).state is state


def test_a_reading_that_did_not_settle_says_nothing():
    assert Line(pin("1"), 0.2, steady=False).state is LineState.UNSTEADY


values = st.one_of(st.none(), st.floats(0.0, 2.5))


@given(st.floats(0.1, 1.0), st.floats(0.0, 0.5), values)
@settings(max_examples=60)
def test_a_line_is_good_exactly_within_its_tolerance(nominal, tolerance, value):
    line = Line(pin("1", value=nominal, tolerance=tolerance), value)
    assert (line.state is LineState.GOOD) == (value is not None and line.pin.low <= value <= line.pin.high)


@given(st.lists(st.tuples(st.floats(0.1, 1.0), values), min_size=1, max_size=8))
@settings(max_examples=60)
def test_a_suspected_bridge_reads_alike_and_one_end_of_it_is_wrong(lines):
    read = [Line(pin(str(number), value=nominal), value) for number, (nominal, value) in enumerate(lines)]
    for one, other in bridge_suspects(read):
        assert abs(one.value - other.value) <= max(0.004, 0.01 * max(one.value, other.value))
        assert LineState.GOOD not in {one.state} & {other.state}
        assert min(one.value, other.value) >= SHORT_V


def test_of_bridged_lines_the_lower_one_may_read_like_known_good():
    lower, upper, far = Line(pin("1", value=0.45), 0.449), Line(pin("2", value=0.62), 0.450), Line(pin("3"), 0.5)
    assert bridge_suspects([lower, upper, far]) == [(lower, upper)]
    assert [line.state for line in bridged([lower, upper, far], (lower, upper))] == [
        LineState.BRIDGED, LineState.BRIDGED, LineState.GOOD
    ]  # fmt: skip


def test_lines_that_read_alike_when_sound_are_no_suspects():
    """Nor can they be told: two like junctions in parallel drop 18 mV less, which a tolerance covers."""
    assert bridge_suspects([Line(pin("1"), 0.4), Line(pin("2"), 0.4)]) == []


def test_the_most_telling_finding_speaks_and_every_bad_line_is_named():
    display = Connector("display", "the display", "", (pin("1"), pin("2"), pin("3")))
    found = conclude(display, [Line(pin("1"), None), Line(pin("2"), 0.001), Line(pin("3"), 0.5)])
    assert (found.outcome, found.finding) == (Outcome.FAILED, Finding.LINE_SHORTED)
    assert found.says == (
        "2 of 3 lines of the display: line-1 (pin 1) is open where 500 mV is known-good; "
        "line-2 (pin 2) is shorted to ground, 1 mV where 500 mV is known-good."
    )
