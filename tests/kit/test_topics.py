"""Topics are made and read in one place, and what was made is read back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail_kit import topics
from wakerail_kit.errors import ContractViolation

names = st.from_regex(r"\A[a-z0-9]([a-z0-9_-]{0,10}[a-z0-9])?\Z")


@given(
    bench=names,
    owner=names.filter(lambda name: name not in topics.RESERVED),
    leaf=st.sampled_from(["status", "frame", "event"]),
)
def test_an_instruments_topic_is_read_back(bench: str, owner: str, leaf: str) -> None:
    topic = topics.instrument(bench, owner, leaf)
    assert topics.parse(topic) == topics.Topic(bench, "instrument", owner, leaf)
    assert topics.matches(topics.everything(bench), topic)


@given(bench=names, run=names, leaf=st.sampled_from(["event", "prompt", "verdict"]))
def test_a_runs_topic_is_read_back(bench: str, run: str, leaf: str) -> None:
    assert topics.parse(topics.run(bench, run, leaf)) == topics.Topic(bench, "sequence", run, leaf)


@pytest.mark.parametrize(
    "topic", ["wakerail/v2/b/i/frame", "wakerail/v1/b/ask", "wakerail/v1/b/i/+", "wakerail/v1/B/i/frame", ""]
)
def test_foreign_topics_are_refused(topic: str) -> None:
    with pytest.raises(ContractViolation):
        topics.parse(topic)


def test_a_name_that_cannot_stand_in_a_topic_is_refused() -> None:
    with pytest.raises(ContractViolation, match="cannot stand in a topic"):
        topics.instrument("bench 1", "supply", "frame")
