"""The limits of a heating plate that its interlocks hold, as `limits` of a plate in bench.yaml gives them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail_kit.kinds import HEAT_SOURCE, Kind
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class HeatLimit:
    """One limit: its UCUM unit, what it is if bench.yaml does not say, between which bounds it must lie."""

    unit: str
    default: float
    low: float
    high: float


#: By their keys in bench.yaml. Where no source is named, the default is common practice without one.
HEAT_LIMITS: dict[str, HeatLimit] = {
    # Burn threshold for ten minutes' contact, any material (ISO 13732-1); metal held for a minute: 51 degC.
    "touch": HeatLimit("Cel", 48.0, 30.0, 60.0),
    "overshoot": HeatLimit("K", 20.0, 2.0, 60.0),
    # J-STD-020 allows a package 3 K/s on the way up.
    "fastest-rise": HeatLimit("K/s", 4.0, 0.1, 50.0),
    "rise-time": HeatLimit("s", 20.0, 2.0, 600.0),
    "coast": HeatLimit("s", 15.0, 1.0, 600.0),
    "cool-time": HeatLimit("s", 60.0, 5.0, 1800.0),
    "silence": HeatLimit("s", 2.0, 0.3, 30.0),
    "acknowledge": HeatLimit("s", 3.0, 0.3, 30.0),
    "hot-time": HeatLimit("s", 1200.0, 10.0, 14400.0),
    "session": HeatLimit("s", 2700.0, 10.0, 28800.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLimits:
    """The limits of one plate. What each is for is said where its interlock is."""

    ceiling_c: float
    touch_c: float
    overshoot_k: float
    fastest_rise_k_per_s: float
    rise_time_s: float
    coast_s: float
    cool_time_s: float
    silence_s: float
    acknowledge_s: float
    hot_time_s: float
    session_s: float


def read_heat_limits(section: Section) -> dict[str, float]:
    """Take a plate's own limits from `limits`, each in its unit, with the defaults for those that are absent."""
    return {
        key: section.quantity(key, limit.unit, default=limit.default, low=limit.low, high=limit.high)
        for key, limit in HEAT_LIMITS.items()
    }


def heat_limits(given: Mapping[str, float]) -> HeatLimits:
    """Return a plate's limits; ``given`` is by key, `temperature` (the ceiling) among them."""

    def value(key: str) -> float:
        return given.get(key, HEAT_LIMITS[key].default)

    return HeatLimits(
        ceiling_c=given["temperature"],
        touch_c=value("touch"),
        overshoot_k=value("overshoot"),
        fastest_rise_k_per_s=value("fastest-rise"),
        rise_time_s=value("rise-time"),
        coast_s=value("coast"),
        cool_time_s=value("cool-time"),
        silence_s=value("silence"),
        acknowledge_s=value("acknowledge"),
        hot_time_s=value("hot-time"),
        session_s=value("session"),
    )


def cool_down_of(kind: Kind, limits: Mapping[str, float]) -> dict[str, float]:
    """Return what is set, beside switching off, so that an instrument cools even if its switch fails."""
    return {"temperature": heat_limits(limits).touch_c} if kind is HEAT_SOURCE else {}
