"""A sequence is checked whole: every mistake is one line with file, line and key, saying what would be right."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.sequences import load_sequence, load_sequences, parse_sequence
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.kinds import POWER_SOURCE, USB_WATCHER
from wakerail_kit.outcome import Finding

GOOD = """\
sequence: boot-watch
purpose: Does the board come up and stay up on bench power?
needs: {supply: power-source, port: port-tester}
uses: {usb: usb-watcher}
inputs:
  volts:  {default: 3.85 V, min: 3.0 V, max: 4.5 V}
  limit:  {default: 3 A}
  window: {default: 60 s}
steps:
  - supply:  {volts: $volts, limit: $limit, output: on}
  - measure: {signal: supply.current, over: 2 s, stat: mean, max: 5 mA}
    failed:  standing-draw
  - prompt:  Bridge the power-button pads, then confirm.
  - watch:   {for: $window, signals: [supply.current, usb], fail_on: restart}
  - test:    {port: lines, as: before}
  - wait:    2 s
    only_if_failed: before
finally:
  - supply:  {output: off}
"""


def problems(text: str) -> tuple[str, ...]:
    with pytest.raises(ConfigInvalid) as caught:
        parse_sequence(text, "s.yaml")
    return caught.value.problems


def test_a_good_sequence_is_read_whole():
    sequence = parse_sequence(GOOD, "s.yaml")
    assert sequence.name == "boot-watch"
    assert dict(sequence.needs)["supply"] is POWER_SOURCE
    assert dict(sequence.uses) == {"usb": USB_WATCHER}
    assert [step.action.verb for step in sequence.steps] == ["set", "measure", "prompt", "watch", "test", "wait"]
    assert sequence.passed is Finding.CHECKS_PASSED
    assert sequence.inputs["volts"].high == 4.5
    assert sequence.inputs["limit"].low == 0.0  # a negative current is a slip of the pen
    assert sequence.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
    values = {"volts": 3.85, "limit": 3.0, "window": 60.0}
    assert sequence.steps[0].words(values) == "Set supply: volts 3.85 V, limit 3 A, output on"
    assert sequence.steps[3].words(values) == "Watch supply.current and usb for 60 s"


SET = "  - supply:  {volts: $volts, limit: $limit, output: on}"
MEASURE = "  - measure: {signal: supply.current, over: 2 s, stat: mean, max: 5 mA}"
WATCH = "  - watch:   {for: $window, signals: [supply.current, usb], fail_on: restart}"
TEST = "  - test:    {port: lines, as: before}"
VERBS = "charge, checklist, heat, inject, measure, prompt, survey, test, usb-mode, wait, watch, usb, supply, port"


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("sequence: boot-watch\n", "", "1: sequence: is missing"),
        (
            "sequence: boot-watch",
            "sequence: Boot Watch",
            "1: sequence: 'Boot Watch' is no name; use lower-case letters, digits, '-' and '_'",
        ),
        ("purpose: Does", "purpos: Does", "1: purpose: is missing"),
        ("purpose: Does", "purpos: Does", "2: purpos: unknown key; did you mean 'purpose'?"),
        (
            "supply: power-source",
            "supply: power-sorce",
            "3: needs.supply: 'power-sorce' is not known; did you mean 'power-source'?",
        ),
        (
            "port: port-tester}",
            "watch: port-tester}",
            "3: needs.watch: 'watch' means something else in a step; give the role another name",
        ),
        ("uses: {usb:", "uses: {supply: power-source, usb:", "4: uses.supply: is among 'needs' already"),
        (
            "{default: 3.85 V, min",
            "{default: 3.85, min",
            "6: inputs.volts.default: '3.85' has no unit, unlike its bounds; write it like '3.85 V'",
        ),
        (
            "{default: 3.85 V, min",
            "{default: lots, min",
            "6: inputs.volts.default: 'lots' is no quantity; write it like '3.85 V'",
        ),
        (
            "{default: 3.85 V, min",
            "{min",
            "6: inputs.volts.default: is missing; give a quantity like '3.85 V'",
        ),
        ("{default: 3.85 V, min", "{default: 9 V, min", "6: inputs.volts.default: 9 V is too high; at most 4.5 V"),
        ("min: 3.0 V", "min: 5 V", "6: inputs.volts.min: 5 V is above max, 4.5 V"),
        (
            "min: 3.0 V",
            "min: 3.0 A",
            "6: inputs.volts.min: '3.0 A' is not a voltage; write it like '3.85 V'",
        ),
        ("{default: 3 A}", "{default: 3 A, maxx: 4 A}", "7: inputs.limit.maxx: unknown key; did you mean 'max'?"),
        ("{default: 3 A}", "{default: -3 A}", "7: inputs.limit.default: -3 A is too low; at least 0 A"),
        ("limit: $limit, ", "", "7: inputs.limit: no step uses '$limit'"),
        ("$volts,", "$vols,", "10: steps[0].supply.volts: input '$vols' is not declared; did you mean 'volts'?"),
        (
            "volts: $volts,",
            "volts: $limit,",
            "10: steps[0].supply.volts: input '$limit' is in A, but volts is in V; an input like '3.85 V' would fit",
        ),
        ("volts: $volts,", "vlts: $volts,", "10: steps[0].supply.vlts: unknown key; did you mean 'volts'?"),
        (
            "volts: $volts,",
            "volts: 3 A,",
            "10: steps[0].supply.volts: '3 A' is not a voltage; write it like '3.85 V'",
        ),
        (
            "volts: $volts,",
            "volts: 3.85,",
            "10: steps[0].supply.volts: '3.85' has no unit; write it like '3.85 V'",
        ),
        ("output: on}", "output: maybe}", "10: steps[0].supply.output: 'maybe' is neither on nor off"),
        (
            SET,
            "  - supply:  {}",
            "10: steps[0].supply: sets nothing; known here: volts, limit, over-voltage, over-current, output",
        ),
        (SET, "  - usb: {output: on}", "10: steps[0].usb: a usb-watcher has no settings"),
        (
            "  - supply:  {volts",
            "  - suply:  {volts",
            "10: steps[0].suply: neither a verb nor a role of this sequence; did you mean 'supply'?",
        ),
        (
            "  - prompt:  Bridge",
            "  - shout:  Bridge",
            f"13: steps[2].shout: neither a verb nor a role of this sequence; known here: {VERBS}",
        ),
        ("  - wait:    2 s\n", "  - title: Nothing\n", f"16: steps[5]: has no verb; known here: {VERBS}"),
        (
            "    failed:  standing-draw",
            "    wait: 2 s",
            "12: steps[1].wait: a step has one verb; this one has 'measure' already, make it two steps",
        ),
        (
            "    failed:  standing-draw",
            "    faild:  standing-draw",
            "12: steps[1].faild: unknown key; did you mean 'failed'?",
        ),
        (
            "failed:  standing-draw",
            "failed:  standing-drow",
            "12: steps[1].failed: 'standing-drow' is not known; did you mean 'standing-draw'?",
        ),
        (
            "failed:  standing-draw",
            "failed:  bench-fault",  # never a finding about the device
            (
                "12: steps[1].failed: 'bench-fault' is not known; one of check-failed, no-draw, standing-draw, "
                "hard-short, stalled, restarting, port-fault"
            ),
        ),
        (
            "signal: supply.current, over",
            "signal: supply.curent, over",
            "11: steps[1].measure.signal: a power-source has no signal 'curent'; did you mean 'current'?",
        ),
        (
            "signal: supply.current, over",
            "signal: suply.current, over",
            "11: steps[1].measure.signal: 'suply' is no role of this sequence; did you mean 'supply'?",
        ),
        (
            "signal: supply.current, over",
            "signal: current, over",
            "11: steps[1].measure.signal: 'current' is no signal; write it like 'supply.current'",
        ),
        (
            "signal: supply.current, over",
            "over",
            "11: steps[1].measure.signal: is missing; write it like 'supply.current'",
        ),
        ("over: 2 s, ", "", "11: steps[1].measure.over: is missing; give a quantity, like '60 s'"),
        ("over: 2 s", "over: 0 s", "11: steps[1].measure.over: '0 s' must be above zero"),
        ("over: 2 s", "over: 2 A", "11: steps[1].measure.over: '2 A' is not a time; write it like '60 s'"),
        (
            "stat: mean",
            "stat: meen",
            "11: steps[1].measure.stat: 'meen' is not known; did you mean 'mean'?",
        ),
        (
            "max: 5 mA",
            "max: 5 mV",
            "11: steps[1].measure.max: '5 mV' is not a current; write it like '500 mA'",
        ),
        (", max: 5 mA", "", "11: steps[1].measure: cannot fail without a limit; give min, max or both"),
        (
            "max: 5 mA",
            "max: 5 % of $volts",
            "11: steps[1].measure.max: input '$volts' is in V, but max is in A; an input like '500 mA' would fit",
        ),
        (
            "max: 5 mA",
            "max: 5 mA, while: supply.voltage",
            "11: steps[1].measure.while: 'supply.voltage' is not an on/off signal",
        ),
        (
            "max: 5 mA",
            "max: 5 mA, while: port.output",
            "11: steps[1].measure.while: a port-tester has no signal 'output'; known here: none",
        ),
        (
            "Bridge the power-button pads, then confirm.",
            "''",
            "13: steps[2].prompt: is empty; say what the person is to do",
        ),
        (
            "{signal: supply.current, over",
            "{foo: supply.current, over",
            "11: steps[1].measure.foo: unknown key; known here: max, min, over, signal, stat, while",
        ),
        ("{for: $window, ", "{", "14: steps[3].watch.for: is missing; give a quantity, like '60 s'"),
        (
            "[supply.current, usb]",
            "[supply.voltage, usb]",
            (
                "14: steps[3].watch.signals: 'supply.voltage' cannot be watched here; "
                "one supply's current and one usb-watcher can"
            ),
        ),
        (
            "[supply.current, usb]",
            "[usb]",
            "14: steps[3].watch.signals: a boot is read from a supply's current; name one, like 'supply.current'",
        ),
        (
            "[supply.current, usb]",
            "[supply.current, usc]",
            "14: steps[3].watch.signals: 'usc' is no role of this sequence; did you mean 'usb'?",
        ),
        (
            "fail_on: restart",
            "fail_on: restarts",
            "14: steps[3].watch.fail_on: 'restarts' is not known; did you mean 'restart'?",
        ),
        (
            "fail_on: restart",
            "stop_after: 2",
            "14: steps[3].watch.stop_after: has a meaning only beside 'fail_on: restart'",
        ),
        (
            "fail_on: restart",
            "fail_on: restart, stop_after: 0",
            "14: steps[3].watch.stop_after: 0 is out of bounds; from 1 to 1000",
        ),
        (
            WATCH,
            WATCH + "\n    failed: restarting",
            "15: steps[3].failed: a step of the verb 'watch' names its own findings; leave 'failed' out",
        ),
        (
            "then confirm.",
            "then confirm.\n    failed: no-draw",
            "14: steps[2].failed: a step of the verb 'prompt' cannot fail; leave 'failed' out",
        ),
        (
            "port: lines",
            "port: line",
            "15: steps[4].test.port: a port-tester has no test 'line'; did you mean 'lines'?",
        ),
        (
            "{port: lines, as",
            "{supply: lines, as",
            "15: steps[4].test.supply: a power-source has no tests; known here: port",
        ),
        (
            "{port: lines, as",
            "{prt: lines, as",
            "15: steps[4].test.prt: 'prt' is no role of this sequence; did you mean 'port'?",
        ),
        ("{port: lines, as", "{as", "15: steps[4].test: must name one role and its test, like '{port: lines}'"),
        (TEST, TEST + "\n" + TEST, "16: steps[5].test.as: an earlier test is called 'before' already"),
        (
            "only_if_failed: before",
            "only_if_failed: befor",
            "17: steps[5].only_if_failed: no earlier test is called 'befor'; did you mean 'before'?",
        ),
        (
            "only_if_failed: before",
            "after_failure: go-on",
            "17: steps[5].after_failure: a step of the verb 'wait' cannot fail; leave 'after_failure' out",
        ),
        (
            "failed:  standing-draw",
            "after_failure: stop",
            "12: steps[1].after_failure: 'stop' is not known; one of go-on",
        ),
        ("wait:    2 s", "wait:    2", "16: steps[5].wait: '2' has no unit; write it like '60 s'"),
        (
            "  - supply:  {output: off}",
            "  - prompt: Ready?",
            (
                "19: finally[0].prompt: cannot stand in 'finally'; "
                "only settings and waits can, so that nothing holds it up"
            ),
        ),
        ("{output: off}", "{output: on}", "19: finally[0].supply: switches on; 'finally' may only switch off"),
        ("finally:", "finaly:", "18: finaly: unknown key; did you mean 'finally'?"),
        (
            "finally:",
            "passed: hard-short\nfinally:",
            (
                "18: passed: 'hard-short' is not known; "
                "one of checks-passed, rail-quiet, port-clear, running, profile-kept, lines-good, proved"
            ),
        ),
        (GOOD[GOOD.index("steps:") : GOOD.index("finally:")], "steps: []\n", "9: steps: has no steps"),
        (GOOD[GOOD.index("steps:") : GOOD.index("finally:")], "", "1: steps: is missing"),
        (GOOD, "- a\n- b\n", "1: must be a mapping of keys to values"),
        ("  volts:  {default", "  volts:  {{default", "7: not valid YAML: "),
    ],
)
def test_each_mistake_is_one_line_that_says_what_would_be_right(old, new, line):
    assert old in GOOD
    found = [each.removeprefix("s.yaml:") for each in problems(GOOD.replace(old, new, 1))]
    assert any(each == line or (line.endswith(": ") and each.startswith(line)) for each in found), found
    assert all("\n" not in each for each in found)


SURVEY = """\
sequence: try
purpose: A try.
needs: {meter: multimeter, supply: power-source}
inputs:
  connector: {name: display, says: which one}
  volts: {default: 3 V}
