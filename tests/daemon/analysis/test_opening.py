"""How a boot opens: the means of its windows."""

import math

import numpy as np
import pytest

from wakerail.analysis.opening import Opening
from wakerail.analysis.trail import Trail

SPACING_S = 0.02


@pytest.mark.parametrize("asked", [range(30), range(29, -1, -1), [4, 5, 5, 6, 3, 20, 21]])
def test_a_window_has_its_mean_in_whatever_order_it_is_asked_for_even_before_bursts_are_known(asked):
    levels_a = np.random.default_rng(5).uniform(0.1, 1.0, 100).tolist()
    trail = Trail()
    opening = Opening(trail, 10.25 * SPACING_S, SPACING_S)
    for place, level_a in enumerate(levels_a):
        trail.add(place * SPACING_S, level_a, math.inf)
        if place == 14:  # in the window asked for
            opening.level_a(3)
    expected_a = {index: trail.mean_a(*opening.window_s(index)) for index in asked}
    assert [opening.level_a(index) for index in asked] == pytest.approx([expected_a[index] for index in asked])
