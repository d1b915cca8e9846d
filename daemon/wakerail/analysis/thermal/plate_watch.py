"""Follows a heat as it comes: identifies the plate anew now and then, tells how long it will take, and whether the
plate still behaves as the plate that it was.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from wakerail.analysis.thermal.heat_samples import HeatSamples
from wakerail.analysis.thermal.identification import Form, Identified, fit
from wakerail.analysis.thermal.prediction import Prediction, TimeToGo, predict, time_until

#: So far below its set point a plate's own thermostat gives full heat, so far above it none; between, what it sends is
#: not known (common practice, no source).
FULL_BELOW_K, NONE_ABOVE_K = 15.0, 5.0
#: The plate is judged by what was known of it so long ago: what was learnt later has learnt from what is judged.
JUDGED_OVER_S = 20.0
#: It misbehaves where it is colder with its heater on, or warmer with it off, than its prediction by more than so many
#: standard uncertainties and so many kelvin: what a person would act upon, and more than honest ovens were off whose
#: elements and walls this model is too simple for.
BOUND_SIGMAS, BOUND_K = 4.0, 10.0
#: After the heater was switched the plate is not judged for so long: how its element lags was not seen before.
UNJUDGED_S, _SWITCHED = 60.0, 0.25
_JUDGED_COUNT = 2  # judgements in a row
_FIT_EVERY_S, _FIT_EVERY = 10.0, 0.1  # and every tenth of a long stretch
_JUDGE_EVERY_S, _JUDGE_EVERY = 4.0, 0.02
_LEAST_RANGE_K, _LEAST_LENGTH_S = 15.0, 15.0  # before so much is seen nothing is identified
_HELD_S = 20.0  # regulated for so long is held
_STRETCHES = 3  # earlier ones that a fit still looks at
_AHEAD_S, _AHEAD_CELLS = 3600.0, 900
_WARM_C, _USUAL_ROOM_C = 40.0, 25.0  # a plate this warm at first is not at the room's temperature


def command_of(heater_on: bool, setpoint_c: float | None, temperature_c: float | None) -> float | None:
    """Return what a plate with a thermostat of its own sends to its heater: 1, 0, or None where nobody knows."""
    if not heater_on:
        return 0.0
    if setpoint_c is None or temperature_c is None:
        return None
    if temperature_c < setpoint_c - FULL_BELOW_K:
        return 1.0
    return 0.0 if temperature_c > setpoint_c + NONE_ABOVE_K else None


@dataclass(frozen=True, slots=True)
class Misbehaviour:
    """The plate left what was foretold of it: when, in words, and how its temperature changed against what was due."""

    at_s: float
    says: str
    measured_k: float
    expected_k: float
    bound_k: float


class PlateWatch:
    """One heat of one plate. Feed it every sample that is believed; ask it at any time.

    ``plate`` is the plate as identified last, None at first; ``misbehaviour`` stays once it is there. Most samples cost
    next to nothing; a fit, every 10 s at most, takes tens of milliseconds. Without ``room_c`` the heat begins at the
    room's temperature, or in a room of 25 degC if the plate is warmer than 40 degC.
    """

    def __init__(self, *, room_c: float | None = None) -> None:
        self._form = Form(room_c)
        self._earlier: deque[HeatSamples] = deque(maxlen=_STRETCHES)
        self._now: HeatSamples | None = HeatSamples(held=False)
        self._last_s = self._fitted_s = self._judged_s = -math.inf
        self._unknown_s = self._unknown_until_s = math.nan  # from when to when nobody knew what is sent
        self._known: deque[tuple[float, float, Identified]] = deque(maxlen=8)  # when, how warm, and the plate
        self._off = 0
        self._steady: float | None = None  # what the heater was switched to last, and when
        self._switched_s = -math.inf
        self.plate: Identified | None = None
        self.misbehaviour: Misbehaviour | None = None

    def take(self, t_s: float, temperature_c: float | None, command: float | None) -> None:
        """Take a sample and what is sent to the heater from then on (see ``command_of``), None where nobody knows.

        A sample without data, or not later than the last, is passed over.
        """
        if temperature_c is None or not math.isfinite(temperature_c) or t_s <= self._last_s:
            return
        if self._last_s == -math.inf and self._form.room_c is None and temperature_c > _WARM_C:
            self._form = Form(_USUAL_ROOM_C)
        self._last_s = t_s
        if command is None:
            self._leave_off(t_s)
            return
        if self._now is None:
            # a shorter time may not have been a hold: what the element still gives is not known
            if self._unknown_until_s - self._unknown_s < _HELD_S:
                return
            self._now = HeatSamples(held=True)
        self._now.add(t_s, temperature_c, command)
        if self._steady is None or abs(command - self._steady) > _SWITCHED:
            self._switched_s = -math.inf if self._steady is None else t_s
            self._steady = command
        length_s = self._now.length_s
        if t_s - self._judged_s >= max(_JUDGE_EVERY_S, _JUDGE_EVERY * length_s):
            self._judged_s = t_s
            self._judge(self._now)
        if t_s - self._fitted_s >= _FIT_EVERY_S and self._worth_a_fit(self._now):
            self._fitted_s = t_s
            self._fit(self._now)

    def time_to(self, target_c: float, *, command: float = 1.0) -> TimeToGo | None:
        """Return how long from the newest sample to a temperature, with a constant command from now on.

        None while the plate is not identified, and while nobody knows what its heater gets. Looks an hour ahead.
        """
        ahead = self.ahead(command=command)
        return None if ahead is None else time_until(ahead, target_c, rising=target_c > ahead.temperature_c[0])

    def ahead(self, *, command: float = 1.0) -> Prediction | None:
        """Return how the plate goes on for an hour with a constant command; None as for ``time_to``."""
        if self._now is None or self.plate is None or len(self._now) < 2:
            return None
        stretch = self._now.until(self._now.now_s + _AHEAD_S, _AHEAD_CELLS, then=command)
        first = int(np.searchsorted(stretch.cells.t_s, self._now.now_s))
        whole = predict(self.plate, stretch, (first, self._now.now_c))
        return Prediction(whole.t_s[first:], whole.temperature_c[first:], whole.uncertainty_k[first:])

    def _leave_off(self, t_s: float) -> None:
        self._unknown_until_s = t_s
        if self._now is not None:
            self._unknown_s = t_s
            if self._now.length_s >= _LEAST_LENGTH_S:
                self._earlier.append(self._now)
            self._now = None
            self._known.clear()
            self._off, self._steady = 0, None

    def _worth_a_fit(self, samples: HeatSamples) -> bool:
        heated = samples.heated or any(each.heated for each in self._earlier)
        return heated and samples.range_k >= _LEAST_RANGE_K and samples.length_s >= _LEAST_LENGTH_S

    def _fit(self, samples: HeatSamples) -> None:
        pieces = [(each, each.trace()) for each in (*self._earlier, samples)]
        noise_k = float(np.median([trace.noise_k() for _, trace in pieces]))
        self.plate = fit([each.stretch(trace) for each, trace in pieces], noise_k, self._form, self.plate)
        self._known.append((samples.now_s, samples.now_c, self.plate))

    def _judge(self, samples: HeatSamples) -> None:
        known = [each for each in self._known if each[0] <= samples.now_s - JUDGED_OVER_S]
        if not known or self.misbehaviour is not None or samples.now_s - self._switched_s < UNJUDGED_S:
            return
        from_s, from_c, plate = known[-1]
        stretch = samples.until(samples.now_s)
        foretold = predict(plate, stretch, (int(np.searchsorted(stretch.cells.t_s, from_s)), from_c))
        expected_k, measured_k = float(foretold.temperature_c[-1]) - from_c, samples.now_c - from_c
        bound_k = max(BOUND_SIGMAS * float(foretold.uncertainty_k[-1]), BOUND_K)
        # a rise that is too fast is an interlock's to judge, and a plate that a fan cools hurts nobody
        wrong_k = expected_k - measured_k if samples.heated_now else measured_k - expected_k
        self._off = self._off + 1 if wrong_k > bound_k else 0
        if self._off >= _JUDGED_COUNT:
            says = (
                f"the plate does not behave as it did: {_change(measured_k)} in {samples.now_s - from_s:.0f} s, "
                f"where {_change(expected_k)} was to be expected, give or take {bound_k:.0f} K"
            )
            self.misbehaviour = Misbehaviour(samples.now_s, says, measured_k, expected_k, bound_k)


def _change(difference_k: float) -> str:
    return f"{'up' if difference_k >= 0 else 'down'} {abs(difference_k):.0f} K"
