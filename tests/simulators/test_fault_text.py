from __future__ import annotations

import pytest

from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.bench import FAULTS, Fault, parse_fault
from wakerail_sim.faults import Takes


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("restart-at-stage:kernel", Fault("restart-at-stage", name="kernel")),
        ("standing-draw:40mA", Fault("standing-draw", amount=0.04)),
        ("standing-draw: 40 mA", Fault("standing-draw", amount=0.04)),
        ("dead-short", Fault("dead-short", amount=0.05)),
        ("dead-short:0.2Ohm", Fault("dead-short", amount=0.2)),
        ("watchdog-restart", Fault("watchdog-restart", amount=180.0)),
        ("watchdog-restart:3min", Fault("watchdog-restart", amount=180.0)),
        ("part-restart:scanner", Fault("part-restart", name="scanner")),
        ("intermittent-restart", Fault("intermittent-restart", amount=0.3)),
        ("intermittent-restart:0.7", Fault("intermittent-restart", amount=0.7)),
        ("supply-hangs-after:10s", Fault("supply-hangs-after", amount=10.0)),
        ("no-draw", Fault("no-draw")),
    ],
)
def test_a_fault_is_read_as_people_write_it(text: str, fault: Fault) -> None:
    read = parse_fault(text)
    assert (read.sort, read.name) == (fault.sort, fault.name)
    assert read.amount == (pytest.approx(fault.amount) if fault.amount is not None else None)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("restart-at-stag:kernel", "did you mean 'restart-at-stage'?"),
        ("xyzzy", "known: dead-short"),
        ("restart-at-stage", "restart-at-stage:kernel"),
        ("restart-at-stage:kernle", "did you mean 'kernel'?"),
        ("restart-at-stage:cellar", "known: rom, loader, kernel, system, running"),
        ("standing-draw", "standing-draw:40mA"),
        ("standing-draw:40", "no unit"),
        ("standing-draw:40mV", "not a current"),
        ("standing-draw:-1mA", "out of bounds"),
        ("intermittent-restart:1.5", "out of bounds"),
        ("part-restart:", "part-restart:scanner"),
        ("part-restart:The Scanner", "lower-case"),
        ("no-draw:3", "write it like 'no-draw'"),
        ("", "known:"),
    ],
)
def test_a_wrong_fault_is_refused_in_one_line_saying_what_would_be_right(text: str, says: str) -> None:
    with pytest.raises(ConfigInvalid) as refused:
        parse_fault(text)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_the_example_of_every_fault_can_be_read(name: str) -> None:
    sort = FAULTS[name]
    text = f"{name}:{sort.example}" if sort.example else name
    assert parse_fault(text).sort == name
    if isinstance(sort.takes, Takes):
        assert parse_fault(text).name == sort.example
