"""YAML read with its line numbers, so that every mistake is one line: file, line, key, and what would be right.

A Section hands out values by key and notes what is wrong instead of raising at once; ``finish`` raises
ConfigInvalid with all of it, unknown keys included. A value noted as wrong is replaced by a harmless one of its
type, so reading can go on; nothing built from it is ever used, because ``finish`` raises.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import yaml

from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest
from wakerail_kit.topics import NAME
from wakerail_kit.units import UnitInvalid, human, parse_quantity

_REQUIRED: Any = object()


class Document:
    """A YAML file being read: its text, its top section, and the mistakes noted so far."""

    def __init__(self, file: str, text: str, node: yaml.Node | None) -> None:
        self.file = file
        self.text = text
        self.problems: list[tuple[int, str]] = []
        self.sections: list[Section] = []
        self.top = Section(self, node, "")

    def note(self, line: int, key: str, says: str) -> None:
        """Note a mistake at a line and key."""
        place = f"{self.file}:{line}: {key}: " if key else f"{self.file}:{line}: "
        if (line, place + says) not in self.problems:
            self.problems.append((line, place + says))

    def finish(self) -> None:
        """Raise ConfigInvalid with every mistake noted, in the order of the lines."""
        for section in self.sections:
            section.note_unknown()
        if self.problems:
            raise ConfigInvalid(*(says for _, says in sorted(self.problems)))


class Section:
    """A mapping in the file. Each reader takes a key; a key that nobody took is unknown."""

    def __init__(self, doc: Document, node: yaml.Node | None, path: str) -> None:
        self.doc = doc
        self.path = path
        self.line = node.start_mark.line + 1 if node is not None else 1
        self._nodes: dict[str, tuple[int, yaml.Node]] = {}
        self._taken: set[str] = set()
        self._open = False
        doc.sections.append(self)
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                name = str(key.value)
                if name in self._nodes:
                    doc.note(key.start_mark.line + 1, self.key(name), "given twice")
                self._nodes[name] = (key.start_mark.line + 1, value)
        elif node is not None and not (isinstance(node, yaml.ScalarNode) and node.value in {"", "null", "~"}):
            self.note_here("must be a mapping of keys to values")

    def key(self, name: str) -> str:
        """Return the full dotted path of one of this section's keys."""
        return f"{self.path}.{name}" if self.path else name

    def __contains__(self, name: str) -> bool:
        return name in self._nodes

    def __iter__(self) -> Iterator[str]:
        return iter(self._nodes)

    def line_of(self, name: str) -> int:
        """Return the line of a key, or of the section if the key is absent."""
        return self._nodes[name][0] if name in self._nodes else self.line

    def note(self, name: str, says: str) -> None:
        """Note a mistake at one of this section's keys."""
        self.doc.note(self.line_of(name), self.key(name), says)

    def note_here(self, says: str) -> None:
        """Note a mistake about the section as a whole."""
        self.doc.note(self.line, self.path, says)

    def note_unknown(self) -> None:
        """Note every key that nobody took."""
        if self._open:
            return
        for name in self._nodes:
            if name not in self._taken:
                self.note(name, f"unknown key; {nearest(name, sorted(self._taken))}")

    def raw(self, name: str, default: Any = _REQUIRED) -> Any:
        """Take a key's value as plain Python data."""
        node = self._take(name, default)
        if node is None:
            return None if default is _REQUIRED else default
        return _plain(node)

    def peek(self, name: str) -> str:
        """Return a key's text as it was written, empty if there is none, without taking the key.

        Whether the key may stand here is for another to say.
        """
        node = self._nodes[name][1] if name in self._nodes else None
        return str(node.value) if isinstance(node, yaml.ScalarNode) else ""

    def text(self, name: str, default: Any = _REQUIRED, one_of: Sequence[str] | None = None) -> str:
        """Take a text; a number or yes/no is taken as it was written."""
        self._taken.add(name)
        if name not in self._nodes:
            if default is _REQUIRED:
                self.note(name, "is missing" + (f"; one of {', '.join(one_of)}" if one_of else ""))
                return ""
            return default  # type: ignore[no-any-return]
        node = self._nodes[name][1]
        if not isinstance(node, yaml.ScalarNode):
            self.note(name, "must be a single text")
            return ""
        value = str(node.value)
        if one_of is not None and value not in one_of:
            self.note(name, f"{value!r} is not known; {nearest(value, one_of, 'one of ')}")
        return value

    def name(self, name: str, default: Any = _REQUIRED) -> str:
        """Take a name that can stand in a topic: lower-case letters, digits, ``-`` and ``_``."""
        value = self.text(name, default)
        if name in self._nodes and not NAME.match(value):
            self.note(name, f"{value!r} is no name; use lower-case letters, digits, '-' and '_'")
        return value

    def flag(self, name: str, default: Any = _REQUIRED) -> bool:
        """Take yes/no, true/false or on/off."""
        value = self.raw(name, default)
        if isinstance(value, bool):
            return value
        if value is not None or name in self._nodes:
            self.note(name, f"{value!r} is neither on nor off")
        return False

    def integer(self, name: str, default: Any = _REQUIRED, low: int | None = None, high: int | None = None) -> int:
        """Take a whole number (``0x1209`` is one)."""
        value = self.raw(name, default)
        if name not in self._nodes:
            return value if isinstance(value, int) else 0
        if not isinstance(value, int) or isinstance(value, bool):
            self.note(name, f"{value!r} is not a whole number")
            return 0
        if (low is not None and value < low) or (high is not None and value > high):
            self.note(name, f"{value} is out of bounds; from {low} to {high}")
        return value

    def optional_integer(self, name: str, low: int | None = None, high: int | None = None) -> int | None:
        """Take a whole number, or None where the key is absent."""
        return self.integer(name, low=low, high=high) if name in self._nodes else self.raw(name, None)

    def quantity(
        self, name: str, unit: str, default: Any = _REQUIRED, low: float | None = None, high: float | None = None
    ) -> float:
        """Take a quantity with its unit (``3.85 V``) as a plain number in UCUM ``unit``, within bounds."""
        self._taken.add(name)
        if name not in self._nodes and default is not _REQUIRED:
            return default  # type: ignore[no-any-return]
        try:
            value = parse_quantity(self.text(name), unit) if name in self._nodes else parse_quantity(None, unit)
        except UnitInvalid as wrong:
            self.note(name, str(wrong) if name in self._nodes else "is missing; " + str(wrong).split("; ")[-1])
            return low if low is not None else 0.0
        if low is not None and value < low:
            self.note(name, f"{human(value, unit)} is too low; at least {human(low, unit)}")
        if high is not None and value > high:
            self.note(name, f"{human(value, unit)} is too high; at most {human(high, unit)}")
        return value

    def optional_quantity(
        self, name: str, unit: str, low: float | None = None, high: float | None = None
    ) -> float | None:
        """Take a quantity, or None where the key is absent."""
        return self.quantity(name, unit, low=low, high=high) if name in self._nodes else self.raw(name, None)

    def section(self, name: str, default: Any = _REQUIRED) -> Section:
        """Take a mapping; an absent one with a default is an empty section."""
        return Section(self.doc, self._take(name, default), self.key(name))

    def each(self) -> Iterator[tuple[str, Section]]:
        """Take every key of this section as a section of its own, in the file's order."""
        for name in self._nodes:
            yield name, self.section(name)

    def sections(self, name: str, default: Any = _REQUIRED) -> list[Section]:
        """Take a list of mappings."""
        node = self._take(name, default)
        if node is None:
            return []
        if not isinstance(node, yaml.SequenceNode):
            self.note(name, "must be a list")
            return []
        return [Section(self.doc, item, f"{self.key(name)}[{index}]") for index, item in enumerate(node.value)]

    def texts(self, name: str, default: Any = _REQUIRED) -> list[str]:
        """Take a list of texts; a single text counts as a list of one."""
        value = self.raw(name, default)
        if isinstance(value, list | tuple) and all(not isinstance(item, Mapping | list) for item in value):
            return [str(item) for item in value]
        if isinstance(value, str | int | float):
            return [str(value)]
        if name in self._nodes:
            self.note(name, "must be a list of texts")
        return []

    def entries(self, name: str, default: Any = _REQUIRED) -> list[tuple[int, str, str | Section]]:
        """Take a list of texts and mappings mixed, each with its line and key; a single one is a list of one."""
        node = self._take(name, default)
        if node is None:
            return []
        items = node.value if isinstance(node, yaml.SequenceNode) else [node]
        found: list[tuple[int, str, str | Section]] = []
        for index, item in enumerate(items):
            key = f"{self.key(name)}[{index}]" if isinstance(node, yaml.SequenceNode) else self.key(name)
            line = item.start_mark.line + 1
            if isinstance(item, yaml.ScalarNode):
                found.append((line, key, str(item.value)))
            elif isinstance(item, yaml.MappingNode):
                found.append((line, key, Section(self.doc, item, key)))
            else:
                self.doc.note(line, key, "must be a text or a mapping")
        return found

    def _take(self, name: str, default: Any) -> yaml.Node | None:
        """Take a key's node; None where it is absent, which is a mistake unless there is a default."""
        self._taken.add(name)
        if name in self._nodes:
            return self._nodes[name][1]
        if default is _REQUIRED:
            self.note(name, "is missing")
        return None

    def leave_open(self) -> None:
        """Say that unknown keys of this section are someone else's to check."""
        self._open = True


