"""Grows the trees by which hindsight weighs moments, with scikit-learn (tests/external/requirements.lock has it)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from wakerail.analysis.hindsight.grid import Bools, Floats, Ints
from wakerail.analysis.hindsight.weighing import Forest

DEPTH = 6
_RATE, _FEWEST, _SHRUNK, _ASKED = 0.07, 20, 5.0, 0.5


def half_each(one: Forest, other: Forest) -> Forest:
    """Return the trees of both, each with half a say: log odds that are the mean of theirs."""
    names = (*one.names, *(name for name in other.names if name not in one.names))
    asks = np.array([names.index(name) for name in other.names])[other.asks]
    nodes = max(one.asks.shape[1], other.asks.shape[1])

    def both(ones: Ints | Floats | Bools, others: Ints | Floats | Bools) -> Any:
        return np.concatenate([np.pad(each, ((0, 0), (0, nodes - each.shape[1]))) for each in (ones, others)])

    return Forest(
        names=names,
        begins_with=(one.begins_with + other.begins_with) / 2,
        depth=max(one.depth, other.depth),
        asks=both(one.asks, asks),
        bound=both(one.bound, other.bound),
        unknown_is_low=both(one.unknown_is_low, other.unknown_is_low),
        low=both(one.low, other.low),
        high=both(one.high, other.high),
        adds=both(one.adds / 2, other.adds / 2),
    )


def grow(columns: Mapping[str, Floats], truth: Bools, weight: Floats, trees: int) -> Forest:
    """Return a forest that tells true moments from others. ``weight``: how much each counts."""
    from sklearn.ensemble import HistGradientBoostingClassifier  # noqa: PLC0415 - only who grows needs it

    grower = HistGradientBoostingClassifier(
        max_iter=trees,
        max_depth=DEPTH,
        max_leaf_nodes=2**DEPTH,
        learning_rate=_RATE,
        min_samples_leaf=_FEWEST,
        l2_regularization=_SHRUNK,
        max_features=_ASKED,
        early_stopping=False,
        random_state=0,
    )
    names = tuple(columns)
    grower.fit(np.column_stack([columns[name] for name in names]), truth, sample_weight=weight / weight.mean())
    grown = [each[0].nodes for each in grower._predictors]  # noqa: SLF001 - there is no public way to the trees
    nodes = np.zeros((len(grown), max(map(len, grown))), dtype=grown[0].dtype)
    for tree, some in zip(nodes, grown, strict=True):
        tree[: len(some)] = some
    leaf = nodes["is_leaf"].astype(bool)
    itself = np.broadcast_to(np.arange(nodes.shape[1]), nodes.shape)
    return Forest(
        names=names,
        begins_with=float(grower._baseline_prediction.item()),  # noqa: SLF001 - as above
        depth=DEPTH,
        asks=np.where(leaf, 0, nodes["feature_idx"]).astype(np.int64),
        bound=np.where(leaf, 0.0, nodes["num_threshold"]),
        unknown_is_low=nodes["missing_go_to_left"].astype(bool),
        low=np.where(leaf, itself, nodes["left"]).astype(np.int64),
        high=np.where(leaf, itself, nodes["right"]).astype(np.int64),
        adds=np.where(leaf, nodes["value"], 0.0),
    )
