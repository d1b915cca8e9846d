"""A plan: inputs within bounds, roles bound to instruments that are ready, nothing touched."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.sequences import check_sequence, make_plan, parse_sequence
from wakerail_kit.errors import ConfigInvalid, DeviceRefused, DeviceUnavailable
from wakerail_kit.messages import InstrumentState
from wakerail_kit.units import human

TEXT = """\
sequence: try
purpose: A try.
needs: {supply: power-source}
uses: {usb: usb-watcher}
inputs:
  volts:  {default: 3.85 V, min: 3.0 V, max: 4.5 V}
  window: {default: 60 s}
steps:
  - supply: {volts: $volts, output: on}
  - watch:  {for: $window, signals: [supply.current, usb]}
finally:
  - supply: {output: off}
"""
SEQUENCE = parse_sequence(TEXT, "try.yaml")


def test_inputs_are_read_with_their_units_and_defaults_fill_in(make_bench):
    plan = make_plan(SEQUENCE, {"volts": "4100 mV"}, make_bench({"psu": "power-source"}))
    assert plan.values == pytest.approx({"volts": 4.1, "window": 60.0})
    assert plan.input_texts == {"volts": "4.1 V", "window": "60 s"}
    assert plan.roles == {"supply": "psu"}
    assert plan.absent == {"usb": "this bench has no usb-watcher"}
    assert plan.lines() == [
        "1. Set supply: volts 4.1 V, output on",
        "2. Watch supply.current and usb for 60 s",
        "finally: Set supply: output off",
    ]


@pytest.mark.parametrize(
    ("given_text", "line"),
    [
        ({"volts": "9 V"}, "input volts: 9 V is too high; at most 4.5 V"),
        ({"volts": "1 V"}, "input volts: 1 V is too low; at least 3 V"),
        ({"volts": "3 A"}, "input volts: '3 A' is not a voltage; write it like '3.85 V'"),
        ({"volts": "3.85"}, "input volts: '3.85' has no unit; write it like '3.85 V'"),
        ({"window": "-5 s"}, "input window: -5 s is too low; at least 0 s"),
        ({"vlts": "4 V"}, "input vlts: try has no such input; did you mean 'volts'?"),
    ],
)
def test_a_wrong_input_is_one_line_that_says_what_would_be_right(make_bench, given_text, line):
    with pytest.raises(ConfigInvalid) as caught:
        make_plan(SEQUENCE, given_text, make_bench({"psu": "power-source"}))
    assert caught.value.problems == (line,)


def test_all_that_is_wrong_comes_out_together(make_bench):
    with pytest.raises(ConfigInvalid) as caught:
        make_plan(SEQUENCE, {"volts": "9 V", "window": "3 V", "x": "1"}, make_bench({"usb-1": "usb-watcher"}))
    assert len(caught.value.problems) == 4
    assert caught.value.problems[-1] == "try needs a power-source as 'supply'; this bench has none to spare"


@given(st.floats(-10, 10).map(lambda value: round(value, 4)))
def test_a_value_is_taken_exactly_when_it_is_within_its_bounds(volts):
    psu = SimpleNamespace(name="psu", kind=SEQUENCE.needs["supply"], state=InstrumentState.READY, words="ready")
    bench = SimpleNamespace(instruments={"psu": psu}, families={})
    if 3.0 <= volts <= 4.5:
        assert make_plan(SEQUENCE, {"volts": f"{volts:f} V"}, bench).values["volts"] == pytest.approx(volts)
    else:
        with pytest.raises(ConfigInvalid, match=re.escape(human(volts, "V"))):
            make_plan(SEQUENCE, {"volts": f"{volts:f} V"}, bench)


def test_kinds_are_checked_without_a_bench():
    assert check_sequence(SEQUENCE, {"power-source", "port-tester"}, {}) == []
    assert check_sequence(SEQUENCE, [], {}) == ["try needs a power-source as 'supply'; this bench has none to spare"]
    two = parse_sequence(TEXT.replace("{supply:", "{other: power-source, supply:"), "two.yaml")
    assert len(check_sequence(two, ["power-source"], {})) == 1
    assert check_sequence(two, ["power-source", "power-source"], {}) == []


def test_each_role_gets_an_instrument_of_its_own_in_the_bench_s_order(make_bench):
    two = parse_sequence(TEXT.replace("{supply:", "{other: power-source, supply:"), "two.yaml")
    bench = make_bench({"psu-b": "power-source", "usb-1": "usb-watcher", "psu-a": "power-source"})
    assert make_plan(two, {}, bench).roles == {"other": "psu-b", "supply": "psu-a", "usb": "usb-1"}


def test_a_needed_instrument_that_is_not_ready_is_refused_in_its_own_words(make_bench):
    bench = make_bench({"psu": "power-source", "usb-1": "usb-watcher"})
    psu = bench.instruments["psu"]
    psu.state, psu.words = InstrumentState.UNAVAILABLE, "no answer at tcp://192.0.2.7:5025"
    with pytest.raises(DeviceUnavailable, match=r"psu \(supply\) is not ready: no answer at tcp"):
        make_plan(SEQUENCE, {}, bench)
    psu.state, psu.words = InstrumentState.TRIPPED, "over-voltage: 4.9 V at the output"
    with pytest.raises(DeviceRefused, match=r"psu \(supply\): over-voltage: .* reset the interlock"):
        make_plan(SEQUENCE, {}, bench)


def test_an_optional_instrument_that_is_not_ready_is_left_out_and_noted(make_bench):
    bench = make_bench({"psu": "power-source", "usb-1": "usb-watcher"})
    bench.instruments["usb-1"].state = InstrumentState.CONNECTING
    bench.instruments["usb-1"].words = "connecting"
    plan = make_plan(SEQUENCE, {}, bench)
    assert plan.roles == {"supply": "psu"}
    assert plan.notes == ("the usb was not used: usb-1 is connecting: connecting",)
    assert bench.points == []
