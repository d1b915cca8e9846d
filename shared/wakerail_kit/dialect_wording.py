"""The wording of one command or answer: a text with fields in braces, rendered one way and matched the other.

``{name}``             a value; a variable of the dialect is put in as it is, in an answer it must come back the same
``{voltage|mV}``       the instrument's unit, also with a number: ``{voltage|0.1 V}`` counts tenths of a volt
``{voltage|0.1 V:03.0f}``  a format; led by 0 it has a fixed width, so ``038`` is 3.8 V with nothing between fields
``{output|ON=1 OFF=0}``    words for values; ``{temperature|OPEN=none}``: a number, or a word that means "no data"
``{limiting|bit 0}``   one bit of a whole number (``not bit 0`` turned over, ``bits 2-3 is 1`` several); ``hex``,
                       ``bin`` or ``byte`` before it say how it is written (else decimal, or SCPI's #H, #Q, #B, or 0x)
``{output|bit 5; limiting|bit 0}``  two values read out of one place
``{_}``                whatever stands there
``[ {voltage}V]``      in an answer, a part that may be absent

A blank stands for any blanks, and a comma may have blanks around it. ``{{ }} [[ ]]`` are the characters themselves.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from wakerail_kit.errors import DeviceRefused, WakerailError
from wakerail_kit.units import UnitInvalid, factor, human

Value = float | str | None
Values = Mapping[str, Value]

FLAG = "flag"
TEXT = "text"
#: SCPI-1999 vol. 1, 7.2.1.4 and .5: 9.9E37 stands for infinity, 9.91E37 for not-a-number; neither is a measurement.
NOT_DATA = 9.9e37

_TOKEN = re.compile(r"\{\{|\}\}|\[\[|\]\]|\{[^{}]*\}|\[|\]")
_FORMAT = re.compile(r"^(0?)(\d*)(?:\.(\d+))?([fde]?)$")
_BITS = re.compile(r"^(?:(hex|bin|byte)\s*)?(?:(not)\s+)?(?:bit\s+(\d+)|bits\s+(\d+)-(\d+)\s+is\s+(\d+))$")
_NUMBER = r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?|[nN][aA][nN]|[-+]?[iI][nN][fF](?:inity|INITY)?"
_WHOLE = {
    "": r"[-+]?[0-9]+|#[Hh][0-9A-Fa-f]+|#[Qq][0-7]+|#[Bb][01]+|0[xX][0-9A-Fa-f]+",
    "hex": r"(?:0[xX]|#[Hh])?[0-9A-Fa-f]+",
    "bin": r"(?:0[bB]|#[Bb])?[01]+",
    "byte": r"(?s:.)",
}
_BASES = {"": 10, "hex": 16, "bin": 2}
_PREFIXES = {
    "": {"#h": 16, "#q": 8, "#b": 2, "0x": 16},
    "hex": {"#h": 16, "0x": 16},
    "bin": {"#b": 2, "0b": 2},
}


class WordingInvalid(WakerailError):
    """A wording in a dialect file cannot be understood; the message says what would be right."""


@dataclass(frozen=True, slots=True)
class Bits:
    """Where in a whole number a flag stands: the bits from ``low`` to ``high`` equal ``value``."""

    base: str
    low: int
    high: int
    value: int

    def flag(self, raw: str) -> float:
        """Return 1.0 if the bits have their value in ``raw``. Raises ValueError for what is no number."""
        prefix = raw[:2].lower()
        if self.base == "byte":
            number = ord(raw)
        elif prefix in _PREFIXES[self.base]:
            number = int(raw[2:], _PREFIXES[self.base][prefix])
        else:
            number = int(raw, _BASES[self.base])
        return float(number >> self.low & (1 << self.high - self.low + 1) - 1 == self.value)


@dataclass(frozen=True, slots=True)
class Field:
    """One value in a wording. ``unit`` is UCUM, ``flag`` or ``text``; ``scale`` makes the instrument's number SI."""

    name: str
    unit: str
    scale: float = 1.0
    format: str = ""
    words: tuple[tuple[str, float | None], ...] = ()
    bits: Bits | None = None

    @property
    def width(self) -> int | None:
        """Return the fixed number of characters, or None where it is free."""
        zero, digits, _, _ = _FORMAT.match(self.format).groups()  # type: ignore[union-attr]  # checked when read
        if self.bits is not None and self.bits.base == "byte":
            return 1
        fixed = digits and (zero or self.unit == TEXT)
        if not fixed and self.words and {value for _, value in self.words} - {None}:
            lengths = {len(word) for word, _ in self.words}
            return lengths.pop() if len(lengths) == 1 else None
        return int(digits) if fixed else None

    @property
    def resolution(self) -> float:
        """Return the smallest step this wording can say, in the field's unit."""
        decimals = _FORMAT.match(self.format)[3]  # type: ignore[index]  # checked when read
        if not self.format or self.format.endswith("e"):
            return 1e-9 * self.scale
        return self.scale * 10.0 ** -int(decimals or 0)

    def regex(self) -> str:
        """Return a regular expression for the raw text of this field."""
        values = [re.escape(word) for word, value in self.words if value is not None]
        nothing = [re.escape(word) for word, value in self.words if value is None]
        return "|".join([*sorted(values + nothing, key=len, reverse=True), *([] if values else [self._free_regex()])])

    def _free_regex(self) -> str:
        if self.bits is not None:
            return _WHOLE[self.bits.base] if self.width in {None, 1} else f"[0-9A-Fa-f]{{{self.width}}}"
        if self.unit == TEXT:
            return f".{{{self.width}}}" if self.width else ".*?"
        if self.width is not None:
            return f"[-+ 0-9.]{{{self.width}}}"
        return r"\+?[01]|ON|OFF|on|off" if self.unit == FLAG else _NUMBER

    def read(self, raw: str) -> Value:
        """Return the value that ``raw`` stands for. Raises ValueError if it stands for none."""
        for word, value in self.words:
            if raw == word:
                return value
        if self.bits is not None:
            return self.bits.flag(raw)
        if self.unit == TEXT:
            return raw.strip()
        if self.unit == FLAG:
            return float({"on": 1, "off": 0}.get(raw.lower(), raw))
        number = float(raw)
        return round(number * self.scale, 12) if math.isfinite(number) and abs(number) < NOT_DATA else None

    def render(self, value: Value) -> str:
        """Return the instrument's text for a value. Raises DeviceRefused for one that the wording cannot say."""
        for word, meaning in self.words:
            if value == meaning:
                return word
        if self.unit == TEXT:
            return format(str(value), self.format)
        if value is None or isinstance(value, str) or not math.isfinite(value):
            raise DeviceRefused(f"{value!r} is not a number that can be sent as {self.name}")
        number = round(value / self.scale, 9) + 0.0
        if self.format:
            text = format(round(number) if self.format.endswith("d") else number, self.format)
        else:
            text = f"{number:.9f}".rstrip("0").rstrip(".")
        if self.width is not None and (len(text) != self.width or number < 0):
            shown = human(value, self.unit if self.unit != FLAG else "1")
            raise DeviceRefused(f"{shown} does not fit into the {self.width} characters the instrument takes")
        return text


