"""The faults that a simulated bench can have, and how a person writes them: ``restart-at-stage:kernel``.

A supply limit that is too low is not among them: it is the person's setting, and what follows (constant current,
sagging voltage, brown-out) arises by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.topics import NAME
from wakerail_kit.units import UnitInvalid, human, parse_quantity

BOOT_STAGES = ("rom", "loader", "kernel", "system", "running")


class Where(Enum):
    """Which part of the world a fault belongs to."""

    LOAD = "the device's draw and boot"
    PORT = "the charge port"
    SUPPLY = "the supply"
    PLATE = "the heating plate"
    BOARD = "the lines of the board"
    METER = "the multimeter"


class Takes(Enum):
    """What a fault's argument names, where it is not an amount."""

    STAGE = "a stage"
    PART = "a part"
    LINE = "a pin"
    LINES = "two pins"


@dataclass(frozen=True, slots=True)
class FaultSort:
    """A sort of fault: what it does, and its argument (an amount in UCUM ``unit``, a stage, a part, or none).

    An amount without a ``default`` must be given; ``low`` and ``high`` bound it.
    """

    says: str
    where: Where
    takes: Takes | str | None = None
    default: float | None = None
    low: float = 0.0
    high: float = float("inf")
    example: str = ""


FAULTS: dict[str, FaultSort] = {
    "dead-short": FaultSort("the battery rail is shorted", Where.LOAD, "Ohm", 0.05, 0.001, 100.0, "0.05Ohm"),
    "short-clears-at": FaultSort(
        "the dead short burns away once that much has flowed for a second",
        Where.LOAD,
        "A",
        low=0.01,
        high=6.0,
        example="800mA",
    ),
    "standing-draw": FaultSort(
        "draws before the button is pressed", Where.LOAD, "A", low=1e-6, high=6.0, example="40mA"
    ),
    "bridged-layers": FaultSort("solder bridges between stacked boards draw current and heat parts", Where.LOAD),
    "corroded-joint": FaultSort(
        "corrosion between stacked boards makes it restart in kernel, until they are separated, cleaned and rejoined",
        Where.LOAD,
    ),
    "no-draw": FaultSort("the power button does nothing", Where.LOAD),
    "restart-at-stage": FaultSort("restarts half-way through a stage", Where.LOAD, Takes.STAGE, example=BOOT_STAGES[2]),
    "stalls-at-stage": FaultSort(
        "stays in a stage and goes no further", Where.LOAD, Takes.STAGE, example=BOOT_STAGES[1]
    ),
    "watchdog-restart": FaultSort(
        "restarts that long after its boot began", Where.LOAD, "s", 180.0, 1.0, 86400.0, "180s"
    ),
    "part-restart": FaultSort(
        "restarts in system until that part is unplugged", Where.LOAD, Takes.PART, example="scanner"
    ),
    "missing-part-restart": FaultSort(
        "restarts three minutes after its boot began, for want of that part while it is unplugged",
        Where.LOAD,
        Takes.PART,
        example="front-sensor",
    ),
    "intermittent-restart": FaultSort(
        "each boot restarts with that probability", Where.LOAD, "1", 0.3, 0.0, 1.0, "0.3"
    ),
    "sleep-wake": FaultSort("sleeps and wakes while running: looks like a restart and is none", Where.LOAD),
    "dirty-port": FaultSort("CC1 leaks, D- is open and USB does not enumerate, until cleaned", Where.PORT),
    "charges-with": FaultSort(
        "the device takes that much from its charger", Where.PORT, "A", low=0.0, high=6.0, example="0A"
    ),
    "enumeration-failures": FaultSort("USB never enumerates", Where.PORT),
    "line-shorted": FaultSort("the line at that pin is shorted", Where.BOARD, Takes.LINE, example="display.3"),
    "line-open": FaultSort("the line at that pin is broken off", Where.BOARD, Takes.LINE, example="display.3"),
    "line-leaks": FaultSort("the line at that pin leaks to ground", Where.BOARD, Takes.LINE, example="display.3"),
    "lines-bridged": FaultSort(
        "the lines at two pins are bridged", Where.BOARD, Takes.LINES, example="display.3+display.6"
    ),
    "cell-connected": FaultSort("the cell was left connected: the board has power", Where.BOARD),
    "meter-lead-open": FaultSort("a lead of the multimeter is broken", Where.METER),
    "meter-hangs-after": FaultSort(
        "the multimeter stops answering", Where.METER, "s", low=0.0, high=86400.0, example="10s"
    ),
    "meter-gone-after": FaultSort(
        "the multimeter's link is pulled", Where.METER, "s", low=0.0, high=86400.0, example="10s"
    ),
    "meter-garbles": FaultSort(
        "that share of the multimeter's answers is garbled", Where.METER, "1", 0.2, 0.0, 1.0, "1"
    ),
    "supply-hangs-after": FaultSort(
        "the supply stops answering", Where.SUPPLY, "s", low=0.0, high=86400.0, example="10s"
    ),
    "supply-gone-after": FaultSort(
        "the supply's link is pulled", Where.SUPPLY, "s", low=0.0, high=86400.0, example="10s"
    ),
    "supply-garbles": FaultSort("that share of the supply's answers is garbled", Where.SUPPLY, "1", 0.2, 0.0, 1.0, "1"),
    "supply-slow": FaultSort("the supply takes that long to answer", Where.SUPPLY, "s", 0.3, 0.0, 60.0, "300ms"),
    **{
        f"plate-{fault}-after": FaultSort(says, Where.PLATE, "s", low=0.0, high=86400.0, example="5s")
        for fault, says in {
            "sensor-open": "the plate's sensor breaks",
            "sensor-off": "the plate's sensor comes off the plate",
            "sensor-stuck": "the plate's sensor goes on showing one value",
            "sensor-jumps": "the plate's sensor jumps by 25 K every second",
            "sensor-false": "the plate's sensor reads 0 once",
            "sensor-clears-early": "the plate's sensor breaks for a second and comes back before its value is right",
            "relay-stuck": "the plate's relay sticks: it heats whatever it is told, until its plug is pulled",
            "runs-away": "the plate heats with three times its power as long as its heater is on",
            "setpoint-drifts": "the plate's set point drifts upwards",
            "other-hand": "somebody sets the plate to 300 degC and switches its heater on",
            "hangs": "the plate stops answering",
            "gone": "the plate's link is pulled",
        }.items()
    },
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a bench. ``amount`` is in the unit of its sort; ``name`` is its stage, part or pin, or empty."""

    sort: str
    amount: float | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class FaultList:
    """All faults of a bench, asked by sort."""

    faults: tuple[Fault, ...] = field(default=())

    def __contains__(self, sort: str) -> bool:
        return any(fault.sort == sort for fault in self.faults)

    def amount(self, sort: str) -> float | None:
        """Return the amount of the first fault of a sort, or None without one."""
        return next((fault.amount for fault in self.faults if fault.sort == sort), None)

    def names(self, sort: str) -> frozenset[str]:
        """Return the stages, parts or pins that faults of a sort name."""
        return frozenset(fault.name for fault in self.faults if fault.sort == sort)

    def of(self, where: Where) -> Iterator[Fault]:
        """Return the faults that belong to one part of the world."""
        return (fault for fault in self.faults if FAULTS[fault.sort].where is where)


def parse_fault(text: str) -> Fault:
    """Read one fault, ``sort`` or ``sort:argument``. Raises ConfigInvalid with one line saying what would be right."""
    name, colon, argument = text.strip().partition(":")
    sort = FAULTS.get(name)
    if sort is None:
        raise ConfigInvalid(f"fault {name!r} is not known; {nearest(name, FAULTS, 'known: ')}")
    argument = argument.strip()
    if sort.takes is None:
        if colon:
            raise ConfigInvalid(f"fault {text!r}: {name} takes nothing after it; write it like '{name}'")
        return Fault(name)
    if not argument:
        if sort.default is None or colon:
            raise ConfigInvalid(f"fault {text!r}: {_wants(name, sort)}")
        return Fault(name, amount=sort.default)
    if isinstance(sort.takes, Takes):
        if wrong := _wrong_name(argument, name, sort):
            raise ConfigInvalid(f"fault {text!r}: {wrong}")
        return Fault(name, name=argument)
    return Fault(name, amount=_amount(text, argument, sort))


def _wrong_name(argument: str, name: str, sort: FaultSort) -> str:
    """Return what is wrong with the stage, part or pins that a fault names; empty if nothing is."""
    if sort.takes is Takes.STAGE and argument not in BOOT_STAGES:
        return f"{argument!r} is no stage; {nearest(argument, BOOT_STAGES, 'known: ')}"
    if sort.takes is Takes.PART and not NAME.match(argument):
        return f"{argument!r} is no part's name; use lower-case letters, digits, '-' and '_'"
    if sort.takes in {Takes.LINE, Takes.LINES}:
        places = argument.split("+")
        if len(places) != (1 if sort.takes is Takes.LINE else 2) or not all(map(_is_place, places)):
            return _wants(name, sort)
    return ""


def _is_place(text: str) -> bool:
    connector, dot, pin = text.partition(".")
    return bool(dot and NAME.match(connector) and NAME.match(pin))


def _wants(name: str, sort: FaultSort) -> str:
    what = sort.takes.value if isinstance(sort.takes, Takes) else "an amount"
    return f"{name} needs {what} after a colon; write it like '{name}:{sort.example}'"


def _amount(text: str, argument: str, sort: FaultSort) -> float:
    unit = str(sort.takes)
    try:
        amount = parse_quantity(argument, unit)
    except UnitInvalid as wrong:
        raise ConfigInvalid(f"fault {text!r}: {wrong}") from None
    if not sort.low <= amount <= sort.high:
        raise ConfigInvalid(
            f"fault {text!r}: {argument} is out of bounds; from {human(sort.low, unit)} to {human(sort.high, unit)}"
        )
    return amount
