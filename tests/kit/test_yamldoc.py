"""Every mistake in a YAML file comes out, each with file, line, key and what would be right."""

from __future__ import annotations

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.yamldoc import parse_yaml

TEXT = """\
bench: Bench One
rate: 20
output: maybe
ratee: 3
limits: {volts: 9 V, depth: {a: 1}}
"""


def test_all_mistakes_come_out_together_in_the_order_of_lines() -> None:
    doc = parse_yaml(TEXT, "bench.yaml")
    top = doc.top
    top.name("bench")
    top.quantity("rate", "Hz")
    top.flag("output")
    limits = top.section("limits")
    limits.quantity("volts", "V", high=5.0)
    top.integer("port")
    with pytest.raises(ConfigInvalid) as caught:
        doc.finish()
    assert list(caught.value.problems) == [
        "bench.yaml:1: bench: 'Bench One' is no name; use lower-case letters, digits, '-' and '_'",
        "bench.yaml:1: port: is missing",
        "bench.yaml:2: rate: '20' has no unit; write it like '20 Hz'",
        "bench.yaml:3: output: 'maybe' is neither on nor off",
        "bench.yaml:4: ratee: unknown key; did you mean 'rate'?",
        "bench.yaml:5: limits.depth: unknown key; known here: volts",
        "bench.yaml:5: limits.volts: 9 V is too high; at most 5 V",
    ]


def test_what_is_no_yaml_is_one_line_with_its_place() -> None:
    with pytest.raises(ConfigInvalid, match=r"^bench.yaml:2: not valid YAML: "):
        parse_yaml("a: [1,\nb: }", "bench.yaml")


def test_on_and_off_are_flags_and_hexadecimal_is_a_number() -> None:
    doc = parse_yaml("output: on\nvendor: 0x1209\n", "x.yaml")
    assert doc.top.flag("output") is True
    assert doc.top.integer("vendor") == 0x1209
    doc.finish()


def test_a_key_given_twice_is_told() -> None:
    doc = parse_yaml("a: 1\na: 2\n", "x.yaml")
    doc.top.integer("a")
    with pytest.raises(ConfigInvalid, match=r"x\.yaml:2: a: given twice"):
        doc.finish()
