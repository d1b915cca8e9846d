"""What proves a device of a family, from its file."""

from __future__ import annotations

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_family

GOOD = """\
family: f
nominal: 3.85 V
charging:
  volts: 5 V
  limit: 1.5 A
  current: {min: 300 mA, max: 1.1 A}
functions:
  - {function: scanner, asks: Does it read a label?}
  - {function: radio, asks: Does it find the network?}
"""


@pytest.fixture
def read(tmp_path):
    def read(text: str):
        (tmp_path / "f.yaml").write_text(text)
        return load_family(tmp_path / "f.yaml")

    return read


def test_it_is_read_whole_and_may_be_left_out(read):
    family = read(GOOD)
    charging = family.charging
    assert (charging.volts_v, charging.limit_a, charging.low_a, charging.high_a) == pytest.approx((5, 1.5, 0.3, 1.1))
    assert charging.sag_v == pytest.approx(4.75)
    assert [one.name for one in family.functions] == ["scanner", "radio"]
    without = read("family: f\nnominal: 3.85 V\n")
    assert (without.charging, without.functions) == (None, ())


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("volts: 5 V", "volts: 5 A", "4: charging.volts: '5 A' is not a voltage"),
        ("min: 300 mA", "min: 1.2 A", "6: charging.current.min: is above max"),
        ("max: 1.1 A", "max: 1.5 A", "5: charging.limit: must be above the current's max"),
        ("max: 1.1 A", "max: 3 A", "6: charging.current.max: 3 A is too high; at most 1.5 A"),
        ("limit:", "limmit:", "5: charging.limmit: unknown key; did you mean 'limit'?"),
        ("function: radio", "function: scanner", "9: functions[1].function: 'scanner' is in the list already"),
        ("network?", "network", "9: functions[1].asks: 'Does it find the network' is no question"),
    ],
)
def test_a_mistake_is_told_with_its_line(read, old, new, says):
    with pytest.raises(ConfigInvalid) as refused:
        read(GOOD.replace(old, new, 1))
    assert any(says in problem for problem in refused.value.problems), refused.value.problems
