"""What a forest says of a moment: the sum of one leaf of each tree."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.hindsight.weighing import Forest, Forests, grown, load, save

# the first tree asks for "deep" and, below 1, for "alike"; the second is a leaf
FOREST = Forest(
    names=("deep", "alike"),
    begins_with=0.75,
    depth=2,
    asks=np.array([[0, 1, 0, 0, 0], [0, 0, 0, 0, 0]]),
    bound=np.array([[1.0, -2.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0, 0.0]]),
    unknown_is_low=np.array([[False, True, False, False, False], [False] * 5]),
    low=np.array([[1, 3, 2, 3, 4], [0, 1, 2, 3, 4]]),
    high=np.array([[2, 4, 2, 3, 4], [0, 1, 2, 3, 4]]),
    adds=np.array([[0.0, 0.0, 5.0, -3.0, 1.0], [0.25, 0.0, 0.0, 0.0, 0.0]]),
)


@pytest.mark.parametrize(
    ("deep", "alike", "said"),
    [
        (1.0, -2.0, -3.0),  # what is at a bound is not above it
        (1.0, -1.9, 1.0),
        (1.1, -9.0, 5.0),
        (np.nan, -9.0, 5.0),
        (0.0, np.nan, -3.0),
        (-np.inf, np.inf, 1.0),
    ],
)
def test_a_moment_goes_to_the_leaf_that_its_numbers_lead_to(deep, alike, said):
    log_odds = FOREST.log_odds({"alike": np.array([alike]), "deep": np.array([deep])})
    assert log_odds == pytest.approx([0.75 + said + 0.25])


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-5, 5)), max_size=8))
def test_moments_are_weighed_by_themselves(rows):
    deep, alike = np.array(rows).reshape(-1, 2).T
    each = [
        FOREST.log_odds({"deep": deep[place : place + 1], "alike": alike[place : place + 1]})
        for place in range(len(deep))
    ]
    assert FOREST.log_odds({"deep": deep, "alike": alike}).tolist() == [one for row in each for one in row]


def test_forests_are_read_as_they_were_written(tmp_path):
    save(Forests(FOREST, FOREST, FOREST), tmp_path / "forests.npz")
    read = load(tmp_path / "forests.npz").together
    assert (read.names, read.begins_with, read.depth) == (FOREST.names, FOREST.begins_with, FOREST.depth)
    columns = {"deep": np.array([0.3, 1.3]), "alike": np.array([0.0, -4.0])}
    assert read.log_odds(columns).tolist() == FOREST.log_odds(columns).tolist()


def test_every_walk_through_the_forests_that_come_with_the_reader_ends_at_a_leaf():
    for forest in (grown().alone, grown().together, grown().again):
        tree = np.arange(len(forest.asks))[:, np.newaxis]
        node = np.zeros((len(tree), 1), dtype=np.int64)
        for step in range(2**forest.depth):  # every way down, by the bits of its number
            node[:] = 0
            for level in range(forest.depth):
                goes_high = step >> level & 1
                node = (forest.high if goes_high else forest.low)[tree, node]
            assert (forest.low[tree, node] == node).all()
            assert (forest.high[tree, node] == node).all()
