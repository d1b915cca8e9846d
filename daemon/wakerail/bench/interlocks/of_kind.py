"""Which interlocks an instrument gets, by its kind and the bench's limits."""

from __future__ import annotations

from collections.abc import Mapping

from wakerail.bench.interlocks.allowance import Allowance, WithinAllowance
from wakerail.bench.interlocks.ceiling import SettingCeiling
from wakerail.bench.interlocks.cooling import Cooling
from wakerail.bench.interlocks.fast_rise import FastRise
from wakerail.bench.interlocks.hot_time import HotTime, Session
from wakerail.bench.interlocks.keeper import Keeper
from wakerail.bench.interlocks.no_rise import NoRise, StandsStill
from wakerail.bench.interlocks.over_temperature import Overshoot, OverTemperature
from wakerail.bench.interlocks.over_voltage import OverVoltage
from wakerail.bench.interlocks.plate import PlateInterlock
from wakerail.bench.interlocks.plate_state import PlateGuard
from wakerail.bench.interlocks.presence import Attended, Presence
from wakerail.bench.interlocks.setpoint import SecondSource, SetpointHeld
from wakerail.bench.interlocks.silence import Silence
from wakerail.bench.interlocks.trip import Interlock
from wakerail.bench.interlocks.unheated_rise import UnheatedRise
from wakerail.bench.interlocks.wiring import OffWhileHot, PoweredBoard, Wiring
from wakerail.heat_limits import HeatLimits, heat_limits
from wakerail_kit.kinds import HEAT_SOURCE, POWER_SOURCE, Kind


def keeper_for(
    kind: Kind,
    limits: Mapping[str, float],
    presence: Presence,
    wiring: Wiring | None = None,
    allowance: Allowance | None = None,
) -> Keeper:
    """Return the interlocks of an instrument, given the bench's limits for it by key and what else it must know."""
    guards: list[Interlock] = [SettingCeiling(kind, limits)]
    if kind is POWER_SOURCE:
        guards += [OverVoltage(limits["volts"]), WithinAllowance(allowance or Allowance())]
        if wiring is not None:
            guards.append(OffWhileHot(wiring))
    if kind is HEAT_SOURCE:
        guards.append(_plate(heat_limits(limits), presence, wiring))
    return Keeper(guards)


def _plate(limits: HeatLimits, presence: Presence, wiring: Wiring | None) -> PlateInterlock:
    guards: list[PlateGuard] = [
        OverTemperature(limits.ceiling_c),
        Silence(limits.silence_s),
        SecondSource(),
        SetpointHeld(limits.acknowledge_s),
        FastRise(limits.fastest_rise_k_per_s),
        Overshoot(limits.overshoot_k, limits.coast_s),
        NoRise(limits.rise_time_s),
        StandsStill(limits.rise_time_s),
        UnheatedRise(limits.coast_s),
        HotTime(limits.touch_c, limits.hot_time_s),
        Session(limits.touch_c, limits.session_s),
        Attended(presence),
    ]
    if wiring is not None:
        guards.append(PoweredBoard(wiring))
    cooling = Cooling(limits.ceiling_c, limits.touch_c, limits.coast_s, limits.cool_time_s)
    return PlateInterlock(guards, cooling)
