"""The plate rises although its heater is off: a relay that sticks. Only its plug stops that."""

from __future__ import annotations

from collections import deque
from statistics import median

from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.trip import PULL_ITS_PLUG, Trip
from wakerail_kit.units import human

#: What it must rise by, above its lowest since it should have stopped rising.
RISE_K = 10.0
_MEDIAN_OF = 9  # samples: noise is no rise


class UnheatedRise(PlateGuard):
    """Trips when the plate rises by 10 K with its heater off, once heat stored in the element has had ``coast_s``."""

    def __init__(self, coast_s: float) -> None:
        self._coast_s = coast_s
        self._newest: deque[float] = deque(maxlen=_MEDIAN_OF)
        self._lowest_c = float("inf")

    def judge(self, state: PlateState) -> Trip | None:
        if state.heating or state.temperature_c is None or state.t_s - state.off_s < self._coast_s:
            self.reset()
            return None
        self._newest.append(state.temperature_c)
        if len(self._newest) < _MEDIAN_OF:
            return None
        at_c = median(self._newest)
        self._lowest_c = min(self._lowest_c, at_c)
        rise_k = at_c - self._lowest_c
        if rise_k <= RISE_K:
            return None
        says = f"the heater is off and the plate rose to {human(round(at_c, 1), 'Cel')}; its relay may be stuck"
        return Trip("unheated-rise", f"{says}: {PULL_ITS_PLUG}", rise_k, RISE_K, "K")

    def reset(self) -> None:
        self._newest.clear()
        self._lowest_c = float("inf")
