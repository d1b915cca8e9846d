"""Heat profiles: how the boards of a device family are heated, as data in the family's file.

profiles:
  - profile: separate
    says: ...
    alloy: SAC305                          of config/alloys.yaml
    ceiling: 245 degC                      the plate is never set above it
    board-capacity: 12 J/K                 heat capacity of what lies on the plate
    stages:                                in their order
      - {ramp: 170 degC, within: 4 min}    up to a temperature; not there by then: the plate is too slow
      - {soak: 60 s}                       stay there
      - {ramp: 230 degC, within: 6 min}
      - {hold: 2 min}                      the solder is liquid; counted down
      - {cool: 48 degC}                    heater off, wait until it may be touched
    limits:                                what the figures of a run are judged by
      ramp: {max: 3 K/s, source: ...}
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from wakerail_kit.alloys import Alloy
from wakerail_kit.hints import nearest
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section

#: No profile may let a plate be touched above this: metal touched for up to 10 s (IEC 62368-1, Table 38, and
#: ASTM C1055; both from memory).
HIGHEST_TOUCH_C = 60.0
#: Longer than this a stage is a slip of the pen (common practice, no source).
LONGEST_STAGE_S = 1800.0


class StageKind(StrEnum):
    """What a stage does."""

    RAMP = "ramp"
    SOAK = "soak"
    HOLD = "hold"
    COOL = "cool"


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage. ``temperature_c`` is where it leads to or stays.

    ``time_s`` is how long a soak or hold lasts, and what a ramp may take at most; None for a cool-down, which lasts
    until it is cool.
    """

    kind: StageKind
    temperature_c: float
    time_s: float | None


@dataclass(frozen=True, slots=True)
class Limit:
    """What a figure must keep to, in the figure's unit, and who says so."""

    low: float | None
    high: float | None
    source: str


Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class BoardOnPlate:
    """What lies on the plate, each between a lowest and a highest value, and who says so."""

    capacity_j_per_k: Range
    contact_w_per_k: Range
    loss_w_per_k: Range
    source: str


#: The figures that a profile may limit, with their units.
FIGURES: Mapping[str, str] = {
    "ramp-up": "K/s",
    "soak": "s",
    "to-peak": "s",
    "peak": "Cel",
    "overshoot": "K",
    "hold": "s",
    "above-liquidus": "s",
    "ramp-down": "K/s",
    "hot": "s",
}


@dataclass(frozen=True, slots=True)
class HeatProfile:
    """How to heat the boards of a family for one purpose. ``limits`` are by figure.

    A soak is timed on the way up between the two temperatures of ``soak_between_c``; None if it is not limited.
    ``touch_source`` is who says that what is cooled down may be touched. ``board`` is what lies on the plate, None if
    nobody stated it: then nothing is said of its temperature.
    """

    name: str
    says: str
    alloy: Alloy
    ceiling_c: float
    board: BoardOnPlate | None
    stages: tuple[Stage, ...]
    touch_source: str
    limits: Mapping[str, Limit]
    soak_between_c: Range | None

    @property
    def hold(self) -> Stage:
        """The stage in which the solder is liquid."""
        return next(stage for stage in self.stages if stage.kind is StageKind.HOLD)

    @property
    def touch_c(self) -> float:
        """Below this plate and board may be touched."""
        return self.stages[-1].temperature_c

    def refusal(self, temperature_c: float) -> str:
        """Return why a plate must not be held at a temperature with this profile; empty if it may."""
        setpoint, alloy = human(temperature_c, "Cel"), self.alloy
        if temperature_c < alloy.liquidus_c:
            return f"{setpoint} cannot melt {alloy.name}: its liquidus is {human(alloy.liquidus_c, 'Cel')}"
        if temperature_c > self.ceiling_c:
            return f"{setpoint} is above the ceiling of profile {self.name!r}, {human(self.ceiling_c, 'Cel')}"
        return ""


def read_profiles(top: Section, alloys: Mapping[str, Alloy]) -> dict[str, HeatProfile]:
    """Read the profiles of a family, by name, noting every mistake at its line."""
    profiles: dict[str, HeatProfile] = {}
    for section in top.sections("profiles", default=()):
        name = section.name("profile")
        if name in profiles:
            section.note("profile", f"{name!r} is there twice; give each profile a name of its own")
        profiles[name] = _profile(name, section, alloys)
    return profiles