@dataclass(frozen=True, slots=True)
class Slot:
    """One place in a wording, from which one or more fields are read; a variable's has none."""

    fields: tuple[Field, ...]
    variable: str = ""
    format: str = ""


@dataclass(frozen=True, slots=True)
class Maybe:
    """A part of an answer that may be absent."""

    parts: tuple[str | Slot, ...]


@dataclass(frozen=True)
class Wording:
    """A wording, taken apart by ``read_wording``. Bind its variables before it is rendered or matched."""

    text: str
    parts: tuple[str | Slot | Maybe, ...]

    def bind(self, variables: Mapping[str, str]) -> Wording:
        """Return the wording with its variables put in."""

        def put(part: str | Slot) -> str | Slot:
            if isinstance(part, str) or not part.variable:
                return part
            value = variables[part.variable]
            return format(int(value), part.format) if part.format else value

        parts = [
            Maybe(tuple(put(inner) for inner in part.parts)) if isinstance(part, Maybe) else put(part)
            for part in self.parts
        ]
        return Wording(self.text, tuple(parts))

    @cached_property
    def fields(self) -> dict[str, Field]:
        """Return the values that this wording carries, by name."""
        return {field.name: field for slot in self._slots() for field in slot.fields}

    @cached_property
    def variables(self) -> frozenset[str]:
        """Return the names of the variables that are not put in yet."""
        return frozenset(slot.variable for slot in self._slots() if slot.variable)

    @cached_property
    def formatted_variables(self) -> frozenset[str]:
        """Return those variables that have a number format, so that they must be whole numbers."""
        return frozenset(slot.variable for slot in self._slots() if slot.variable and slot.format)

    def render(self, values: Values) -> str:
        """Return the text to send. Raises DeviceRefused for a value that the wording cannot say."""
        return "".join(
            part if isinstance(part, str) else part.fields[0].render(values[part.fields[0].name])
            for part in self.parts
            if not isinstance(part, Maybe)
        )

    def match(self, text: str) -> dict[str, Value] | None:
        """Return the values in an instrument's answer, or None if it is not worded like this."""
        found = self._regex.fullmatch(text)
        if found is None:
            return None
        values: dict[str, Value] = {}
        try:
            for number, slot in enumerate(self._slots()):
                raw = found[f"_{number}"]
                if raw is not None:
                    values |= {field.name: field.read(raw) for field in slot.fields if field.name != "_"}
        except ValueError:
            return None
        return values

    @cached_property
    def length(self) -> int | None:
        """Return how many characters such an answer always has, or None where that is open."""
        total = 0
        for part in self.parts:
            width = len(part) if isinstance(part, str) else None
            if isinstance(part, Slot) and part.fields:
                width = part.fields[0].width
            if width is None:
                return None
            total += width
        return total

    def _slots(self) -> Iterator[Slot]:
        for part in self.parts:
            for inner in part.parts if isinstance(part, Maybe) else (part,):
                if isinstance(inner, Slot):
                    yield inner

    @cached_property
    def _regex(self) -> re.Pattern[str]:
        numbers = itertools.count()

        def regex(part: str | Slot | Maybe) -> str:
            if isinstance(part, Maybe):
                return f"(?:{''.join(regex(inner) for inner in part.parts)})?"
            if isinstance(part, Slot):
                return f"(?P<_{next(numbers)}>{part.fields[0].regex()})"
            return re.sub(r"(?:\\ )+", r"\\s+", re.escape(part)).replace(",", r"\s*,\s*")

        return re.compile(r"\s*" + "".join(regex(part) for part in self.parts) + r"\s*")


