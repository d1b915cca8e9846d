"""``usb-mode: {usb: normal, within: 30 s}``: does the device show on USB in a boot mode of its family?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wakerail.sequences.steps.action import Amount, OfFamily, StepContext, StepOutput, Word
from wakerail.sequences.steps.scope import Scope
from wakerail_kit.events import UsbAttached
from wakerail_kit.families import DeviceFamily
from wakerail_kit.hints import nearest
from wakerail_kit.kinds import USB_WATCHER
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section

_LOOK_EVERY_S = 0.1


@dataclass(frozen=True, slots=True)
class UsbMode(OfFamily):
    """The boot mode in which USB shows the device, now or within a time. Only what came during the run is known."""

    role: str
    mode: Word
    within: Amount
    verb: str = "usb-mode"
    checks: bool = True
    known_as: str = ""

    @property
    def roles(self) -> frozenset[str]:
        return frozenset({self.role})

    def words(self, values: Mapping[str, float]) -> str:
        return f"Look for the device in its {self.mode.told} mode on {self.role}, for up to {self.within.words(values)}"

    def duration_s(self, values: Mapping[str, float]) -> float | None:  # noqa: ARG002  as the protocol asks
        return None

    @property
    def needs(self) -> str:
        return f"the boot mode {self.mode.told!r}"

    def lacks(self, family: DeviceFamily, names: Mapping[str, str], values: Mapping[str, float]) -> str:  # noqa: ARG002  as the base asks
        name, modes = self.mode.value(names), [mode.name for mode in family.usb_modes]
        return "" if name in modes else f"has no boot mode {name!r}; {nearest(name, modes)}"

    async def run(self, context: StepContext) -> StepOutput:
        clock, family = context.bench.clock, context.family.name
        wanted = self.mode.value(context.names)
        watcher = context.instrument(self.role).name
        within_s = self.within.value(context.values)
        end_s = clock.monotonic_s() + within_s
        while True:
            shown = context.arrivals.attached(watcher)
            if any(one.family == family and one.mode == wanted for one in shown):
                return StepOutput(says=f"USB shows the {family} in its {wanted} mode.")
            if clock.monotonic_s() >= end_s:
                says = f"USB does not show the {family} in its {wanted} mode after {human(within_s, 's')}"
                says += _instead(shown)
                return StepOutput(Outcome.FAILED, Finding.NOT_ENUMERATED, says)
            await clock.sleep(_LOOK_EVERY_S)


def _instead(shown: list[UsbAttached]) -> str:
    told = [f"a {one.family} in its {one.mode} mode" for one in shown if one.family]
    if told:
        return f"; it shows {', '.join(told)}."
    return "; it shows a stranger." if shown else "; it shows nothing."


def read(section: Section, scope: Scope) -> UsbMode:
    """Read a usb-mode step."""
    given = section.section("usb-mode")
    role = scope.one_role(given, USB_WATCHER, ("within",), "normal")
    mode = scope.word(given, role) if role else Word("")
    return UsbMode(role, mode, scope.amount(given, "within", "s", above_zero=True))
