"""Fits the tables by which hindsight weighs moments: additive logistic models of steps that only go where they should.

What a number says is a step function. Its increments are penalised by their squares, so that neighbouring steps are
kept alike, and where more of a number can only speak for a restart (or against one), they have that sign: a fit that
obeys what is known beforehand holds on recordings that are not like those it was made on.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import sparse
from scipy.optimize import minimize
from scipy.special import expit

from wakerail.analysis.hindsight.grid import Bools, Floats, Ints
from wakerail.analysis.hindsight.weighing import Steps, Table

_STEPS = 16  # of each number, with about as many moments in each
_MOST_ROUNDS = 2000
_ONE = 1.0  # as if one of each had been seen besides
_DIGITS = 3


def fit(
    columns: Mapping[str, Floats], truth: Bools, weight: Floats, directions: Mapping[str, int], penalty: float
) -> Table:
    """Return the table that makes the truth likeliest, less the penalties.

    ``weight``: how much each moment counts; ``directions``: 1 for a number of which more can only speak for a restart,
    -1 against one; others may do either. ``penalty``: on the square of each increment, and of what the unknown says.
    """
    bounds = {name: _bounds(column) for name, column in columns.items()}
    steps = _steps(columns, bounds)
    blocks = [_increments(len(bound) + 1) for bound in bounds.values()]
    sums = sparse.block_diag(blocks, format="csr")
    weight = weight / weight.mean()
    wanted, unwanted = weight * truth, weight * ~truth
    limits: list[tuple[float | None, float | None]] = [(None, None)]
    for (name, bound), block in zip(bounds.items(), blocks, strict=True):
        sign = directions.get(name, 0)
        limits += [(0.0 if sign > 0 else None, 0.0 if sign < 0 else None)] * len(bound)
        limits += [(None, None)] * (block.shape[1] - len(bound))

    def loss(values: Floats) -> tuple[float, Floats]:
        log_odds = values[0] + steps @ (sums @ values[1:])
        expected = expit(log_odds)
        off = wanted * (expected - 1.0) + unwanted * expected
        lost = wanted @ np.logaddexp(0.0, -log_odds) + unwanted @ np.logaddexp(0.0, log_odds)
        slope = np.concatenate(([off.sum()], sums.T @ (steps.T @ off) + penalty * values[1:]))
        return float(lost + 0.5 * penalty * (values[1:] @ values[1:])), slope

    begin = np.concatenate(([np.log((wanted.sum() + _ONE) / (unwanted.sum() + _ONE))], np.zeros(sums.shape[1])))
    options = {"maxiter": _MOST_ROUNDS, "maxfun": 2 * _MOST_ROUNDS, "maxcor": 30}
    found = minimize(loss, begin, jac=True, method="L-BFGS-B", bounds=limits, options=options)
    return _table(float(found.x[0]), bounds, sums @ found.x[1:])


def _bounds(column: Floats) -> Floats:
    known = column[~np.isnan(column)]
    if not len(known):
        return np.empty(0)
    # rounded as they are written, so that what is used is what was fitted
    return np.unique(np.round(np.quantile(known, np.linspace(0, 1, _STEPS + 1)[1:-1]), _DIGITS))


def _steps(columns: Mapping[str, Floats], bounds: Mapping[str, Floats]) -> sparse.csr_matrix:
    """Return a matrix with, for each moment, a one at each of its steps; the last step of a number is for NaN."""
    places, first = [], 0
    for name, column in columns.items():
        step = np.searchsorted(bounds[name], column, side="right")
        places.append(first + np.where(np.isnan(column), len(bounds[name]) + 1, step))
        first += len(bounds[name]) + 2
    inside: Ints = np.stack(places, axis=1)
    rows = np.repeat(np.arange(len(inside)), inside.shape[1])
    return sparse.csr_matrix((np.ones(inside.size), (rows, inside.ravel())), shape=(len(inside), first))


def _increments(steps: int) -> Floats:
    """Return the matrix that makes steps of their increments: the middle one is 0; the last of both is for NaN."""
    place, increment = np.arange(steps)[:, np.newaxis], np.arange(1, steps)
    middle = steps // 2
    above = (increment > middle) & (place >= increment)
    below = (increment <= middle) & (place < increment)
    whole: Floats = sparse.block_diag([above.astype(np.float64) - below, np.ones((1, 1))]).toarray()
    return whole


def _table(begins_with: float, bounds: Mapping[str, Floats], adds: Floats) -> Table:
    steps, first = {}, 0
    for name, column in bounds.items():
        last = first + len(column) + 1
        rounded = np.round(adds[first : last + 1], _DIGITS).tolist()
        steps[name] = Steps(tuple(column.tolist()), tuple(rounded[:-1]), rounded[-1])
        first = last + 1
    return Table(round(begins_with, _DIGITS), steps)
