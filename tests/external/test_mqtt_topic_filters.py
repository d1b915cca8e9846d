"""MQTT topic filters against what the standard itself says matches (OASIS MQTT 5.0, and 3.1.1 the same).

The cases are those of the standard's own examples, as noted in ../shared/check-values.md, section 9.1.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.bus import Bus
from wakerail_kit import topics
from wakerail_kit.errors import ContractViolation

# (filter, topic, matches, clause)
TABLE = [
    ("sport/tennis/player1/#", "sport/tennis/player1", True, "4.7.1.2"),
    ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True, "4.7.1.2"),
    ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True, "4.7.1.2"),
    ("sport/#", "sport", True, "4.7.1.2"),
    ("sport/tennis/player1/#", "sport/tennis/player2", False, "4.7.1.2"),
    ("sport/+", "sport/", True, "4.7.1.3"),
    ("sport/+", "sport", False, "4.7.1.3"),
    ("+/+", "/finance", True, "4.7.1.3"),
    ("/+", "/finance", True, "4.7.1.3"),
    ("+", "/finance", False, "4.7.1.3"),
    ("#", "$SYS/broker/uptime", False, "4.7.2"),
    ("+/broker/uptime", "$SYS/broker/uptime", False, "4.7.2"),
    ("$SYS/#", "$SYS/broker/uptime", True, "4.7.2"),
    ("Sport", "sport", False, "4.7.3"),
]


@pytest.mark.parametrize(("pattern", "topic", "matches", "clause"), TABLE)
def test_the_standards_own_examples(pattern: str, topic: str, matches: bool, clause: str) -> None:
    assert topics.matches(pattern, topic) is matches, f"MQTT 5.0, {clause}"


@pytest.mark.parametrize("pattern", ["sport/tennis#", "sport/tennis/#/ranking", "sport+", "", "#/"])
def test_what_the_standard_calls_invalid_is_refused(pattern: str) -> None:
    # MQTT 5.0, 4.7.1; an empty filter: 4.7.3
    with pytest.raises(ContractViolation, match="is no topic filter"):
        Bus().subscribe(pattern, lambda *_: None)


@pytest.mark.parametrize("pattern", sorted({row[0] for row in TABLE}))
def test_the_filters_of_the_examples_are_accepted(pattern: str) -> None:
    Bus().subscribe(pattern, lambda *_: None)


def test_the_table_is_that_of_the_reference(reference: Path) -> None:
    section = (
        (reference / "check-values.md").read_text(encoding="utf-8").partition("### 9.1")[2].partition("### 9.2")[0]
    )
    for pattern in ("sport/tennis/player1/#", "sport/#", "sport/+", "+/+", "/+", "sport/tennis#", "sport+"):
        assert f"`{pattern}`" in section


_LEVELS = st.lists(st.sampled_from(["sport", "tennis", "", "player1"]), min_size=1, max_size=5)


@settings(deadline=None)  # the machine may be busy
@given(_LEVELS, st.data())
def test_a_topic_matches_itself_with_any_level_replaced_by_plus_and_any_tail_by_hash(
    levels: list[str], data: st.DataObject
) -> None:
    topic = "/".join(levels)
    blurred = [data.draw(st.sampled_from([level, "+"])) for level in levels]
    cut = data.draw(st.integers(0, len(levels)))
    assert topics.matches("/".join(blurred), topic)
    assert topics.matches("/".join([*blurred[:cut], "#"]), topic)
    assert not topics.matches("/".join([*blurred, "+"]), topic)
