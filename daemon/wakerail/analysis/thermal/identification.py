"""Identifies a plate from what was sent to its heater and what its sensor showed, by least squares.

The parameters are fitted as logarithms (they are positive), the dead time and the temperature at the start as they are.
Their covariance is that of linearised least squares, s^2 (J'J)^-1 (Bates and Watts, "Nonlinear Regression Analysis and
Its Applications", 1988, chapter 2; from memory), widened for residuals that hang together: n samples whose residuals
correlate by r from one to the next are worth n (1 - r) / (1 + r) (Bayley and Hammersley, "The 'Effective' Number of
Independent Observations in an Autocorrelated Time Series", 1946; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy.optimize import OptimizeResult, least_squares

from wakerail.analysis.thermal.cells import Cells
from wakerail.analysis.thermal.plate_model import RADIATION, Commands, Course, Load, PlateModel, PlateState
from wakerail.analysis.thermal.trace import Floats, Trace

_LEAST_NOISE_K = 0.05
# what plates are like as long as the data say nothing: middle and spread, of the natural logarithm for the first ones
# (common practice, no source)
_USUAL = {"heat_rate_k_per_s": (0.4, 1.5), "loss_time_s": (6.2, 1.0), "lag_s": (2.3, 0.8)}
_LOADED = {"share": (-1.0, 1.5), "coupling_per_s": (-4.5, 1.5)}
_HEAVY = {"loss_time_s": 8.2, "share": 1.5, "coupling_per_s": -5.3}  # where the search begins a second time
_RADIATION = (RADIATION, 0.25)
_DEAD_S = (5.0, 20.0)
_MOST_DEAD_S = 120.0
_SPREADS = 4.0  # no parameter goes further than so many spreads from what is usual
_MOST_TRIES, _MOST_TRIES_AGAIN = 60, 10
_CLOSE = 1e-4  # a last step of so little, as a share, changes nothing that the uncertainty would not cover
_STEPS = {"radiation": 1e-3, "dead_time_s": 0.05, "start_c": 0.01}  # of the difference quotients
_LOGARITHM_STEP = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """A piece of a heat with all that was sent to the heater known.

    It begins at the temperature of the room with the heater off; or ``held``: at any temperature that the plate had
    been held at.
    """

    cells: Cells
    commands: Commands
    held: bool = False

    def course(self, model: PlateModel, start_c: float, anchor: tuple[int, float] | None = None) -> Course:
        """Return how a model would go through it, a state for each cell.

        With ``anchor``, a cell and its temperature, the plate goes on from there with that temperature.
        """
        start = model.holding(self.cells.first_c) if self.held else PlateState(start_c)
        arriving = self.commands.arriving(self.cells.t_s, model.dead_time_s, before=start.heat)
        whole = model.run(start, arriving, self.cells.step_s)
        if anchor is None:
            return whole
        place, there_c = anchor
        there = replace(whole.state(place), temperature_c=there_c)
        return whole.then(place, model.run(there, arriving[place:], self.cells.step_s))


@dataclass(frozen=True, slots=True)
class Form:
    """What is taken for given in a fit.

    Without ``room_c`` the first stretch begins at the room's temperature. Without ``radiation`` that share of the loss
    is fitted too.
    """

    room_c: float | None = None
    radiation: float | None = None
    with_load: bool = False

    @property
    def logarithms(self) -> dict[str, tuple[float, float]]:
        """The parameters fitted as logarithms, each with what is usual and how widely it spreads."""
        return _USUAL | _LOADED if self.with_load else _USUAL

    @property
    def names(self) -> tuple[str, ...]:
        """The parameters in their order."""
        fitted = ("radiation",) if self.radiation is None else ()
        return (*self.logarithms, *fitted, "dead_time_s", "start_c")

    def build(self, parameters: Floats) -> tuple[PlateModel, float]:
        """Return the model with some parameters, and the temperature that it starts from."""
        values = dict(zip(self.names, parameters.tolist(), strict=True))
        natural = {name: math.exp(values[name]) for name in self.logarithms}
        load = Load(natural["share"], natural["coupling_per_s"]) if self.with_load else None
        start_c = values["start_c"]
        model = PlateModel(
            natural["heat_rate_k_per_s"],
            natural["loss_time_s"],
            natural["lag_s"],
            values["dead_time_s"],
            start_c if self.room_c is None else self.room_c,
            values.get("radiation", self.radiation or 0.0),
            load,
        )
        return model, start_c

    def usual(self, start_c: float, noise_k: float) -> tuple[Floats, Floats]:
        """Return middle and spread of each parameter as long as the data say nothing."""
        both = self.logarithms | {"radiation": _RADIATION, "dead_time_s": _DEAD_S, "start_c": (start_c, noise_k)}
        middle, spread = np.array([both[name] for name in self.names]).T
        return middle, spread

    def bounds(self, middle: Floats, spread: Floats) -> tuple[Floats, Floats]:
        """Return between which a parameter is looked for."""
        low, high = middle - _SPREADS * spread, middle + _SPREADS * spread
        for name, least, most in (("radiation", 0.0, 1.0), ("dead_time_s", 0.0, _MOST_DEAD_S)):
            if name in self.names:
                low[self.names.index(name)], high[self.names.index(name)] = least, most
        return low, high

    def slopes(self, of: Callable[[Floats], Floats], parameters: Floats) -> Floats:
        """Return how a function of the parameters changes with each of them, by difference quotients."""
        here = of(parameters)
        columns = []
        for place, name in enumerate(self.names):
            step, moved = _STEPS.get(name, _LOGARITHM_STEP), parameters.copy()
            moved[place] += step
            columns.append((of(moved) - here) / step)
        return np.stack(columns, axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Identified:
    """A plate as identified, and how surely.

    ``parameters`` are in the order of ``form.names``, ``covariance`` is theirs; ``residual_k`` the root mean square of
    what the model leaves of the data, ``error_k`` what an independent sample with all that would be off by.
    """

    form: Form
    parameters: Floats
    covariance: Floats
    residual_k: float
    error_k: float

    @property
    def model(self) -> PlateModel:
        """The plate's model."""
        return self.form.build(self.parameters)[0]

    @property
    def start_c(self) -> float:
        """The temperature at the first sample."""
        return float(self.parameters[-1])

    def uncertainty(self, name: str) -> float:
        """Return a parameter's standard uncertainty: a share of its value; of dead time and start, s and K."""
        place = self.form.names.index(name)
        return float(self.covariance[place, place] ** 0.5)