def _profile(name: str, section: Section, alloys: Mapping[str, Alloy]) -> HeatProfile:
    says = section.text("says", default="")
    known_as = section.text("alloy")
    if "alloy" in section and known_as not in alloys:
        section.note("alloy", f"{known_as!r} is not in alloys.yaml; {nearest(known_as, alloys)}")
    alloy = alloys.get(known_as, Alloy(known_as, "", 0.0, 0.0, ""))
    ceiling_c = section.quantity("ceiling", "Cel", low=0.0)
    board = _board(section.section("board")) if "board" in section else section.raw("board", None)
    given = section.sections("stages")
    stages = _stages(given)
    touch_source = _source(given[-1]) if stages and stages[-1].kind is StageKind.COOL else ""
    limits, soak = _limits(section.section("limits", default=None))
    profile = HeatProfile(name, says, alloy, ceiling_c, board, tuple(stages), touch_source, limits, soak)
    if "stages" in section and all(any(kind in entry for kind in StageKind) for entry in given):
        _check_order(section, stages)
    for entry, stage in zip(given, stages, strict=True):
        if stage.kind is StageKind.RAMP and "ceiling" in section and stage.temperature_c > ceiling_c:
            entry.note("ramp", f"{profile.refusal(stage.temperature_c)}")
        if stage.kind is StageKind.HOLD and stage.temperature_c < alloy.liquidus_c:
            entry.note("hold", profile.refusal(stage.temperature_c) + "; ramp higher before it")
    return profile


def _board(section: Section) -> BoardOnPlate:
    return BoardOnPlate(
        capacity_j_per_k=_range(section.section("capacity"), "J/K"),
        contact_w_per_k=_range(section.section("contact"), "W/K"),
        loss_w_per_k=_range(section.section("loss"), "W/K"),
        source=_source(section),
    )


def _range(section: Section, unit: str) -> Range:
    low, high = section.quantity("min", unit), section.quantity("max", unit)
    if low <= 0 and "min" in section:
        section.note("min", "must be above zero")
    if low > high and "max" in section:
        section.note("min", f"{human(low, unit)} is above max, {human(high, unit)}")
    return low, high


def _stages(given: list[Section]) -> list[Stage]:
    """Read the stages; a soak or hold stays at the temperature of the ramp before it."""
    stages: list[Stage] = []
    at_c = 0.0
    for entry in given:
        kind = next((each for each in StageKind if each in entry), None)
        match kind:
            case StageKind.RAMP:
                to_c = entry.quantity("ramp", "Cel")
                if stages and to_c <= at_c and to_c:
                    entry.note("ramp", f"goes down from {human(at_c, 'Cel')}; a ramp heats, only the last stage cools")
                at_c = to_c
                stages.append(Stage(kind, at_c, entry.quantity("within", "s", low=1.0, high=LONGEST_STAGE_S)))
            case StageKind.SOAK | StageKind.HOLD:
                stages.append(Stage(kind, at_c, entry.quantity(kind, "s", low=1.0, high=LONGEST_STAGE_S)))
            case StageKind.COOL:
                stages.append(Stage(kind, entry.quantity("cool", "Cel", low=0.0, high=HIGHEST_TOUCH_C), None))
            case None:
                entry.leave_open()
                entry.note_here(f"is no stage; it has one of {', '.join(StageKind)}, like '{{hold: 2 min}}'")
                stages.append(Stage(StageKind.SOAK, at_c, 1.0))
    return stages


def _check_order(section: Section, stages: list[Stage]) -> None:
    kinds = [stage.kind for stage in stages]
    if kinds[:1] != [StageKind.RAMP]:
        section.note("stages", "must begin with a ramp, like '{ramp: 230 degC, within: 6 min}'")
    if kinds[-2:] != [StageKind.HOLD, StageKind.COOL] or kinds.count(StageKind.COOL) + kinds.count(StageKind.HOLD) > 2:
        section.note("stages", "must end with one hold and one cool, like '{hold: 2 min}' and '{cool: 48 degC}'")


def _limits(section: Section) -> tuple[dict[str, Limit], Range | None]:
    """Read the limits by figure, and between which temperatures a soak is timed."""
    limits: dict[str, Limit] = {}
    soak_c: Range | None = None
    for figure, unit in FIGURES.items():
        if figure not in section:
            section.raw(figure, None)  # so that it is among the keys that are known here
            continue
        given = section.section(figure)
        low, high = given.optional_quantity("min", unit), given.optional_quantity("max", unit)
        if low is None and high is None:
            given.note_here("limits nothing; give min, max or both")
        if low is not None and high is not None and low > high:
            given.note("min", f"{human(low, unit)} is above max, {human(high, unit)}")
        limits[figure] = Limit(low, high, _source(given))
        if figure == "soak":
            soak_c = _soak_between(given)
    return limits, soak_c


def _soak_between(given: Section) -> Range:
    low_c, high_c = given.quantity("from", "Cel", low=0.0), given.quantity("to", "Cel", low=0.0)
    if high_c <= low_c and "from" in given and "to" in given:
        given.note("to", f"is not above 'from', {human(low_c, 'Cel')}")
    return low_c, high_c


def _source(section: Section) -> str:
    source = section.text("source")
    if "source" in section and not source.strip():
        section.note("source", "is empty; say where it comes from, or 'common practice, no source'")
    return source
