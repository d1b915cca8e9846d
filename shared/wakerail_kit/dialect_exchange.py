"""The parts of a dialect: the link, an exchange (a text to send and the answer due to it), and a kind's vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from wakerail_kit.dialect_wording import FLAG, TEXT, Wording


@dataclass(frozen=True, slots=True)
class Link:
    """How the bytes travel: terminators, serial parameters, echo, and the rest after each command."""

    write_end: str = "\n"
    read_end: str = "\n"
    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    stop_bits: int = 1
    flow: str = "none"
    delay_s: float = 0.0
    echo: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """An IEEE 488.2 8.7.9 definite-length block of floating-point samples of one signal.

    ``code`` says of one sample how :mod:`struct` reads it.
    """

    signal: str
    code: str


@dataclass(frozen=True, slots=True)
class Exchange:
    """One text to send and the answer due to it: ``answer`` lines after any number of ``each`` lines, or a block."""

    send: Wording
    answer: tuple[Wording, ...] = ()
    each: Wording | None = None
    block: Block | None = None
    length: int | None = None
    every_s: float = 0.0

    @property
    def gives(self) -> frozenset[str]:
        """Return the names of the values in the answer."""
        names = {name for wording in self.answer for name in wording.fields if name != "_"}
        return frozenset(names | ({self.block.signal} if self.block else set()))

    def bind(self, variables: Mapping[str, str]) -> Exchange:
        """Return the exchange with the dialect's variables put in."""
        return replace(
            self,
            send=self.send.bind(variables),
            answer=tuple(wording.bind(variables) for wording in self.answer),
            each=self.each.bind(variables) if self.each else None,
        )


Exchanges = tuple[Exchange, ...]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What a dialect of one kind can speak of.

    ``commands`` maps each command to the quantity in it, or None; those in ``needed`` every dialect must have.
    ``quantities`` maps every signal and set value to its UCUM unit, ``flag`` or ``text``; the reads must give those in
    ``signals``, may give those in ``extra_signals``. Those in ``measured`` are no settings even where one has the same
    name: a supply's voltage is measured by its reads and set, and read back, as something else. ``parts`` are what
    not every kind has a use for, and this one has: ``block`` is part of an exchange, the others of the whole file.
    """

    commands: Mapping[str, str | None]
    needed: frozenset[str]
    quantities: Mapping[str, str]
    signals: frozenset[str] = frozenset()
    extra_signals: frozenset[str] = frozenset()
    measured: frozenset[str] = frozenset()
    parts: frozenset[str] = frozenset()
    gives: Mapping[str, str | None] = field(default_factory=dict)


VOCABULARIES: dict[str, Vocabulary] = {
    "power-source": Vocabulary(
        commands={
            "set_voltage": "voltage",
            "set_current_limit": "current",
            "set_over_voltage": "over_voltage",
            "set_over_current": "over_current",
            "output_on": None,
            "output_off": None,
        },
        needed=frozenset({"set_voltage", "set_current_limit", "output_on", "output_off"}),
        quantities={
            "voltage": "V",
            "current": "A",
            "over_voltage": "V",
            "over_current": "A",
            "limiting": FLAG,
            "limited": FLAG,
            "output": FLAG,
        },
        signals=frozenset({"voltage", "current"}),
        extra_signals=frozenset({"limiting", "limited", "output"}),
        measured=frozenset({"voltage", "current"}),
        parts=frozenset({"reads", "readback", "errors", "spacing", "block"}),
    ),
    "heat-source": Vocabulary(
        commands={"set_temperature": "setpoint", "heater_on": None, "heater_off": None},
        needed=frozenset({"set_temperature", "heater_on", "heater_off"}),
        quantities={"temperature": "Cel", "setpoint": "Cel", "heater": FLAG},
        signals=frozenset({"temperature", "setpoint", "heater"}),
        measured=frozenset({"temperature"}),
        parts=frozenset({"reads", "readback"}),
    ),
    "port-tester": Vocabulary(
        commands={"test_port": None},
        needed=frozenset({"test_port"}),
        quantities={"line": TEXT, "passed": FLAG, "voltage": "V", "resistance": "Ohm", "says": TEXT},
        parts=frozenset({"lines"}),
        gives={"test_port": None},
    ),
    "multimeter": Vocabulary(
        commands={"measure_voltage": None, "measure_resistance": None, "measure_diode": None},
        needed=frozenset({"measure_voltage", "measure_resistance"}),
        quantities={"voltage": "V", "resistance": "Ohm"},
        parts=frozenset({"errors"}),
        gives={"measure_voltage": "voltage", "measure_resistance": "resistance", "measure_diode": "voltage"},
    ),
}
