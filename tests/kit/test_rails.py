"""The rails that a low voltage may go into, from a family's file."""

from __future__ import annotations

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_family

HEAD = """\
family: f
nominal: 3.85 V
connectors:
  - connector: battery
    pins: [{pin: 1, line: plus, volts: 0.4 V}]
rails:
"""


@pytest.fixture
def read(tmp_path):
    def read(*rails: str):
        (tmp_path / "f.yaml").write_text(HEAD + "".join(f"  - {{{rail}}}\n" for rail in rails))
        return load_family(tmp_path / "f.yaml").rails

    return read


def test_a_rail_gets_a_volt_and_a_watt_at_most_if_nothing_else_is_said(read):
    rails = read("rail: main, nominal: 3.85 V, at: battery.1", "rail: core, nominal: 0.8 V, at: battery.1")
    main, core = rails.values()
    assert (main.ceiling_v, main.most_a, main.most_w, main.short_below_ohm) == (1.0, 2.0, 1.0, 5.0)
    assert (main.connector, main.pin) == ("battery", "1")
    assert core.ceiling_v == 0.8  # never above its nominal volts


@pytest.mark.parametrize(
    ("rail", "says"),
    [
        ("rail: a, nominal: 1.8 V, at: battery.1, ceiling: 2 V", "7: rails[0].ceiling: 2 V is too high; at most 1.8 V"),
        ("rail: a, nominal: 1.8 V, at: battery.9", "7: rails[0].at: battery has no pin '9'; known here: 1"),
        ("rail: a, nominal: 1.8 V, at: display.1", "7: rails[0].at: 'display.1' is no pin of a connector"),
        ("rail: a, nominal: 1.8 V", "7: rails[0].at: is missing"),
        ("rail: a, nominal: 1.8 A, at: battery.1", "7: rails[0].nominal: '1.8 A' is not a voltage"),
        ("rail: a, nominal: 1.8 V, at: battery.1, current: 9 A", "7: rails[0].current: 9 A is too high; at most 5 A"),
        ("rail: a, nominal: 1.8 V, at: battery.1, powr: 1 W", "7: rails[0].powr: unknown key; did you mean 'power'?"),
    ],
)
def test_a_mistake_is_told_with_its_line(read, rail, says):
    with pytest.raises(ConfigInvalid) as refused:
        read(rail)
    assert any(says in problem for problem in refused.value.problems), refused.value.problems
