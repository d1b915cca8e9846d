"""Which column of a table holds what: found by its heading and the unit in it, or as the person names it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from wakerail.recordings.units import Unit, find_unit, units_of
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.hints import nearest

# English, and what meters sold in Europe write.
_WORDS = {
    "time": "t time times timestamp datetime elapsed uptime zeit zeitstempel temps tiempo tempo tijd ts",
    "current": "i current curr amps amperage strom stromstärke courant corriente corrente stroom",
    "power": "p power leistung puissance potencia potenza vermogen",
    "voltage": "u v voltage volt volts vbat vbatt spannung tension tensión tensione voltaje spanning",
    "limiting": "limiting",
}
_SI = {"time": "s", "current": "A", "power": "W", "voltage": "V", "limiting": "1"}
_ROLE_OF_WORD = {word: role for role, words in _WORDS.items() for word in words.split()}
_ROLE_OF_SI = {si: role for role, si in _SI.items()}
_SECONDS, _AMPERES, _VOLTS = find_unit("s"), find_unit("A"), find_unit("V")


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a person says about the columns: each by its heading or by its number from 1. None: found by itself."""

    time: str | None = None
    current: str | None = None
    voltage: str | None = None
    unit: str | None = None
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is read: its place from 0, its heading, and its unit.

    ``told`` is false where nothing said which unit it is and the SI unit was assumed. Of a time that is written as a
    date the unit says nothing.
    """

    place: int
    heading: str
    unit: Unit
    told: bool = True

    @property
    def words(self) -> str:
        """Say where the column is."""
        return repr(self.heading) if self.heading else f"column {self.place + 1}"


@dataclass(frozen=True, slots=True)
class Columns:
    """The columns of a table that are read. Without ``time`` the samples come at a known rate."""

    time: Column | None
    current: Column
    voltage: Column | None = None
    limiting: Column | None = None

    @property
    def read(self) -> list[Column]:
        """All of them that there are."""
        return [one for one in (self.time, self.current, self.voltage, self.limiting) if one is not None]


@dataclass(frozen=True, slots=True)
class _Heard:
    """What a heading says: a role, its unit, and how surely, the lower the surer."""

    role: str
    unit: Unit | None
    doubt: int


def hear(heading: str) -> _Heard | None:
    """Understand a heading: 'Strom (mA)', 'i_ma', 'time/ms', 'power_w'. None if it names nothing that is read."""
    words = re.findall(r"[^\W_]+", heading.replace("\N{GREEK SMALL LETTER MU}", "µ"))
    if not words:
        return None
    unit = find_unit(words[-1]) if len(words) > 1 or words[-1].lower() not in _ROLE_OF_WORD else None
    names = words if unit is None else words[:-1]
    roles = [_ROLE_OF_WORD[word.lower()] for word in names if word.lower() in _ROLE_OF_WORD]
    if not names and unit is not None:  # 'mA' alone
        return _Heard(_ROLE_OF_SI[unit.si], unit, 1)
    fitting = [role for role in roles if unit is None or _SI[role] == unit.si]
    if fitting:
        doubt = 0 if len(names) == 1 else 2
        return _Heard(fitting[0], unit, doubt + (unit is None))
    if unit is not None and unit.si in {"A", "W"}:  # 'rail_ma'
        return _Heard(_ROLE_OF_SI[unit.si], unit, 4)
    return None


def choose(headings: Sequence[str] | None, count: int, wishes: Wishes, where: str) -> Columns:
    """Return the columns to read of a table of ``count`` columns. ``headings`` is None where it has none.

    Raises ConfigInvalid, beginning with ``where``, if they cannot be told.
    """
    return _Choice(headings, count, wishes, where).columns()


class _Choice:
    def __init__(self, headings: Sequence[str] | None, count: int, wishes: Wishes, where: str) -> None:
        self._headings = [""] * count if headings is None else [text.strip() for text in headings]
        self._headed = headings is not None
        self._wishes = wishes
        self._where = where
        self._heard = [hear(text) for text in self._headings]

    def columns(self) -> Columns:
        wishes = self._wishes
        given = {
            role: self._named(option, wish)
            for role, option, wish in (
                ("time", "--time", wishes.time),
                ("current", "--current", wishes.current),
                ("voltage", "--voltage", wishes.voltage),
            )
            if wish is not None
        }
        taken = set(given.values())
        time = given.get("time")
        if time is None and wishes.rate_hz is None:
            time = self._found("time", taken)
            taken |= {time}
        current = given.get("current")
        if current is None:
            current = self._found_current(taken)
            taken |= {current}
        voltage = given.get("voltage", self._maybe("voltage", taken))
        limiting = self._maybe("limiting", taken)
        return Columns(
            time=None if time is None else self._column(time, _SECONDS),
            current=self._current_column(current),
            voltage=None if voltage is None else self._column(voltage, _VOLTS),
            limiting=None if limiting is None else Column(limiting, self._headings[limiting], Unit("1", "1")),
        )

    def _named(self, option: str, wish: str) -> int:
        same = [place for place, text in enumerate(self._headings) if text.lower() == wish.strip().lower() and text]
        if len(same) == 1:
            return same[0]
        count = len(self._headings)
        if wish.strip().isdecimal() and 1 <= int(wish) <= count:
            return int(wish) - 1
        if not self._headed:
            raise ConfigInvalid(f"{self._where}: {option} {wish!r}: it has no header; give a number from 1 to {count}")
        hint = nearest(wish, self._headings, "its columns: ")
        raise ConfigInvalid(f"{self._where}: {option} {wish!r}: no such column; {hint}")

    def _found(self, role: str, taken: set[int]) -> int:
        if not self._headed:
            return self._by_place(role, taken)
        found = self._maybe(role, taken)
        if found is None:
            raise ConfigInvalid(self._no_column(role))
        return found

    def _found_current(self, taken: set[int]) -> int:
        if not self._headed:
            return self._by_place("current", taken)
        for role in ("current", "power"):
            found = self._maybe(role, taken)
            if found is not None:
                return found
        raise ConfigInvalid(self._no_column("current"))

    def _by_place(self, role: str, taken: set[int]) -> int:
        """Return the first column that is free: without header, time and current stand first, in that order."""
        free = [place for place in range(len(self._headings)) if place not in taken]
        if len(self._headings) == 1 and role == "time":
            raise ConfigInvalid(
                f"{self._where}: one column and no time; say how many samples there are in a second, like '--rate 20'"
            )
        if not free:
            raise ConfigInvalid(f"{self._where}: no column is left for the {role}")
        return free[0]

    def _no_column(self, role: str) -> str:
        names = ", ".join(repr(text) for text in self._headings)
        if role == "time":
            return (
                f"{self._where}: no column of time among {names}; name it with --time, or give the samples in a "
                "second, like '--rate 20'"
            )
        return f"{self._where}: no column of current or power among {names}; name it with --current"

    def _maybe(self, role: str, taken: set[int]) -> int | None:
        """Return the column that is surest to be of a role. Raises ConfigInvalid if several are as sure."""
        heard = [
            (one.doubt, place)
            for place, one in enumerate(self._heard)
            if one is not None and one.role == role and place not in taken
        ]
        if not heard:
            return None
        least = min(heard)[0]
        best = [place for doubt, place in heard if doubt == least]
        if len(best) > 1 and role in {"current", "power", "time"}:
            names = " or ".join(repr(self._headings[place]) for place in best)
            option = "--time" if role == "time" else "--current"
            raise ConfigInvalid(f"{self._where}: the {role} may be {names}; say which with {option}")
        return best[0]

    def _column(self, place: int, assumed: Unit | None) -> Column:
        heard, heading = self._heard[place], self._headings[place]
        assert assumed is not None
        if heard is not None and heard.unit is not None and heard.unit.si == assumed.si:
            return Column(place, heading, heard.unit)
        return Column(place, heading, assumed, told=False)

    def _current_column(self, place: int) -> Column:
        heard, heading = self._heard[place], self._headings[place]
        if self._wishes.unit is not None:
            unit = find_unit(self._wishes.unit)
            if unit is None or unit.si not in {"A", "W"}:
                names = ", ".join(units_of("A", "W"))
                raise ConfigInvalid(f"--unit {self._wishes.unit!r} is no unit of current or power; one of {names}")
            return Column(place, heading, unit)
        if heard is not None and heard.role == "power":
            return self._column(place, find_unit("W"))
        return self._column(place, _AMPERES)
