"""What is said of one restart, by what it was seen by."""

from dataclasses import dataclass

import pytest

from wakerail.analysis.sorts import Sort
from wakerail.analysis.telling import evidence_of, tell_begin


@dataclass
class Begin:
    sort: Sort
    at_s: float = 10.0
    again_s: float = 10.4
    low_a: float = 0.002


@pytest.mark.parametrize(
    ("sort", "alike", "novel", "dipped", "evidence", "says"),
    [
        (Sort.JUMP, 9.0, 0.0, False, ["opening-again"], "after 5 s up the boot opened as the first did"),
        (
            Sort.JUMP,
            9.0,
            0.0,
            True,
            ["current-dip", "opening-again"],
            "after 5 s up the current dipped for an instant, and the boot opened as the first did",
        ),
        (Sort.JUMP, 0.0, 0.0, True, ["current-dip"], "after 5 s up the current dipped for an instant"),
        (
            Sort.COLLAPSE,
            0.0,
            3.0,
            True,
            ["current-collapse", "new-opening"],
            "after 5 s up the current fell to 2 mA and rose again 0.4 s later, to levels as of a boot",
        ),
    ],
)
def test_a_restart_is_told_by_what_it_was_seen_by(sort, alike, novel, dipped, evidence, says):
    assert evidence_of(sort, alike, novel, dipped=dipped) == evidence
    assert tell_begin(Begin(sort), 5.0, evidence) == says
