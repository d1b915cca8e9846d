"""The figures of a heat: what a thermal trace did, each against its limit and with that limit's source."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from wakerail.analysis.thermal.profile import Limit, ThermalLimits
from wakerail.analysis.thermal.trace import Floats, Trace
from wakerail_kit.units import human

#: Rates are means over so long: shorter is noise, longer hides a short steep piece (common practice, no source).
RAMP_WINDOW_S = 10.0
#: As near to its set point a plate counts as holding: J-STD-020 times the peak within 5 degC.
HOLD_BAND_K = 5.0
_FROM_C = 25.0  # J-STD-020 counts the time to peak from here


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure. ``unit`` is a UCUM code; ``value`` None where the trace does not show it, and then ``says`` why.

    ``least`` and ``most`` bound it where gaps leave it open; ``from_s`` to ``to_s`` is where in the trace it was read.
    """

    name: str
    value: float | None
    unit: str
    says: str
    limit: Limit | None = None
    least: float | None = None
    most: float | None = None
    from_s: float | None = None
    to_s: float | None = None

    @property
    def passed(self) -> bool | None:
        """Tell whether it is within its limit; None without a limit or a value, or where a gap leaves it open."""
        if self.limit is None or self.value is None:
            return None
        within = {self.limit.allows(value) for value in (self.value, self.least, self.most) if value is not None}
        return within.pop() if len(within) == 1 else None

    @property
    def words(self) -> str:
        """The value as a technician would say it, or why there is none."""
        return self.says if self.value is None else human(_brief(self.value), self.unit)


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of one heat, in the order in which they are shown."""

    ramp_up: Figure
    soak: Figure
    to_peak: Figure
    peak: Figure
    overshoot: Figure
    hold: Figure
    above_liquidus: Figure
    ramp_down: Figure
    hot: Figure

    def __iter__(self) -> Iterator[Figure]:
        return (getattr(self, field.name) for field in fields(self))

    @property
    def passed(self) -> bool | None:
        """Tell whether all that has a limit is within it: False if any is not, None if any cannot be told."""
        judged = [figure.passed for figure in self if figure.limit is not None]
        if False in judged:
            return False
        return None if None in judged else True


def read_figures(
    t_s: npt.ArrayLike,
    temperature_c: Sequence[float | None] | npt.ArrayLike,
    limits: ThermalLimits,
    *,
    setpoint_c: float | Sequence[float | None] | npt.ArrayLike | None = None,
    believed: npt.ArrayLike | None = None,
    ramp_window_s: float = RAMP_WINDOW_S,
) -> Figures:
    """Read the figures of one heat.

    ``t_s`` are seconds on any scale; None or NaN are samples without data; ``believed`` is false for those that the
    check of the sensor flags, and they are left out. ``setpoint_c`` is one set point, or that of each sample (None or
    0 for none); without it there is no overshoot and no hold. Raises ValueError for columns of different lengths.
    """
    trace = Trace.of(t_s, temperature_c, believed)
    setpoints = _setpoints(setpoint_c, t_s, trace)
    rising, falling = _steepest(trace, ramp_window_s, limits)
    return Figures(
        ramp_up=rising,
        soak=_soak(trace, limits),
        to_peak=_to_peak(trace, limits),
        peak=_peak(trace, limits),
        overshoot=_overshoot(trace, setpoints, limits.overshoot_k),
        hold=_hold(trace, setpoints, limits.hold_s),
        above_liquidus=_above(
            "time above liquidus",
            trace,
            limits.liquidus.at_c,
            limits.above_liquidus_s,
            f"above {_c(limits.liquidus.at_c)}",
        ),
        ramp_down=falling,
        hot=_hot(trace, limits),
    )


def _setpoints(
    setpoint_c: float | Sequence[float | None] | npt.ArrayLike | None, t_s: npt.ArrayLike, trace: Trace
) -> Floats | None:
    """Return the set point at each sample of the trace, NaN where there is none."""
    if setpoint_c is None or not len(trace):
        return None
    if isinstance(setpoint_c, int | float):
        return np.full(len(trace), float(setpoint_c))
    times = np.asarray(t_s, dtype=float)
    given = np.array([np.nan if one is None else one for one in np.asarray(setpoint_c).tolist()], dtype=float)
    if times.shape != given.shape:
        raise ValueError(f"columns of different lengths: {times.size}, {given.size}")
    given[given <= 0] = np.nan
    order = np.argsort(times, kind="stable")
    at = order[np.clip(np.searchsorted(times[order], trace.t_s), 0, times.size - 1)]
    return given[at] if not np.isnan(given).all() else None


def _steepest(trace: Trace, window_s: float, limits: ThermalLimits) -> tuple[Figure, Figure]:
    rates, starts = trace.rates_k_per_s(window_s)
    over = f"steepest mean over {human(window_s, 's')}"

    def figure(name: str, sign: int, limit: Limit | None) -> Figure:
        if not rates.size:
            return Figure(name, None, "K/s", f"no {human(window_s, 's')} without a gap", limit)
        at = int(np.argmax(sign * rates))
        rate, start_s = max(float(sign * rates[at]), 0.0), float(starts[at])
        return Figure(name, rate, "K/s", over, limit, from_s=start_s, to_s=start_s + window_s)

    return figure("ramp up", 1, limits.ramp_up_k_per_s), figure("ramp down", -1, limits.ramp_down_k_per_s)


def _peak(trace: Trace, limits: ThermalLimits) -> Figure:
    if not len(trace):
        return Figure("peak", None, "Cel", "no samples", limits.peak_c)
    at = int(trace.temperature_c.argmax())
    moment_s = float(trace.t_s[at])
    return Figure(
        "peak", float(trace.temperature_c[at]), "Cel", "highest sample", limits.peak_c, from_s=moment_s, to_s=moment_s
    )


def _to_peak(trace: Trace, limits: ThermalLimits) -> Figure:
    if not len(trace):
        return Figure("time to peak", None, "s", "no samples", limits.to_peak_s)
    peak_s = float(trace.t_s[trace.temperature_c.argmax()])
    starts = trace.rises_through(_FROM_C)
    starts = starts[starts <= peak_s]
    start_s = float(starts[-1]) if starts.size else float(trace.t_s[0])
    says = f"from {_c(_FROM_C)} to the peak" if starts.size else "from the first sample to the peak"
    return Figure("time to peak", peak_s - start_s, "s", says, limits.to_peak_s, from_s=start_s, to_s=peak_s)


def _overshoot(trace: Trace, setpoints: Floats | None, limit: Limit | None) -> Figure:
    """Read the most that any set point was exceeded by, from the moment it was reached until the next one was set."""
    if setpoints is None:
        return Figure("overshoot", None, "K", "no set point recorded", limit)
    worst: Figure | None = None
    for first, last in _stretches(setpoints):
        setpoint_c = float(setpoints[first])
        levels = trace.temperature_c[first:last]
        reached = np.flatnonzero(levels >= setpoint_c)
        # coming down to a lower set point is no overshoot
        if not reached.size or reached[0] == 0:
            continue
        at = first + int(levels.argmax())
        over_k, moment_s = float(trace.temperature_c[at] - setpoint_c), float(trace.t_s[at])
        if worst is None or over_k > (worst.value or 0.0):
            says = f"over the set point of {_c(setpoint_c)}"
            worst = Figure("overshoot", over_k, "K", says, limit, from_s=moment_s, to_s=moment_s)
    return worst or Figure("overshoot", None, "K", "no set point was reached", limit)


def _stretches(setpoints: Floats) -> Iterator[tuple[int, int]]:
    """Yield first and end of each stretch with one set point; the last goes on to the end if none follows."""
    changes = np.flatnonzero(np.diff(np.nan_to_num(setpoints, nan=-1.0)) != 0) + 1
    bounds = [0, *changes.tolist(), setpoints.size]
    for first, end in itertools.pairwise(bounds):
        if not math.isnan(setpoints[first]):
            # what the heat already given still does after the heater is off belongs to this set point
            off = end < setpoints.size and math.isnan(setpoints[end])
            yield first, (setpoints.size if off and end == bounds[-2] else end)


def _hold(trace: Trace, setpoints: Floats | None, limit: Limit | None) -> Figure:
    if setpoints is None:
        return Figure("hold", None, "s", "no set point recorded", limit)
    band_c = float(np.nanmax(setpoints)) - HOLD_BAND_K
    return _above(
        "hold", trace, band_c, limit, f"at {_c(band_c)} or more, {human(HOLD_BAND_K, 'K')} below the set point"
    )


def _above(name: str, trace: Trace, level_c: float, limit: Limit | None, says: str) -> Figure:
    if len(trace) < 2:
        return Figure(name, None, "s", "no samples", limit)
    time = trace.above(level_c)
    if math.isinf(time.most_s):
        says += ", and still so at the end"
    inside = trace.t_s[trace.temperature_c > level_c]
    span = (float(inside[0]), float(inside[-1])) if inside.size else (None, None)
    return Figure(name, time.s, "s", says, limit, time.least_s, time.most_s, *span)


def _soak(trace: Trace, limits: ThermalLimits) -> Figure:
    if limits.soak_between_c is None:
        return Figure("soak", None, "s", "no soak in this profile", limits.soak_s)
    low_c, high_c = limits.soak_between_c
    says = f"from {_c(low_c)} to {_c(high_c)} on the way up"
    ends = trace.rises_through(high_c)
    starts = trace.rises_through(low_c)
    starts = starts[starts <= ends[0]] if ends.size else starts[:0]
    if not starts.size:
        return Figure("soak", None, "s", f"did not go {says}", limits.soak_s)
    start_s, end_s = float(starts[-1]), float(ends[0])
    return Figure("soak", end_s - start_s, "s", says, limits.soak_s, from_s=start_s, to_s=end_s)


def _hot(trace: Trace, limits: ThermalLimits) -> Figure:
    if limits.touch is None:
        return Figure("time hot", None, "s", "no touch limit in this profile", limits.hot_s)
    return _above("time hot", trace, limits.touch.at_c, limits.hot_s, f"above {_c(limits.touch.at_c)}")


def _c(temperature_c: float) -> str:
    return human(temperature_c, "Cel")


def _brief(value: float) -> float:
    return round(value, 1) if abs(value) >= 10 else round(value, 2)
