"""How jobs are named."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail.jobs.names import name_of, next_name
from wakerail_kit import topics
from wakerail_kit.errors import ConfigInvalid


def test_a_ticket_names_its_job_in_lower_case():
    assert name_of(" T-114 ") == "t-114"


@pytest.mark.parametrize(
    ("ticket", "right"),
    [("T 114/2", "'T-114-2'"), ("last", "'T-114'"), ("#", "'T-114'"), ("", "'T-114'"), ("x" * 65, f"'{'X' * 64}'")],
)
def test_a_ticket_that_cannot_stand_in_a_topic_is_refused_with_one_that_can(ticket, right):
    with pytest.raises(ConfigInvalid, match="cannot name a job") as refused:
        name_of(ticket)
    assert refused.value.problems[0].endswith(f"write it like {right}")


@settings(max_examples=60)
@given(st.text(max_size=70))
def test_what_names_a_job_stands_in_its_topic_and_what_is_advised_names_one(ticket):
    try:
        name = name_of(ticket)
    except ConfigInvalid as refused:
        name = name_of(str(refused).rpartition("write it like ")[2].strip("'"))
    assert topics.parse(topics.job("bench-1", name)).owner == name


def test_jobs_without_a_ticket_are_numbered():
    assert next_name([]) == "j-0001"
    assert next_name(["t-114", "j-0007", "j-0003", "j-x"]) == "j-0008"
