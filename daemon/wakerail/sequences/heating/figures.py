"""The figures of a heat as it was told: what it is held against, and what its trace comes to."""

from __future__ import annotations

from wakerail.analysis.thermal.figures import Figures, read_figures
from wakerail.analysis.thermal.profile import Level, Limit, ThermalLimits
from wakerail.sequences.heating.trace import HeatTrace
from wakerail_kit.events import HeatLimit, HeatStarted

#: A person who cools early has judged for themselves that it is done: then none of these is too short.
_MAY_BE_SHORT = frozenset({"hold", "above-liquidus"})


def limits_of(heat: HeatStarted, *, cooled_early: bool) -> ThermalLimits:
    """Return what the figures of a heat are held against, each with its source."""
    limits = {each.figure: _limit(each, cooled_early=cooled_early) for each in heat.limits}
    soak = next((each for each in heat.limits if each.figure == "soak"), None)
    between_c = None if soak is None or soak.from_c is None or soak.to_c is None else (soak.from_c, soak.to_c)
    return ThermalLimits(
        liquidus=Level(heat.liquidus_c, heat.liquidus_source),
        peak_c=limits.get("peak"),
        overshoot_k=limits.get("overshoot"),
        ramp_up_k_per_s=limits.get("ramp-up"),
        ramp_down_k_per_s=limits.get("ramp-down"),
        above_liquidus_s=limits.get("above-liquidus"),
        hold_s=limits.get("hold"),
        soak_s=limits.get("soak"),
        soak_between_c=between_c,
        to_peak_s=limits.get("to-peak"),
        hot_s=limits.get("hot"),
        touch=Level(heat.touch_c, heat.touch_source),
        ceiling=Level(heat.ceiling_c, f"profile {heat.profile} of {heat.family}"),
    )


def figures_of(heat: HeatStarted, trace: HeatTrace, *, cooled_early: bool) -> Figures:
    """Return the figures of a heat, each against its limit."""
    return read_figures(
        trace.t_s,
        trace.temperature_c,
        limits_of(heat, cooled_early=cooled_early),
        setpoint_c=trace.setpoint_c,
        believed=trace.believed,
    )


def _limit(told: HeatLimit, *, cooled_early: bool) -> Limit | None:
    low = None if cooled_early and told.figure in _MAY_BE_SHORT else told.low
    return None if low is None and told.high is None else Limit(low, told.high, told.source)
