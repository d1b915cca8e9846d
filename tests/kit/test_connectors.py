"""Known-good readings of a family's connectors, from their file."""

from __future__ import annotations

import pytest

from wakerail_kit.connectors import Known
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_family

HEAD = "family: f\nnominal: 3.85 V\nconnectors:\n  - connector: display\n    tolerance: 10 %\n    pins:\n"


@pytest.fixture
def read(tmp_path):
    def read(pins: str):
        (tmp_path / "f.yaml").write_text(HEAD + "".join(f"      - {{{pin}}}\n" for pin in pins.split("; ")))
        return load_family(tmp_path / "f.yaml").connectors

    return read


def test_each_sort_of_reading_is_read_with_its_tolerance(read):
    (display,) = read(
        "pin: 1, line: ground, is: ground; pin: 2, line: a, volts: 450 mV; pin: a3, line: b, ohms: 10 kOhm, "
        "tolerance: 5 %; pin: 4, line: c, is: open"
    ).values()
    assert [(pin.name, pin.known, pin.value) for pin in display.pins] == [
        ("1", Known.GROUND, 0.0), ("2", Known.VOLTS, 0.45), ("a3", Known.OHMS, 10e3), ("4", Known.OPEN, 0.0)
    ]  # fmt: skip
    assert (display.pins[1].low, display.pins[1].high) == pytest.approx((0.405, 0.495))
    assert (display.pins[2].low, display.pins[2].high) == pytest.approx((9.5e3, 10.5e3))


@pytest.mark.parametrize(
    ("pins", "says"),
    [
        ("pin: 1, line: a", "7: connectors[0].pins[0]: needs one known-good reading: volts, ohms, or"),
        ("pin: 1, line: a, volts: 0.4 V, ohms: 3 Ohm", "7: connectors[0].pins[0]: needs one known-good reading"),
        ("pin: 1, line: a, is: shorted", "7: connectors[0].pins[0].is: 'shorted' is not known; one of ground, open"),
        ("pin: 1, line: a, volts: 4 V", "7: connectors[0].pins[0].volts: 4 V is too high; at most 3 V"),
        ("pin: 1, line: a, ohms: 3 V", "7: connectors[0].pins[0].ohms: '3 V' is not a resistance"),
        ("pin: 1, line: a, is: open; pin: 1, line: b, is: open", "8: connectors[0].pins[1].pin: '1' is the name of"),
        ("pin: 1, line: a, is: open; pin: 2, line: a, is: open", "8: connectors[0].pins[1].line: 'a' is the line of"),
        ("pin: 1, line: a, volt: 0.4 V", "7: connectors[0].pins[0].volt: unknown key; did you mean 'volts'?"),
    ],
)
def test_a_mistake_is_told_with_its_line(read, pins, says):
    with pytest.raises(ConfigInvalid) as refused:
        read(pins)
    assert any(says in problem for problem in refused.value.problems), refused.value.problems


def test_ground_may_be_on_several_pins(read):
    (display,) = read("pin: 1, line: ground, is: ground; pin: 2, line: ground, is: ground").values()
    assert len(display.pins) == 2
