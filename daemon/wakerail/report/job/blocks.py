"""What a printed report is put together from; both of its forms, HTML and PDF, are made from the same blocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Tone(StrEnum):
    """How a word sounds; it always has a sign beside it, so that colour is never needed."""

    GOOD = "good"
    BAD = "bad"
    OPEN = "open"
    CODE = "code"
    QUIET = "quiet"


@dataclass(frozen=True, slots=True)
class Toned:
    """A text with a tone."""

    text: str
    tone: Tone


Cell = str | Toned


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph; a ``lead`` is what is read first, a ``quiet`` one is a remark."""

    text: str
    lead: bool = False
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class Points:
    """A list of sentences."""

    items: Sequence[str]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with what they stand for."""

    rows: Sequence[tuple[str, Cell]]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table. ``widths`` are the columns' shares, ``numbers`` the columns that are set to the right."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    widths: Sequence[float]
    numbers: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart by its name, with its title and what it shows in words and numbers."""

    name: str
    title: str
    says: str


@dataclass(frozen=True, slots=True)
class Print:
    """A photo as it is printed: a JPEG with its size, its title, what it shows, and where it comes from."""

    jpeg: bytes
    width_px: int
    height_px: int
    title: str
    says: str
    where: str


@dataclass(frozen=True, slots=True)
class Prints:
    """Photos, two beside each other."""

    prints: Sequence[Print]


@dataclass(frozen=True, slots=True)
class Shares:
    """How likely each cause was at a point of the isolation: what led there, and the likeliest causes first."""

    title: str
    rows: Sequence[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Branching:
    """A step of the isolation: what was tried and seen, the shares after it, and those of the way not taken."""

    title: str
    tried: str
    seen: str
    where: str
    taken: Shares | None
    other: Shares | None


@dataclass(frozen=True, slots=True)
class Branchings:
    """The isolation as a tree: where it began, and its steps."""

    root: Shares | None
    steps: Sequence[Branching]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a section."""

    text: str


Block = Words | Points | Facts | Grid | Picture | Prints | Branchings | Heading


@dataclass(frozen=True, slots=True)
class Section:
    """A section with its heading."""

    name: str
    title: str
    blocks: Sequence[Block]


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report: its title, what stands below it, the facts of the head, and its sections."""

    title: str
    subtitle: str
    status: Toned
    head: Sequence[tuple[str, Cell]]
    sections: Sequence[Section]
    foot: str
