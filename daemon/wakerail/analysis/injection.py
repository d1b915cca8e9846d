"""A low voltage into a shorted rail: what is too much, and whether the short was there, has gone, or stays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.rails import Rail
from wakerail_kit.units import human

#: What a supply may measure above what was set: its own error and noise (common practice, no source).
_GRACE, _GRACE_V, _GRACE_A, _GRACE_W = 1.05, 0.02, 0.02, 0.02


class Beyond(NamedTuple):
    """What of a reading is more than was set or allowed, in words and numbers (``unit`` is UCUM)."""

    says: str
    value: float
    limit: float
    unit: str


@dataclass(frozen=True, slots=True)
class Injected:
    """What is to be injected: volts and the current limit. Their product is the most power that can come of it."""

    volts_v: float
    limit_a: float

    def too_much_for(self, rail: Rail) -> str:
        """Return why a rail must not get it, as in "allows ..."; empty if it may."""
        most_v = min(rail.ceiling_v, rail.nominal_v)
        if self.volts_v > most_v:
            return f"allows {human(most_v, 'V')} at most on {rail.says}, not {human(self.volts_v, 'V')}"
        if self.limit_a > rail.most_a:
            return f"allows {human(rail.most_a, 'A')} at most on {rail.says}, not {human(self.limit_a, 'A')}"
        power_w = self.volts_v * self.limit_a
        if power_w > rail.most_w:
            most_a = human(rail.most_w / self.volts_v, "A")
            return (
                f"allows {human(rail.most_w, 'W')} at most on {rail.says}, and {human(self.volts_v, 'V')} at "
                f"{human(self.limit_a, 'A')} are {human(power_w, 'W')}; take a limit of {most_a}"
            )
        return ""

    def beyond(self, voltage_v: float, current_a: float, most_w: float) -> Beyond | None:
        """Return what of a reading is more than was set or allowed; None if nothing is."""
        if voltage_v > self.volts_v * _GRACE + _GRACE_V:
            says = f"{human(voltage_v, 'V')} at the output, above the {human(self.volts_v, 'V')} that was set"
            return Beyond(says, voltage_v, self.volts_v, "V")
        if current_a > self.limit_a * _GRACE + _GRACE_A:
            says = f"{human(current_a, 'A')} at the output, above the limit of {human(self.limit_a, 'A')}"
            return Beyond(says, current_a, self.limit_a, "A")
        if (power_w := voltage_v * current_a) > most_w * _GRACE + _GRACE_W:
            says = f"{human(power_w, 'W')} at the output, above the {human(most_w, 'W')} allowed"
            return Beyond(says, power_w, most_w, "W")
        return None


@dataclass(frozen=True, slots=True)
class Flowed:
    """What flowed, in means over the time that the output was on, and the most power."""

    voltage_v: float
    current_a: float
    most_w: float
    time_s: float

    @classmethod
    def of(cls, voltage_v: Sequence[float], current_a: Sequence[float], time_s: float) -> Flowed | None:
        """Return it from samples; None without any."""
        if not voltage_v:
            return None
        powers_w = [volts * amps for volts, amps in zip(voltage_v, current_a, strict=True)]
        return cls(sum(voltage_v) / len(voltage_v), sum(current_a) / len(current_a), max(powers_w), time_s)

    def measurements(self, injected: Injected, most_w: float) -> tuple[Measurement, ...]:
        """Return it for the verdict."""
        passed = Outcome.PASSED
        return (
            Measurement(
                name="injected.voltage mean", value=self.voltage_v, unit="V", high=injected.volts_v, outcome=passed
            ),
            Measurement(
                name="injected.current mean", value=self.current_a, unit="A", high=injected.limit_a, outcome=passed
            ),
            Measurement(name="injected.power max", value=self.most_w, unit="W", high=most_w, outcome=passed),
            Measurement(name="injected.time", value=self.time_s, unit="s", outcome=passed),
        )


def is_short(rail: Rail, resistance_ohm: float | None) -> bool:
    """Tell whether a rail's resistance to ground is that of a short; None is more than the meter can show."""
    return resistance_ohm is not None and resistance_ohm < rail.short_below_ohm


def resistance(rail: Rail, when: str, resistance_ohm: float | None) -> Measurement:
    """Return a rail's resistance for the verdict."""
    return Measurement(
        name=f"{rail.name}.resistance {when}",
        value=resistance_ohm,
        unit="Ohm",
        low=rail.short_below_ohm,
        outcome=Outcome.FAILED if is_short(rail, resistance_ohm) else Outcome.PASSED,
    )


def compare(rail: Rail, before_ohm: float | None, after_ohm: float | None) -> tuple[Outcome, Finding, str]:
    """Return what became of a short, with one sentence."""
    before, after = _words(before_ohm), _words(after_ohm)
    if is_short(rail, after_ohm):
        return Outcome.FAILED, Finding.SHORT_STAYS, f"{rail.says} is still shorted: {before} before, {after} after."
    says = (
        f"The short on {rail.says} has gone: {before} before, {after} after. Something burned away or came loose; "
        "find it before the rail gets its full voltage."
    )
    return Outcome.PASSED, Finding.SHORT_CLEARED, says


def no_short(rail: Rail, before_ohm: float | None) -> tuple[Outcome, Finding, str]:
    """Return that there is nothing to find by warmth."""
    says = f"{rail.says} is not shorted: {_words(before_ohm)} to ground. Nothing was injected."
    return Outcome.PASSED, Finding.NO_SHORT, says


def _words(resistance_ohm: float | None) -> str:
    return "open" if resistance_ohm is None else human(resistance_ohm, "Ohm")