steps:
  - survey: {meter: $connector, unpowered: supply}
  - supply: {volts: $volts}
"""


def test_an_input_may_be_a_name():
    sequence = parse_sequence(SURVEY, "s.yaml")
    assert (sequence.inputs["connector"].is_name, sequence.inputs["connector"].name_default) == (True, "display")
    assert sequence.steps[0].action.connector.value({"connector": "battery"}) == "battery"
    fixed = SURVEY.replace("$connector", "battery").replace("  connector: {name: display, says: which one}\n", "")
    assert parse_sequence(fixed, "s.yaml").steps[0].action.connector.value({}) == "battery"


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("meter: $connector", "meter: $conector", "8: steps[0].survey.meter: input '$conector' is not declared"),
        ("meter: $connector", "meter: $volts", "8: steps[0].survey.meter: input '$volts' is a quantity"),
        ("volts: $volts", "volts: $connector", "9: steps[1].supply.volts: input '$connector' is a name"),
        ("{meter: $connector", "{supply: $connector", "8: steps[0].survey.supply: is no multimeter; known here: meter"),
        ("{meter: $connector, ", "{", "8: steps[0].survey: names no multimeter; write it like '{meter: display}'"),
        ("unpowered: supply", "unpowered: meter", "8: steps[0].survey.unpowered: 'meter' is no power-source"),
        ("unpowered: supply", "unpowered: suply", "8: steps[0].survey.unpowered: 'suply' is no role of this sequence"),
        ("name: display", "name: The Display", "5: inputs.connector.name: 'The Display' is no name"),
    ],
)  # fmt: skip
def test_a_mistake_about_names_and_meters_is_one_line(old, new, line):
    found = [each.removeprefix("s.yaml:") for each in problems(SURVEY.replace(old, new, 1))]
    assert any(each.startswith(line) for each in found), found


PROVE = """\
sequence: try
purpose: A try.
reason: every-check
needs: {supply: power-source, usb: usb-watcher}
inputs:
  least: {default: 60 s}
  longest: {default: 600 s}
