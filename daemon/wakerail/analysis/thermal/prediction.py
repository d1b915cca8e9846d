"""What an identified plate will do, and how surely: intervals from the fit's covariance and the model's own error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wakerail.analysis.thermal.identification import Identified, Stretch
from wakerail.analysis.thermal.trace import Floats

#: No model is the plate: what is predicted is never surer (k = 1) than this share of how far the plate goes until then.
#: Chosen from other people's ovens; tests/external/test_plate_recordings.py says how often it was enough.
MODEL_ERROR = 0.08
#: Intervals are so many standard uncertainties to each side (k = 2, about 95 %; JCGM 100, the GUM, 6.2).
COVERAGE = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Temperatures to come, with their standard uncertainty (k = 1), arrays of one length."""

    t_s: Floats
    temperature_c: Floats
    uncertainty_k: Floats

    @property
    def low_c(self) -> Floats:
        """The lower end of the interval (k = 2)."""
        return self.temperature_c - COVERAGE * self.uncertainty_k

    @property
    def high_c(self) -> Floats:
        """The upper end of the interval (k = 2)."""
        return self.temperature_c + COVERAGE * self.uncertainty_k


@dataclass(frozen=True, slots=True)
class TimeToGo:
    """How long until a temperature (k = 2). None as ``likely_s``: it is not expected to get there; the others alike."""

    likely_s: float | None
    least_s: float | None
    most_s: float | None


def predict(identified: Identified, stretch: Stretch, anchor: tuple[int, float] | None = None) -> Prediction:
    """Predict the temperature at each cell of a stretch; the cells' own temperatures are not looked at.

    With ``anchor``, a cell and the temperature measured there, the prediction goes through it, and only how the plate
    goes on from there is unsure; without, all since the start is.
    """
    form, centre = identified.form, identified.parameters

    def temperatures(parameters: Floats) -> Floats:
        return stretch.course(*form.build(parameters), anchor).temperature_c

    model, start_c = form.build(centre)
    likely = stretch.course(model, start_c, anchor)
    slopes = form.slopes(temperatures, centre)
    variance = np.einsum("ij,jk,ik->i", slopes, identified.covariance, slopes)
    began = 0 if anchor is None else anchor[0]
    # what the element took up or gave away since then counts as well as what the plate did
    stored_k = model.heat_rate_k_per_s * model.lag_s * (likely.heat - likely.heat[began])
    way_k = np.hypot(_way_k(stretch.cells.t_s, likely.temperature_c, began), stored_k)
    variance += (MODEL_ERROR * way_k) ** 2
    return Prediction(stretch.cells.t_s, likely.temperature_c, np.sqrt(np.maximum(variance, 0.0)))


def _way_k(t_s: Floats, levels: Floats, began: int) -> Floats:
    """Return how far a course has gone since it began, as its error counts.

    On the way up how high a plate comes is unsure. On the way down only how fast: it ends at the room's temperature.
    """
    gone_k: Floats = np.abs(levels - levels[began])
    if t_s.size < 2:
        return gone_k
    at_this_rate_k = np.abs(np.gradient(levels, t_s) * (t_s - t_s[began]))
    falls = levels < levels[began]
    gone_k[falls] = np.minimum(gone_k, at_this_rate_k)[falls]
    return gone_k


def time_until(prediction: Prediction, target_c: float, *, rising: bool) -> TimeToGo:
    """Return how long a prediction takes, from its first moment, to come to a temperature from below or from above."""
    sign = 1.0 if rising else -1.0
    width = COVERAGE * prediction.uncertainty_k
    towards = sign * (prediction.temperature_c - target_c)
    likely, least, most = (_first(prediction.t_s, side) for side in (towards, towards + width, towards - width))
    return TimeToGo(likely, least, most)


def _first(t_s: Floats, over: Floats) -> float | None:
    """Return when a course first comes to 0 or above, since its beginning, by interpolation."""
    reached = np.flatnonzero(over >= 0)
    if not reached.size:
        return None
    place = int(reached[0])
    if place == 0:
        return 0.0
    share = over[place - 1] / (over[place - 1] - over[place])
    return float(t_s[place - 1] + share * (t_s[place] - t_s[place - 1]) - t_s[0])
