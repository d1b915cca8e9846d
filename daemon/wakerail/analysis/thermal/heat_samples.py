"""The samples of one stretch of a heat, as they come, few enough to fit a model to them again and again."""

from __future__ import annotations

import numpy as np

from wakerail.analysis.thermal.cells import Cells
from wakerail.analysis.thermal.identification import Stretch
from wakerail.analysis.thermal.plate_model import Commands
from wakerail.analysis.thermal.trace import Floats, Trace

_MOST_SAMPLES, _NEWEST = 4000, 400
_CELLS = 150
_SMOOTHED_S = 3.0


class HeatSamples:
    """Samples with all that was sent to the heater known; ``held`` as for a Stretch. Beyond 4000 they are thinned."""

    def __init__(self, *, held: bool) -> None:
        self.held = held
        self._t_s: list[float] = []
        self._c: list[float] = []
        self._sent: list[tuple[float, float]] = []  # when the command changed, and to what

    def __len__(self) -> int:
        return len(self._t_s)

    def add(self, t_s: float, temperature_c: float, command: float) -> None:
        """Take a sample that is later than all before it, and what is sent to the heater from then on."""
        self._t_s.append(t_s)
        self._c.append(temperature_c)
        if not self._sent or self._sent[-1][1] != command:
            self._sent.append((t_s, command))
        if len(self) > _MOST_SAMPLES:
            keep = [at for at in range(len(self)) if at % 2 == 0 or at > len(self) - _NEWEST]
            self._t_s, self._c = [self._t_s[at] for at in keep], [self._c[at] for at in keep]

    @property
    def now_s(self) -> float:
        """When the newest sample was taken."""
        return self._t_s[-1]

    @property
    def now_c(self) -> float:
        """The temperature at the newest sample, by a straight line through the newest seconds."""
        times, levels = np.array(self._t_s[-_NEWEST:]) - self.now_s, np.array(self._c[-_NEWEST:])
        near = times > -_SMOOTHED_S
        if near.sum() < 4:
            return self._c[-1]
        return float(np.polyfit(times[near], levels[near], 1)[1])

    @property
    def length_s(self) -> float:
        """How long it lasted so far."""
        return self._t_s[-1] - self._t_s[0] if self._t_s else 0.0

    @property
    def range_k(self) -> float:
        """How far the temperature went."""
        return max(self._c) - min(self._c) if self._c else 0.0

    @property
    def heated(self) -> bool:
        """Tell whether the heater was ever on."""
        return any(command for _, command in self._sent)

    @property
    def heated_now(self) -> bool:
        """Tell whether the heater is on."""
        return self._sent[-1][1] > 0

    def trace(self) -> Trace:
        """Return the samples as a trace."""
        return Trace.of(self._t_s, self._c)

    def stretch(self, trace: Trace) -> Stretch:
        """Return the samples as a stretch to fit to; ``trace`` is theirs."""
        return Stretch(Cells.of(trace, _CELLS), Commands(*np.array(self._sent).T), self.held)

    def until(self, end_s: float, cells: int = _CELLS, *, then: float | None = None) -> Stretch:
        """Return the stretch from its first sample to any moment, to predict it; ``then`` is sent from now on."""
        moments: Floats = np.linspace(self._t_s[0], end_s, cells)
        levels = np.full(cells, self._c[0])
        sent = self._sent if then is None else [*self._sent, (self.now_s, then)]
        return Stretch(Cells(moments, levels, float(moments[1] - moments[0])), Commands(*np.array(sent).T), self.held)