steps:
  - watch: {for: $least, at_most: $longest, cadence_of: boot-watch, signals: [supply.current, usb]}
  - usb-mode: {usb: normal, within: 5 s}
  - charge: {supply: port, over: 20 s}
  - checklist: functions
"""


def test_a_proof_is_read_whole():
    sequence = parse_sequence(PROVE, "s.yaml")
    assert sequence.tells_all
    assert [step.action.verb for step in sequence.steps] == ["watch", "usb-mode", "charge", "checklist"]
    values = {"least": 60.0, "longest": 600.0}
    assert [step.words(values) for step in sequence.steps] == [
        "Watch supply.current and usb for 60 s, up to 600 s if earlier restarts ask for it",
        "Look for the device in its normal mode on usb, for up to 5 s",
        "Charge from the supply and measure for 20 s",
        "Try every function",
    ]


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("every-check", "each", "3: reason: 'each' is not known; one of last-check, every-check"),
        ("at_most: $longest", "at_most: 5 V", "9: steps[0].watch.at_most: '5 V' is not a time"),
        ("cadence_of: boot-watch", "cadence_of: Boot", "9: steps[0].watch.cadence_of: 'Boot' is no name"),
        ("{usb: normal", "{supply: normal", "10: steps[1].usb-mode.supply: is no usb-watcher; known here: usb"),
        ("{usb: normal, ", "{", "10: steps[1].usb-mode: names no usb-watcher; write it like '{usb: normal}'"),
        (", within: 5 s", "", "10: steps[1].usb-mode.within: is missing"),
        ("supply: port", "supply: battery", "11: steps[2].charge.supply: 'battery' is not known; one of port"),
        ("{supply: port, ", "{", "11: steps[2].charge: names no power-source; write it like '{supply: port}'"),
        ("checklist: functions", "checklist: all", "12: steps[3].checklist: 'all' is not known; one of functions"),
    ],
)
def test_a_mistake_in_a_proof_is_one_line(old, new, line):
    found = [each.removeprefix("s.yaml:") for each in problems(PROVE.replace(old, new, 1))]
    assert any(each.startswith(line) for each in found), found


INJECT = """\
sequence: try
purpose: A try.
needs: {supply: power-source, meter: multimeter}
inputs: {rail: {name: main}, volts: {default: 500 mV}}
steps:
  - inject: {supply: $rail, meter: meter, volts: $volts, limit: 1 A, for: 60 s}
