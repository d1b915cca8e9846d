"""``heat: {plate: separate, temperature: $temperature, hold: $hold, meanwhile: ...}``: heat by a family's profile.

From the first set point to the moment when plate and board may be touched it is one step, so that no run can end
well with the plate still hot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.heating.course import Course
from wakerail.sequences.steps.action import Amount, StepContext, StepOutput
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.families import DeviceFamily
from wakerail_kit.kinds import HEAT_SOURCE
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section


@dataclass(frozen=True, slots=True)
class Heat:
    """Heating by a profile. ``temperature`` and ``hold`` stand in for the profile's own where they are given."""

    role: str
    profile: str
    temperature: Amount | None
    hold: Amount | None
    meanwhile: str
    verb: str = "heat"
    checks: bool = True
    energises: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:
        given_c = _given(self.temperature, values)
        to = "" if given_c is None else f" to {human(given_c, 'Cel')}"
        return f"Heat the {self.role}{to} by the profile {self.profile!r}, then cool down"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002  as the protocol asks
        return None

    def course(self, family: DeviceFamily, values: Mapping[str, float]) -> Course:
        """Return what would be done for a family."""
        profile = family.profiles[self.profile]
        return Course.of(family.name, profile, _given(self.temperature, values), _given(self.hold, values))

    def problems(self, family: DeviceFamily, values: Mapping[str, float], limit_c: float) -> list[str]:
        """Return why a family must not be heated so on a bench that allows a plate ``limit_c``."""
        return self.course(family, values).problems(limit_c)

    async def require_cool(self, context: StepContext) -> None:
        """Raise RunEnded if the plate is still hot when the run begins: the prompts ask for hands on it."""
        from wakerail.sequences.heating.cold_start import require_cool  # noqa: PLC0415  as below

        plate = context.instrument(self.role)
        await require_cool(context, plate, self._course_on(plate, context).touch_c)

    async def run(self, context: StepContext) -> StepOutput:
        # what the model computes with is slow to load, and most runs heat nothing
        from wakerail.sequences.heating.heating import Heating  # noqa: PLC0415

        plate = context.instrument(self.role)
        heating = Heating(context, plate, self._course_on(plate, context), self.meanwhile)
        context.heat = heating
        return await heating.run()

    def _course_on(self, plate: InstrumentAccess, context: StepContext) -> Course:
        """Return the course on a plate, whose bench may be more careful about touching than the profile."""
        course = self.course(context.family, context.values)
        touch_c = plate.limits.get("touch")
        return course if touch_c is None else course.cooled_to(touch_c)


def _given(amount: Amount | None, values: Mapping[str, float]) -> float | None:
    """Return an amount's value; None where there is none, or where its input was left out."""
    if amount is None or (amount.of and amount.of not in values):
        return None
    return amount.value(values)


def read(section: Section, scope: Scope) -> Heat:
    """Read a heat step."""
    given = section.section("heat")
    known = ("temperature", "hold", "meanwhile")
    named = [key for key in given if key not in known]
    plates = [role for role, kind in scope.roles.items() if kind is HEAT_SOURCE]
    role = next((key for key in named if key in scope.roles), "")
    profile = ""
    if role:
        profile = given.name(role)
        kind = scope.roles[role]
        if kind is not None and kind is not HEAT_SOURCE:
            given.note(role, f"is no heat-source and cannot heat; name one that is, like {_example(plates)!r}")
    else:
        given.note_here(f"names no plate; write the role and the profile, like '{{{_example(plates)}: separate}}'")
        given.leave_open()
    return Heat(
        role=role,
        profile=profile,
        temperature=_optional(scope, given, "temperature", "Cel"),
        hold=_optional(scope, given, "hold", "s"),
        meanwhile=" ".join(given.text("meanwhile", default="").split()),
    )


def _example(plates: list[str]) -> str:
    return plates[0] if plates else "plate"


def _optional(scope: Scope, section: Section, key: str, unit: str) -> Amount | None:
    if key in section:
        return scope.amount(section, key, unit, above_zero=True, may_lack=True)
    section.raw(key, None)
    return None
