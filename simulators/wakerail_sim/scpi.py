"""SCPI-1999 messages: headers in short and long form, compound messages, parameters. Knows no instrument.

SCPI-1999 volume 1, 6.2: a header node has a long form and a short one; nodes in brackets may be left out; ``;`` joins
units, and a unit that does not begin with ``:`` goes on at the level of the unit before it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

ERRORS = {
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
MAX_MESSAGE = 4096
_MAX_MNEMONIC = 12  # IEEE 488.2 7.6.1.4
_MULTIPLIERS = {"": 1.0, "U": 1e-6, "M": 1e-3, "K": 1e3}
_HEADER = re.compile(r"(?P<header>\*[A-Za-z]+|:?[A-Za-z]\w*(?::[A-Za-z]\w*)*)(?P<ask>\?)?(?P<rest>.*)", re.DOTALL)
_NUMBER = re.compile(r"(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*(?P<suffix>[A-Za-z]*)")
_LOOKS_NUMERIC = re.compile(r"[+-]?\.?\d")
_NODE = re.compile(r"(?P<name>[A-Z]+)(?P<digits>\d*)")


class ScpiError(Exception):
    """An error for the queue, by its number in SCPI-1999 volume 2, 21.8."""

    def __init__(self, code: int) -> None:
        self.code = code
        super().__init__(f'{code},"{ERRORS[code]}"')


Handler = Callable[[Sequence[str]], str | bytes | None]


@dataclass(slots=True)
class _Node:
    children: dict[str, _Node] = field(default_factory=dict)  # under both forms of each name
    tell: Handler | None = None
    ask: Handler | None = None


class Commands:
    """The commands that an instrument knows.

    A pattern is written as manuals write it, capitals for the short form: ``[SOURce]:VOLTage[:LEVel]``.
    """

    def __init__(self) -> None:
        self._root = _Node()

    def add(self, pattern: str, *, tell: Handler | None = None, ask: Handler | None = None) -> None:
        """Add a command, a query (answers ``pattern?``), or both."""
        for path in _paths(pattern):
            node = self._root
            for name in path:
                short = re.sub(r"[a-z]", "", name)
                following = node.children.get(short) or _Node()
                node.children[short] = node.children[name.upper()] = following
                node = following
            node.tell, node.ask = tell or node.tell, ask or node.ask

    def find(self, path: Sequence[str], asks: bool) -> Handler:
        """Return what handles a header. Raises ScpiError -113, -112 or -114."""
        node = self._root
        for written in path:
            name = written.upper()
            if len(name) > _MAX_MNEMONIC:
                raise ScpiError(-112)
            if name not in node.children:
                name = _without_suffix(name, node.children)
            node = node.children[name]
        handler = node.ask if asks else node.tell
        if handler is None:
            raise ScpiError(-113)
        return handler


def _without_suffix(name: str, known: Mapping[str, _Node]) -> str:
    """Return a node's name without its numeric suffix, of which an instrument with one channel knows only 1."""
    match = _NODE.fullmatch(name)
    if match is None or match["name"] not in known:
        raise ScpiError(-113)
    if int(match["digits"]) != 1:
        raise ScpiError(-114)
    return match["name"]


def _paths(pattern: str) -> list[list[str]]:
    """Return every way to write a pattern, its optional nodes in and out."""
    paths: list[list[str]] = [[]]
    for optional, needed in re.findall(r"\[:?([*A-Za-z]+):?\]|:?([*A-Za-z]+)", pattern):
        taken = [[*path, optional or needed] for path in paths]
        paths = taken + paths if optional else taken
    return paths


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of a message: its header, taken apart, and its parameters as written."""

    path: tuple[str, ...]
    asks: bool
    parameters: tuple[str, ...]


class Reader:
    """Takes one message apart, unit by unit, keeping the level at which the next unit goes on."""

    def __init__(self) -> None:
        self._level: tuple[str, ...] = ()

    def unit(self, text: str) -> Unit:
        """Read the next unit. Raises ScpiError if it is not well formed."""
        text = text.strip()
        if not text.isascii() or not text.isprintable():
            raise ScpiError(-101)
        match = _HEADER.fullmatch(text)
        if match is None:
            raise ScpiError(-102)
        header, rest = match["header"], match["rest"]
        if rest and not rest[0].isspace():
            raise ScpiError(-103 if rest[0] in ",;" else -102)
        if header.startswith("*"):  # common commands leave the level alone (SCPI-1999 volume 1, 6.2.4)
            path: tuple[str, ...] = (header,)
        else:
            nodes = tuple(header.lstrip(":").split(":"))
            path = nodes if header.startswith(":") else self._level + nodes
            self._level = path[:-1]
        return Unit(path, match["ask"] is not None, _parameters(rest.strip()))


def _parameters(text: str) -> tuple[str, ...]:
    if not text:
        return ()
    parameters = tuple(part.strip() for part in split(text, ","))
    if not all(parameters):
        raise ScpiError(-102)
    return parameters


def split(text: str, separator: str) -> list[str]:
    """Split a text at a separator, but not inside of quotes."""
    parts, quote, begin = [], "", 0
    for place, character in enumerate(text):
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == separator:
            parts.append(text[begin:place])
            begin = place + 1
    return [*parts, text[begin:]]


def only(parameters: Sequence[str]) -> str:
    """Return the one parameter. Raises ScpiError -109 without one, -108 with more."""
    if not parameters:
        raise ScpiError(-109)
    none(parameters[1:])
    return parameters[0]


def none(parameters: Sequence[str]) -> None:
    """Raise ScpiError -108 if there are parameters."""
    if parameters:
        raise ScpiError(-108)


def plain(action: Callable[[], str | bytes | None]) -> Handler:
    """Return a handler that takes no parameters."""

    def handle(parameters: Sequence[str]) -> str | bytes | None:
        none(parameters)
        return action()

    return handle


def number(text: str, unit: str, low: float, high: float) -> float:
    """Return a number in ``unit`` (``V``; empty for none), from ``3.85``, ``3.85 V``, ``3850 mV``, MIN or MAX.

    Raises ScpiError -104 (not a number), -120 (a spoilt one), -131 and -138 (suffix) or -222 (out of range).
    """
    named = {"MIN": low, "MINIMUM": low, "MAX": high, "MAXIMUM": high}.get(text.upper())
    if named is not None:
        return named
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise ScpiError(-120 if _LOOKS_NUMERIC.match(text) else -104)
    value = float(re.sub(r"\s", "", match["number"])) * _multiplier(match["suffix"].upper(), unit)
    if not low <= value <= high:
        raise ScpiError(-222)
    return value


def _multiplier(suffix: str, unit: str) -> float:
    if not suffix:
        return 1.0
    if not unit:
        raise ScpiError(-138)
    if not suffix.endswith(unit) or suffix[: -len(unit)] not in _MULTIPLIERS:
        raise ScpiError(-131)
    return _MULTIPLIERS[suffix[: -len(unit)]]


def boolean(text: str) -> bool:
    """Return ON, OFF or a number (0 is off) as a truth. Raises ScpiError -224 for another word."""
    if text.upper() in {"ON", "OFF"}:
        return text.upper() == "ON"
    if not _LOOKS_NUMERIC.match(text):
        raise ScpiError(-224)
    return round(number(text, "", -32768, 32767)) != 0


def block(content: bytes) -> bytes:
    """Return bytes as a definite-length block (IEEE 488.2 8.7.9): ``#15HELLO``."""
    length = str(len(content))
    return f"#{len(length)}{length}".encode() + content