def read_wording(text: str, known: Mapping[str, str], variables: Iterable[str], answer: bool) -> Wording:
    """Take a wording apart.

    ``known`` maps the names that may stand in it to a UCUM unit, ``flag`` or ``text``; ``variables`` are the
    dialect's. Raises WordingInvalid saying what is wrong with it and what would be right.
    """
    parts: list[str | Slot | Maybe] = []
    inside: list[str | Slot] | None = None
    for piece in _pieces(text):
        here = parts if inside is None else inside
        if piece in {"{{", "}}"} or (answer and piece in {"[[", "]]"}):
            here.append(piece[0])
        elif piece[0] == "{":
            here.append(_slot(piece[1:-1], text, known, frozenset(variables), answer))
        elif piece not in {"[", "]"} or not answer:
            here.append(piece)
        elif (piece == "[") == (inside is not None):
            raise WordingInvalid(f"{text!r} has a stray {piece!r}; a part that may be absent is [ like this]")
        elif inside is None:
            inside = []
        else:
            parts.append(Maybe(tuple(inside)))
            inside = None
    if inside is not None:
        raise WordingInvalid(f"{text!r} has a '[' without its ']'")
    return Wording(text, tuple(parts))


def _pieces(text: str) -> Iterator[str]:
    """Yield the literal texts and the tokens of a wording in turn."""
    at = 0
    for token in _TOKEN.finditer(text):
        yield from _literal(text, at, token.start())
        yield token[0]
        at = token.end()
    yield from _literal(text, at, len(text))


