"""All interlocks of a heating plate together: the sensor first, since the others see only what it believes."""

from __future__ import annotations

from collections.abc import Sequence

from wakerail.analysis.thermal.sensor import Doubt
from wakerail.bench.interlocks.cooling import Cooling
from wakerail.bench.interlocks.plate_state import PlateGuard, PlateState
from wakerail.bench.interlocks.sensor import Sensor, trip_on
from wakerail.bench.interlocks.silence import lost_link
from wakerail.bench.interlocks.trip import Interlock, Samples, Trip


class PlateInterlock(Interlock):
    """Asks a plate's guards sample by sample. After a trip it only watches whether the plate gets cooler."""

    def __init__(self, guards: Sequence[PlateGuard], cooling: Cooling) -> None:
        self._guards = tuple(guards)
        self._cooling = cooling
        self._sensor = Sensor()
        self._wanted_heater: bool | None = None  # until it has been made safe
        self._wanted_c: float | None = None
        self._wanted_s = float("-inf")
        self._off_s = float("-inf")
        self._heater: bool | None = None

    def refusal(self, setting: str, value: float | bool, now_s: float) -> str | None:
        if setting != "heater" or not value:
            return None
        refusals = (guard.refusal(now_s) for guard in self._guards)
        return next((why for why in refusals if why), None) or self._sensor.refusal()

    def commanded(self, setting: str, value: float | bool | None, now_s: float) -> None:
        self._wanted_s = now_s
        if setting == "temperature":
            self._wanted_c = None if value is None else float(value)
        if setting == "heater":
            if value is not None and not value and self._wanted_heater is not False:
                self._off_s = now_s
            self._wanted_heater = None if value is None else bool(value)
            self._heater = None  # what it said before was before the command

    def judge(self, samples: Samples) -> Trip | None:
        found = [self._judge_one(samples, index) for index in range(len(samples.t_s))]
        return next((trip for trip in found if trip is not None), None)

    def check(self, now_s: float) -> Trip | None:
        if self._cooling.watching:
            return None
        heating = self._heating()
        found = [guard.check(now_s, heating=heating) for guard in self._guards]
        return next((trip for trip in found if trip is not None), None)

    def lost(self, now_s: float, why: str) -> Trip | None:  # noqa: ARG002
        heating, self._heater, self._wanted_c = self._heating(), None, None
        return lost_link(why) if heating and not self._cooling.watching else None

    def tripped(self, now_s: float) -> None:
        self._cooling.begin(now_s, self._sensor.believed_c)

    def reset(self, now_s: float) -> None:  # noqa: ARG002
        self._cooling.end()
        self._sensor.reset()
        for guard in self._guards:
            guard.reset()

    def _heating(self) -> bool:
        return self._wanted_heater is not False or bool(self._heater)

    def _judge_one(self, samples: Samples, index: int) -> Trip | None:
        t_s = samples.t_s[index]
        shown_c, heater = _at(samples, "temperature", index), _at(samples, "heater", index)
        self._heater = None if heater is None else bool(heater)
        doubts = self._sensor.doubts(t_s, shown_c, heating=self._heating())
        state = PlateState(
            t_s=t_s,
            temperature_c=self._sensor.believed_c,
            shown_c=None if doubts else shown_c,
            setpoint_c=_at(samples, "setpoint", index),
            heater=self._heater,
            wanted_heater=self._wanted_heater,
            wanted_c=self._wanted_c,
            wanted_s=self._wanted_s,
            off_s=self._off_s,
        )
        found = [*self._on_doubts(doubts), *(guard.judge(state) for guard in self._guards)]
        if self._cooling.watching:
            return self._cooling.judge(t_s, state.temperature_c)
        return next((trip for trip in found if trip is not None), None)

    def _on_doubts(self, doubts: list[Doubt]) -> list[Trip]:
        return [trip_on(doubt) for doubt in doubts] if self._heating() else []


def _at(samples: Samples, signal: str, index: int) -> float | None:
    values = samples.signals.get(signal, ())
    return values[index] if index < len(values) else None
