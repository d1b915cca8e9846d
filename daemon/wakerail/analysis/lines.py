"""Readings at the pins of a connector against the known-good ones: which line is shorted, open, low, or bridged.

A line with a junction is read in the meter's diode function, with the red lead on ground and the black one on the
pin; one with a known resistance by that. Two junctions in parallel drop about what the lower one does, so of two
bridged lines often only one reads unlike known-good; that they read alike gives them away, and a resistance between
them decides.
Lines whose known-good readings are alike cannot be told so.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from wakerail_kit.connectors import Connector, Known, Pin
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Finding, Outcome
from wakerail_kit.units import human

#: Less than this is ground: at the milliampere of a diode function, 20 ohm (common practice, no source).
SHORT_V = 0.02
SHORT_OHM = 2.0
#: Less than this between two lines is a bridge (common practice, no source).
BRIDGE_OHM = 10.0
_ALIKE_V, _ALIKE_SHARE = 0.004, 0.01


class LineState(StrEnum):
    """How a line reads."""

    GOOD = "like known-good"
    SHORTED = "shorted to ground"
    OPEN = "open"
    LOW = "low"
    HIGH = "high"
    BRIDGED = "bridged"
    UNSTEADY = "unsteady"


_FINDINGS = {  # the most telling first
    LineState.SHORTED: Finding.LINE_SHORTED,
    LineState.BRIDGED: Finding.LINES_BRIDGED,
    LineState.LOW: Finding.LINE_LOW,
    LineState.OPEN: Finding.LINE_OPEN,
    LineState.HIGH: Finding.LINE_HIGH,
}


def function_of(pin: Pin) -> str:
    """Return the meter's function by which a pin is read."""
    return "resistance" if pin.known is Known.OHMS else "diode"


@dataclass(frozen=True, slots=True)
class Line:
    """A pin and its reading: ``value`` in volts or ohms by the pin's function, None for an overload.

    ``steady`` is False where the reading never came to rest. ``bridged_to`` is the line that it is joined to.
    """

    pin: Pin
    value: float | None
    steady: bool = True
    bridged_to: str = ""

    @property
    def unit(self) -> str:
        return "Ohm" if self.pin.known is Known.OHMS else "V"

    @property
    def state(self) -> LineState:
        """How it reads."""
        if self.bridged_to:
            return LineState.BRIDGED
        if not self.steady:
            return LineState.UNSTEADY
        if self.value is None:
            return LineState.GOOD if self.pin.known is Known.OPEN else LineState.OPEN
        return self._state_of(self.value)

    def _state_of(self, value: float) -> LineState:
        shorted = value < (SHORT_OHM if self.unit == "Ohm" else SHORT_V)
        if self.pin.known is Known.GROUND:
            return LineState.GOOD if shorted else LineState.HIGH
        if shorted and not self.pin.low <= value <= self.pin.high:
            return LineState.SHORTED
        if self.pin.known is Known.OPEN or value < self.pin.low:
            return LineState.LOW
        return LineState.HIGH if value > self.pin.high else LineState.GOOD

    def read(self) -> str:
        """Return how it read, to be told at once: "data-0 reads 451 mV, like known-good."."""
        reads = "nothing" if self.value is None else human(self.value, self.unit)
        return f"{self.pin.line} reads {reads}, {self.state}."

    def words(self) -> str:
        """Return what is wrong with it, with what it should be."""
        named = f"{self.pin.line} (pin {self.pin.name})"
        if self.state is LineState.BRIDGED:
            return f"{named} is bridged to {self.bridged_to}"
        if self.state is LineState.UNSTEADY:
            return f"{named} gave no steady reading"
        reads = "nothing" if self.value is None else human(self.value, self.unit)
        if self.pin.known is Known.GROUND:
            return f"{named} should be ground and reads {reads}"
        if self.pin.known is Known.OPEN:
            return f"{named} should be open and reads {reads}"
        known = human(self.pin.value, self.unit)
        seen = "" if self.state is LineState.OPEN else f", {reads}"
        return f"{named} is {self.state}{seen} where {known} is known-good"

    def measurement(self, connector: Connector) -> Measurement:
        """Return it for the verdict."""
        state, known = self.state, self.pin.known
        low = self.pin.low if known in {Known.VOLTS, Known.OHMS} else None
        high = self.pin.high if low is not None else SHORT_V if known is Known.GROUND else None
        outcome = Outcome.PASSED if state is LineState.GOOD else Outcome.FAILED
        return Measurement(
            name=f"{connector.name}.{self.pin.name} {self.pin.line}",
            value=self.value,
            unit=self.unit,
            low=low,
            high=high,
            source=connector.source,
            outcome=Outcome.INCONCLUSIVE if state is LineState.UNSTEADY else outcome,
        )


def bridge_suspects(lines: Sequence[Line]) -> list[tuple[Line, Line]]:
    """Return the pairs of lines that read alike though they should not, one of them at least unlike known-good.

    Shorted, open and unsteady lines are no suspects: what they share is ground, air or a bad contact.
    """
    possible = {LineState.GOOD, LineState.LOW, LineState.HIGH}
    fit = [line for line in lines if line.value is not None and line.state in possible]
    return [
        (one, other)
        for one, other in itertools.combinations(fit, 2)
        if function_of(one.pin) == function_of(other.pin) == "diode"
        and Known.GROUND not in {one.pin.known, other.pin.known}
        and {one.state, other.state} != {LineState.GOOD}
        and _alike(one.value, other.value)
        and not _alike(one.pin.value, other.pin.value)
    ]


def _alike(one_v: float | None, other_v: float | None) -> bool:
    if one_v is None or other_v is None:
        return False
    return abs(one_v - other_v) <= max(_ALIKE_V, _ALIKE_SHARE * max(one_v, other_v))


def bridged(lines: Sequence[Line], pair: tuple[Line, Line]) -> list[Line]:
    """Return the lines with a pair marked as bridged to each other."""
    one, other = (line.pin for line in pair)
    joined = {one.name: other.line, other.name: one.line}
    return [replace(line, bridged_to=joined.get(line.pin.name, line.bridged_to)) for line in lines]


@dataclass(frozen=True, slots=True)
class Survey:
    """What a survey concludes."""

    outcome: Outcome
    finding: Finding
    says: str


def conclude(connector: Connector, lines: Sequence[Line]) -> Survey:
    """Return what the readings of a connector's lines come to. What is unsteady is no finding about the board."""
    bad = [line for line in lines if line.state not in {LineState.GOOD, LineState.UNSTEADY}]
    unsteady = [line for line in lines if line.state is LineState.UNSTEADY]
    told = "; ".join(line.words() for line in [*bad, *unsteady])
    if not bad and unsteady:
        says = f"{connector.says}: {told}. Scratch the pin clean, hold the probe still, and survey it again."
        return Survey(Outcome.INCONCLUSIVE, Finding.TOO_LITTLE_DATA, says)
    if not bad:
        return Survey(
            Outcome.PASSED, Finding.LINES_GOOD, f"All {len(lines)} lines of {connector.says} read like known-good."
        )
    states = {line.state for line in bad}
    finding = next(finding for state, finding in _FINDINGS.items() if state in states)
    return Survey(Outcome.FAILED, finding, f"{len(bad)} of {len(lines)} lines of {connector.says}: {told}.")