def _literal(text: str, start: int, end: int) -> Iterator[str]:
    literal = text[start:end]
    if stray := set(literal) & set("{}"):
        raise WordingInvalid(f"{text!r} has a stray {stray.pop()!r}; a field is {{name}}, a plain brace is doubled")
    if literal:
        yield literal


def _slot(inner: str, text: str, known: Mapping[str, str], variables: frozenset[str], answer: bool) -> Slot:
    fields = []
    for piece in inner.split(";"):
        options, colon, form = piece.rpartition(":")
        name, _, options = (part.strip() for part in (options if colon else piece).partition("|"))
        if not _FORMAT.match(form if colon else ""):
            raise WordingInvalid(f"{{{inner}}}: {form!r} is not a number format; like 03.0f, .3f or 05d")
        form = form if colon else ""
        if name in variables:
            return Slot((), name, form)
        if name == "_" and answer:
            fields.append(Field("_", TEXT, format=form))
        elif name not in known:
            hint = ", ".join(sorted({*known, *variables})) or "none"
            raise WordingInvalid(f"{text!r} has an unknown field {{{name}}}; known here: {hint}")
        else:
            fields.append(_field(name, known[name], options, form))
    if not answer and (len(fields) > 1 or fields[0].bits is not None):
        raise WordingInvalid(f"{{{inner}}}: bits and several values in one place can only be read, not sent")
    return Slot(tuple(fields))


def _field(name: str, unit: str, options: str, form: str) -> Field:
    words: list[tuple[str, float | None]] = []
    rest = []
    for token in options.split():
        word, equals, meaning = token.partition("=")
        if not equals:
            rest.append(token)
            continue
        try:
            words.append((word, None if meaning == "none" else float(meaning)))
        except ValueError:
            raise WordingInvalid(f"{{{name}|{options}}}: {token!r} is no word; like ON=1 or OPEN=none") from None
    of = " ".join(rest)
    if (bits := _BITS.match(of)) is not None:
        base, turned, bit, low, high, value = bits.groups()
        if unit != FLAG:
            raise WordingInvalid(f"{{{name}|{options}}}: only a flag can be read from bits; {name} is none")
        place = (int(bit), int(bit), 0 if turned else 1) if bit else (int(low), int(high), int(value))
        return Field(name, unit, 1.0, form, tuple(words), Bits(base or "", *place))
    if not of:
        return Field(name, unit, 1.0, form, tuple(words))
    if unit in {FLAG, TEXT}:
        raise WordingInvalid(f"{{{name}|{options}}}: {of!r} is not known; like ON=1 OFF=0, or bit 0")
    return Field(name, unit, _scale(of, unit), form, tuple(words))


def _scale(of: str, unit: str) -> float:
    try:
        scale = factor(of, unit)
        if scale <= 0 or (unit == "Cel" and not math.isclose(factor(f"1000 {of.rsplit(maxsplit=1)[-1]}", unit), 1000)):
            raise WordingInvalid(f"{of!r} does not count {unit} from the same zero")
    except UnitInvalid as wrong:
        raise WordingInvalid(str(wrong)) from None
    return scale
