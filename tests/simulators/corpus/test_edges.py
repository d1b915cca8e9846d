from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wakerail_sim.corpus.edges import Curve, Edges, edge, join, pulses

EDGES = st.lists(
    st.tuples(st.floats(0.0, 10.0), st.floats(-2.0, 2.0), st.floats(0.001, 3.0)), min_size=1, max_size=12
).map(lambda rows: Edges(*np.array(rows).T))


@given(EDGES)
def test_a_curve_is_the_sum_of_its_edges(edges: Edges) -> None:
    at_s = np.linspace(-1.0, 15.0, 400)
    done = np.clip((at_s[:, None] - edges.at_s) / edges.rise_s, 0.0, 1.0)
    np.testing.assert_allclose(Curve(edges).at(at_s), done @ edges.delta_a, atol=1e-8)


@given(EDGES)
@settings(max_examples=30)
def test_a_mean_is_what_very_many_samples_average_to(edges: Edges) -> None:
    curve = Curve(edges)
    windows_s = np.linspace(-1.0, 15.0, 20)
    fine_s = (np.arange(19 * 4000) + 0.5) / 4000 * (windows_s[1] - windows_s[0]) + windows_s[0]
    sampled_a = curve.at(fine_s).reshape(19, 4000).mean(axis=1)
    np.testing.assert_allclose(curve.mean(windows_s[:-1], windows_s[1:]), sampled_a, atol=1e-3)


@given(EDGES, st.floats(0.5, 12.0))
def test_a_cut_changes_nothing_before_and_leaves_nothing_after(edges: Edges, end_s: float) -> None:
    before_s, after_s = np.linspace(-1.0, end_s, 200), np.linspace(end_s + 0.001, 20.0, 200)
    cut = Curve(edges.cut(end_s))
    np.testing.assert_allclose(cut.at(before_s), Curve(edges).at(before_s), atol=1e-8)
    np.testing.assert_allclose(cut.at(after_s), 0.0, atol=1e-8)


def test_pulses_add_to_what_is_there() -> None:
    curve = Curve(join([edge(1.0, 0.2), pulses(np.array([2.0, 2.5]), np.array([1.0, 0.1]), np.array([0.3, 0.5]))]))
    np.testing.assert_allclose(curve.at(np.array([0.9, 1.5, 2.2, 2.55, 2.8, 3.5])), [0, 0.2, 0.5, 1.0, 0.5, 0.2])
