"""The course of one heat: a family's profile and what this run asked for in its place, checked before it begins."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wakerail.analysis.thermal.profile import Level, Limit, ThermalLimits
from wakerail_kit.events import HeatLimit, HeatStage
from wakerail_kit.heat_profiles import FIGURES, HeatProfile, Stage, StageKind
from wakerail_kit.units import human

#: A plate is near its set point this much longer than it is held there, on the way up and on the way down.
EDGES_S = 20.0


@dataclass(frozen=True, slots=True)
class Course:
    """What will be heated how. ``stages`` are the profile's, with this run's temperature and hold put in."""

    family: str
    profile: HeatProfile
    stages: tuple[Stage, ...]

    @classmethod
    def of(
        cls, family: str, profile: HeatProfile, temperature_c: float | None = None, hold_s: float | None = None
    ) -> Course:
        """Return the course of a profile; None leaves its own temperature or hold."""
        top_c = profile.hold.temperature_c
        stages = []
        for stage in profile.stages:
            changed = stage
            if temperature_c is not None and stage.kind is not StageKind.COOL and stage.temperature_c == top_c:
                changed = replace(changed, temperature_c=temperature_c)
            if hold_s is not None and stage.kind is StageKind.HOLD:
                changed = replace(changed, time_s=hold_s)
            stages.append(changed)
        return cls(family, profile, tuple(stages))

    def cooled_to(self, touch_c: float) -> Course:
        """Return the course with a lower touch limit, if it is lower than the profile's."""
        *heated, cool = self.stages
        cool = replace(cool, temperature_c=min(cool.temperature_c, touch_c))
        return replace(self, stages=(*heated, cool))

    @property
    def touch_c(self) -> float:
        """Below this plate and board may be touched."""
        return self.stages[-1].temperature_c

    @property
    def heated(self) -> tuple[Stage, ...]:
        """The stages with the heater on."""
        return self.stages[:-1]

    @property
    def top_c(self) -> float:
        """The plate's highest set point."""
        return max(stage.temperature_c for stage in self.heated)

    def problems(self, limit_c: float) -> list[str]:
        """Return why it must not be begun on a bench that allows a plate ``limit_c``; one line each, none if it may."""
        profile = self.profile
        hold = next(stage for stage in self.stages if stage.kind is StageKind.HOLD)
        found = [profile.refusal(hold.temperature_c)]
        lower_c = [stage.temperature_c for stage in self.heated if stage.temperature_c > hold.temperature_c]
        if lower_c and not found[0]:
            found.append(
                f"{human(hold.temperature_c, 'Cel')} is below {human(max(lower_c), 'Cel')}, where the profile is before"
            )
        if self.top_c > limit_c:
            found.append(
                f"{human(self.top_c, 'Cel')} is above this bench's limit for the plate, {human(limit_c, 'Cel')}"
            )
        allowed = profile.limits.get("hold")
        if allowed is not None and allowed.high is not None and (hold.time_s or 0.0) + EDGES_S > allowed.high:
            held, edges = human(hold.time_s or 0.0, "s"), human(EDGES_S, "s")
            longest = human(allowed.high, "s")
            found.append(f"a hold of {held}, and {edges} on its way there and back, is over the limit of {longest}")
        return [f"{self.family}, profile {profile.name!r}: {why}" for why in found if why]

    def limits(self, *, cooled_early: bool = False) -> ThermalLimits:
        """Return what the figures are held against. A person who cools early has judged for themselves that it is
        done: then nothing is too short.
        """
        profile, given = self.profile, dict(self.profile.limits)
        if cooled_early:
            given |= {
                figure: replace(given[figure], low=None) for figure in ("hold", "above-liquidus") if figure in given
            }
        by_figure = {
            figure: Limit(limit.low, limit.high, limit.source)
            for figure, limit in given.items()
            if limit.low is not None or limit.high is not None
        }
        return ThermalLimits(
            liquidus=Level(profile.alloy.liquidus_c, profile.alloy.source),
            peak_c=by_figure.get("peak"),
            overshoot_k=by_figure.get("overshoot"),
            ramp_up_k_per_s=by_figure.get("ramp-up"),
            ramp_down_k_per_s=by_figure.get("ramp-down"),
            above_liquidus_s=by_figure.get("above-liquidus"),
            hold_s=by_figure.get("hold"),
            soak_s=by_figure.get("soak"),
            soak_between_c=profile.soak_between_c,
            to_peak_s=by_figure.get("to-peak"),
            hot_s=by_figure.get("hot"),
            touch=Level(self.touch_c, profile.touch_source),
            ceiling=Level(profile.ceiling_c, f"profile {profile.name} of {self.family}"),
        )

    def stages_told(self) -> list[HeatStage]:
        """Return the stages as the event tells them."""
        return [HeatStage(kind=each.kind, temperature_c=each.temperature_c, time_s=each.time_s) for each in self.stages]

    def limits_told(self) -> list[HeatLimit]:
        """Return the limits as the event tells them."""
        return [
            HeatLimit(figure=figure, unit=FIGURES[figure], low=each.low, high=each.high, source=each.source)
            for figure, each in self.profile.limits.items()
        ]
