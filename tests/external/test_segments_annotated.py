"""The default penalty on series in which people marked the change points: one penalty for all, tuned to none.

Series and annotations: ../shared/data/changepoint/README.md (alan-turing-institute/TCPD). The measures are those of
van den Burg and Williams, "An evaluation of change point detection algorithms" (2020): the covering of the annotators'
segments, averaged over annotators, and F1 with a margin of five values, where the series' beginning counts as a
point, precision is against what any annotator marked and recall is each annotator's, averaged.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from wakerail.analysis.segments import change_points, default_penalty

MARGIN = 5


@pytest.fixture(name="found_and_marked")
def _found_and_marked(reference: Path):
    folder = reference / "data" / "changepoint"

    def found_and_marked(name: str) -> tuple[list[int], list[list[int]], int]:
        file = folder / f"{name}.json"
        if not file.exists():
            pytest.skip(f"the series {file.name} is not here")
        values = np.array(json.loads(file.read_text(encoding="utf-8"))["series"][0]["raw"], dtype=float)
        marked = json.loads((folder / "annotations.json").read_text(encoding="utf-8"))[name]
        found = change_points(values, default_penalty(values), min_length=2)
        return found.tolist(), list(marked.values()), len(values)

    return found_and_marked


def covering(marked: list[int], found: list[int], length: int) -> float:
    def segments(bounds: list[int]) -> list[tuple[int, int]]:
        return list(zip([0, *bounds], [*bounds, length], strict=True))

    def alike(one: tuple[int, int], other: tuple[int, int]) -> float:
        shared = min(one[1], other[1]) - max(one[0], other[0])
        return max(shared, 0) / (max(one[1], other[1]) - min(one[0], other[0]))

    best = ((one[1] - one[0]) * max(alike(one, other) for other in segments(found)) for one in segments(marked))
    return sum(best) / length


def hits(marked: set[int], found: set[int]) -> int:
    free, count = set(found), 0
    for point in sorted(marked):
        near = [one for one in free if abs(one - point) <= MARGIN]
        if near:
            free.remove(min(near, key=lambda one: abs(one - point)))
            count += 1
    return count


def f1(annotators: list[list[int]], found: list[int]) -> float:
    with_first = {0, *found}
    precision = hits({0}.union(*annotators), with_first) / len(with_first)
    recall = float(np.mean([hits({0, *marked}, with_first) / (len(marked) + 1) for marked in annotators]))
    return 2 * precision * recall / (precision + recall)


@pytest.mark.parametrize(
    ("name", "least_covering", "least_f1"),
    [
        ("nile", 0.88, 1.0),  # two of five see no change, so no answer covers everyone's
        ("quality_control_1", 0.99, 1.0),
        ("quality_control_2", 0.92, 1.0),  # one of five sees no change
        ("quality_control_5", 1.0, 1.0),
        ("well_log", 0.79, 0.83),  # brief outliers that most annotators pass over are segments by least squares
    ],
)
def test_people_mark_much_the_same(found_and_marked, name, least_covering, least_f1):
    found, annotators, length = found_and_marked(name)
    assert float(np.mean([covering(marked, found, length) for marked in annotators])) >= least_covering
    assert f1(annotators, found) >= least_f1


@pytest.mark.parametrize(
    ("name", "agreed"),
    [
        ("nile", [28]),
        ("quality_control_1", [144]),
        ("quality_control_2", [97]),
        ("quality_control_5", []),
    ],
)
def test_the_series_with_one_change_or_none_have_just_that(found_and_marked, name, agreed):
    found, _, _ = found_and_marked(name)
    assert len(found) == len(agreed)
    assert all(abs(ours - theirs) <= 2 for ours, theirs in zip(found, agreed, strict=True))


def test_every_point_that_four_of_five_agree_on_is_found(found_and_marked):
    found, _, _ = found_and_marked("well_log")
    for point in (179, 255, 281, 312, 343, 402, 412, 422, 432):
        assert min(abs(one - point) for one in found) <= 2
