"""What a supply's polls come to, apart from any link."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail_kit.dialect import find_dialect
from wakerail_kit.dialect_talk import Answer
from wakerail_plugins.power_supply.samples import Samples


@pytest.fixture(name="samples")
def _samples(project: Path) -> Samples:
    samples = Samples(find_dialect(project / "config" / "dialects", "scpi-1999", "power-source"))
    samples.take(0, Answer({"voltage": 3.85, "current": 0.2, "limiting": 0.0, "output": 1.0}), 0.0)
    return samples


def test_a_remembered_moment_of_limiting_is_told_once(samples: Samples) -> None:
    samples.take(1, Answer({"limited": 1.0}), 0.0)
    told = [samples.reading().signals["limiting"] for _ in range(3)]
    assert told == [[1.0], [0.0], [0.0]]


def test_a_supply_that_limited_for_no_moment_limits_not(samples: Samples) -> None:
    samples.take(1, Answer({"limited": 0.0}), 0.0)
    assert samples.reading().signals["limiting"] == [0.0]


def test_what_is_remembered_is_no_signal_of_its_own(samples: Samples) -> None:
    samples.take(1, Answer({"limited": 1.0}), 0.0)
    assert set(samples.reading().signals) == {"voltage", "current", "limiting", "output"}