def identify(
    t_s: npt.ArrayLike,
    temperature_c: Sequence[float | None] | npt.ArrayLike,
    command: npt.ArrayLike,
    *,
    believed: npt.ArrayLike | None = None,
    form: Form | None = None,
) -> Identified:
    """Identify a plate. ``command`` is what was sent to the heater, 0 to 1, from each sample's moment on.

    Before the trace the heater was off. A second body coupled to the plate (``form.with_load``) takes a long trace to
    be seen. Raises ValueError for columns of different lengths, for fewer than ten samples that are data, and if the
    heater was never on.
    """
    trace = Trace.of(t_s, temperature_c, believed)
    commands = Commands(np.asarray(t_s, dtype=float), np.asarray(command, dtype=float))
    if commands.t_s.shape != commands.share.shape:
        raise ValueError(f"columns of different lengths: {commands.t_s.size}, {commands.share.size}")
    if len(trace) < 10:
        raise ValueError(f"{len(trace)} samples are too few to identify a plate from")
    if not (commands.share > 0).any():
        raise ValueError("the heater was never on; a plate that only cools tells nothing about its heater")
    return fit([Stretch(Cells.of(trace), commands)], trace.noise_k(), form or Form())


def fit(stretches: Sequence[Stretch], noise_k: float, form: Form, before: Identified | None = None) -> Identified:
    """Fit the model to stretches of one heat; the search begins where ``before``, an earlier fit of it, ended.

    How much the data count beside what is usual is known only when the model was fitted: without ``before`` it is
    fitted twice.
    """
    noise_k = max(noise_k, _LEAST_NOISE_K)
    if before is None:
        before = _fit_once(stretches, noise_k, noise_k, form, None)
    return _fit_once(stretches, noise_k, before.error_k, form, before)


def _fit_once(
    stretches: Sequence[Stretch], noise_k: float, error_k: float, form: Form, before: Identified | None
) -> Identified:
    middle, spread = form.usual(stretches[0].cells.first_c, noise_k)
    bounds = form.bounds(middle, spread)

    def misfit(parameters: Floats) -> Floats:
        """Return what is left of the data in units of its error; then how far each parameter is from the usual."""
        model, start_c = form.build(parameters)
        left = [each.cells.less(each.course(model, start_c).temperature_c) / error_k for each in stretches]
        return np.concatenate([*left, (parameters - middle) / spread])

    def search(begin: Floats) -> OptimizeResult:
        return least_squares(
            misfit,
            np.clip(begin, bounds[0] + 1e-6, bounds[1] - 1e-6),
            partial(form.slopes, misfit),
            bounds=bounds,
            x_scale=spread,
            ftol=_CLOSE,
            xtol=_CLOSE,
            max_nfev=_MOST_TRIES if before is None else _MOST_TRIES_AGAIN,
        )

    begins = [middle if before is None else before.parameters]
    if form.with_load and before is None:
        begins.append(np.array([_HEAVY.get(name, at) for name, at in zip(form.names, middle, strict=True)]))
    found = min(map(search, begins), key=lambda result: float(result.cost))
    left_k = found.fun[: -len(form.names)] * error_k
    data, prior = found.jac[: left_k.size] * error_k, found.jac[left_k.size :]
    newly_k = max(_error_k(left_k, len(form.names)), noise_k)
    covariance = np.linalg.pinv(data.T @ data / newly_k**2 + prior.T @ prior)
    return Identified(form, found.x, covariance, float(np.sqrt(np.mean(left_k**2))), newly_k)


def _error_k(left_k: Floats, parameters: int) -> float:
    """Return what independent samples would have to be off by to say as little as these, whose errors hang together."""
    squares = float(left_k @ left_k)
    together = float(np.clip(left_k[1:] @ left_k[:-1] / squares, 0.0, 0.99)) if squares > 0 else 0.0
    return math.sqrt(squares / max(left_k.size - parameters, 1) * (1 + together) / (1 - together))
