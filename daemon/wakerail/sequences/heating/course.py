"""The course of one heat: a family's profile and what this run asked for in its place, checked before it begins."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wakerail_kit.events import HeatLimit, HeatStage, HeatStarted
from wakerail_kit.heat_profiles import FIGURES, HeatProfile, Limit, Stage, StageKind
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

    def told(self, *, run: str, instrument: str, at_s: float, present_left_s: float) -> HeatStarted:
        """Return the event that tells of its beginning, with all that it will be judged by."""
        profile = self.profile
        return HeatStarted(
            run=run,
            instrument=instrument,
            at_s=at_s,
            family=self.family,
            profile=profile.name,
            alloy=profile.alloy.name,
            liquidus_c=profile.alloy.liquidus_c,
            liquidus_source=profile.alloy.source,
            ceiling_c=profile.ceiling_c,
            touch_c=self.touch_c,
            touch_source=profile.touch_source,
            present_left_s=present_left_s,
            stages=[
                HeatStage(kind=one.kind, temperature_c=one.temperature_c, time_s=one.time_s) for one in self.stages
            ],
            limits=[_told(figure, limit, profile.soak_between_c) for figure, limit in profile.limits.items()],
        )


def _told(figure: str, limit: Limit, soak_between_c: tuple[float, float] | None) -> HeatLimit:
    from_c, to_c = soak_between_c if figure == "soak" and soak_between_c is not None else (None, None)
    return HeatLimit(
        figure=figure,
        unit=FIGURES[figure],
        low=limit.low,
        high=limit.high,
        source=limit.source,
        from_c=from_c,
        to_c=to_c,
    )