"""


def test_an_injection_is_read_whole():
    step = parse_sequence(INJECT, "s.yaml").steps[0]
    assert step.words({"volts": 0.5}) == "Inject 500 mV, at most 1 A for up to 60 s and look for warmth"
    assert step.action.roles == {"supply", "meter"}
    assert step.action.energises


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("{supply: $rail", "{meter: $rail", "6: steps[0].inject: names no power-source"),
        ("meter: meter", "meter: supply", "6: steps[0].inject.meter: 'supply' is no multimeter"),
        (", meter: meter", "", "6: steps[0].inject.meter: is missing"),
        ("limit: 1 A", "limit: 0 A", "6: steps[0].inject.limit: '0 A' must be above zero"),
        (", limit: 1 A", "", "6: steps[0].inject.limit: is missing"),
        (", for: 60 s", "", "6: steps[0].inject.for: is missing"),
    ],
)
def test_a_mistake_in_an_injection_is_one_line(old, new, line):
    found = [each.removeprefix("s.yaml:") for each in problems(INJECT.replace(old, new, 1))]
    assert any(each.startswith(line) for each in found), found


def test_all_mistakes_come_out_together_in_the_order_of_the_lines():
    wrong = (
        GOOD.replace("power-source", "power-sauce")
        .replace("stat: mean", "stat: meen")
        .replace("{output: off}", "{output: on}")
        .replace("  - wait:", "  - weit:")
    )
    numbers = [int(each.split(":")[1]) for each in problems(wrong)]
    assert numbers == sorted(numbers)
    assert {3, 11, 16} <= set(numbers)


def test_a_mistake_in_one_place_is_not_told_as_mistakes_elsewhere():
    assert len(problems(GOOD.replace("stat: mean", "stat: meen"))) == 1
    assert len(problems(GOOD.replace("max: 5 mA", "max: 5 mV"))) == 1
    assert len(problems(GOOD.replace("uses: {usb:", "uses: {supply: power-source, usb:"))) == 1
    assert len(problems(GOOD.replace("port: lines", "port: line"))) == 1


def test_a_watch_on_something_never_switched_on_is_fine():
    parse_sequence(GOOD.replace(", output: on", ""), "s.yaml")


def test_a_share_of_an_input_is_a_limit():
    text = GOOD.replace("supply.current, over", "supply.voltage, over").replace("max: 5 mA", "min: 50 % of $volts")
    measure = parse_sequence(text, "s.yaml").steps[1].action
    assert measure.low.value({"volts": 4.0}) == pytest.approx(2.0)


def test_a_folder_is_read_whole_and_every_file_s_mistakes_come_out(tmp_path):
    (tmp_path / "a.yaml").write_text(GOOD)
    (tmp_path / "b.yaml").write_text(GOOD)
    (tmp_path / "c.yaml").write_text(GOOD.replace("stat: mean", "stat: meen"))
    with pytest.raises(ConfigInvalid) as caught:
        load_sequences(tmp_path)
    first, second = caught.value.problems
    assert first == f"{tmp_path}/b.yaml: sequence: 'boot-watch' is the name of {tmp_path}/a.yaml already"
    assert second.startswith(f"{tmp_path}/c.yaml:11: steps[1].measure.stat: ")


def test_files_that_cannot_be_read_are_one_line(tmp_path):
    with pytest.raises(ConfigInvalid, match="no such file"):
        load_sequence(tmp_path / "none.yaml")
    (tmp_path / "bytes.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ConfigInvalid, match="cannot be read"):
        load_sequence(tmp_path / "bytes.yaml")
    with pytest.raises(ConfigInvalid, match="no such folder"):
        load_sequences(tmp_path / "nowhere")


@given(st.data())
def test_whatever_is_written_in_a_line_s_place_is_read_or_refused_in_lines(data):
    """No text in a sequence ends in anything but a Sequence or ConfigInvalid with one line a mistake."""
    lines = GOOD.splitlines()
    index = data.draw(st.integers(0, len(lines) - 1))
    words = st.sampled_from(
        ["supply", "$volts", "{", "}", "[", ":", "-", "3 V", "on", "test", "as", "wait", "null", "~", "%"]
    )
    lines[index] = data.draw(st.sampled_from(["", "  - ", "    ", "  "])) + " ".join(
        data.draw(st.lists(words, max_size=6))
    )
    told: tuple[str, ...] = ("s.yaml:",)
    try:
        parse_sequence("\n".join(lines), "s.yaml")
    except ConfigInvalid as wrong:
        told = wrong.problems
    assert told
    assert all(each.startswith("s.yaml:") and "\n" not in each for each in told)