# libyaml where PyYAML was built with it: a daemon reads a dozen files before it is ready.
_SafeLoader: type[yaml.SafeLoader] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Loader(_SafeLoader):  # type: ignore[misc, valid-type]
    """Safe YAML in which on, off, yes and no are true and false, as people write them on a bench."""


_YES_OR_NO = re.compile(r"^(?:yes|no|true|false|on|off)$", re.IGNORECASE)
_Loader.add_implicit_resolver("tag:yaml.org,2002:bool", _YES_OR_NO, list("yYnNtTfFoO"))


def _plain(node: yaml.Node) -> Any:
    return _Loader("").construct_document(node)


def parse_yaml(text: str, file: str) -> Document:
    """Read YAML text. Raises ConfigInvalid if it is not YAML at all; ``file`` is what messages call it."""
    try:
        return Document(file, text, yaml.compose(text, Loader=_Loader))
    except yaml.MarkedYAMLError as wrong:
        line = wrong.problem_mark.line + 1 if wrong.problem_mark else 1
        raise ConfigInvalid(f"{file}:{line}: not valid YAML: {wrong.problem}") from None
    except yaml.YAMLError as wrong:
        raise ConfigInvalid(f"{file}: not valid YAML: {str(wrong).splitlines()[0]}") from None


def load_yaml(file: Path) -> Document:
    """Read a YAML file. Raises ConfigInvalid if it cannot be read or is not YAML."""
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise ConfigInvalid(f"{file}: no such file") from None
    except (OSError, UnicodeDecodeError) as wrong:
        raise ConfigInvalid(f"{file}: cannot be read: {wrong}") from None
    return parse_yaml(text, str(file))
