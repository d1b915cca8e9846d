"""What a table says of a moment: the sum of one step for each number."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.analysis.hindsight.tables import TABLES
from wakerail.analysis.hindsight.weighing import GROUPS, Steps, Table, table_of
from wakerail.analysis.sorts import Sort

STEPS = Steps((0.0, 2.0), (-1.0, 0.5, 3.0), 0.25)


@pytest.mark.parametrize(
    ("value", "said"), [(-0.1, -1.0), (0.0, 0.5), (1.9, 0.5), (2.0, 3.0), (1e9, 3.0), (np.nan, 0.25)]
)
def test_a_number_says_what_its_step_says(value, said):
    assert STEPS.says(np.array([value])) == [said]


@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(-5, 5)), min_size=1, max_size=8))
def test_what_the_numbers_say_is_added_up(rows):
    one, other = np.array(rows).T
    table = Table(0.75, {"one": STEPS, "other": STEPS})
    assert table.log_odds({"one": one, "other": other}) == pytest.approx(0.75 + STEPS.says(one) + STEPS.says(other))


def test_every_sort_of_moment_has_one_table():
    assert sorted(sort for sorts in GROUPS.values() for sort in sorts) == sorted(Sort)
    assert TABLES.alone.keys() == {table_of(group, from_off=off) for group in GROUPS for off in (True, False)}


def test_the_tables_have_a_step_for_every_value():
    for table in (*TABLES.alone.values(), TABLES.together):
        for steps in table.steps.values():
            assert len(steps.adds) == len(steps.bounds) + 1
            assert list(steps.bounds) == sorted(set(steps.bounds))
