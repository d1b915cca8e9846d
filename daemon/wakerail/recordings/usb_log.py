"""A log of what a USB host saw, in a table of text: one row an event, as the kernel told it.

Columns: ``t_s``, ``event`` (connect, found, disconnect, enumeration-error, reset), ``bus_path``, ``vid`` and ``pid``
in hex. Others (``device_number``, ``detail``) are not needed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from wakerail.recordings.delimited import guess_dialect
from wakerail.recordings.dialect import is_civil
from wakerail.recordings.headings import hear
from wakerail.recordings.lines import numbered_lines
from wakerail.recordings.samples import UsbEvent
from wakerail.recordings.units import Unit
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import UsbAttached, UsbDetached, UsbEnumerationFailed
from wakerail_kit.hints import nearest

_EVENTS = ("connect", "found", "disconnect", "enumeration-error", "reset")
_INSTRUMENT = "usb"


@dataclass(frozen=True, slots=True)
class UsbLog:
    """The events of a log in the order of time; ``begins`` is the civil time of 0 s, None where times are numbers."""

    events: tuple[UsbEvent, ...]
    read_as: str
    begins: datetime | None


@dataclass(frozen=True, slots=True)
class _Row:
    line: int
    at_s: float
    event: str
    path: str
    vid: str
    pid: str


def read_usb_log(file: Path, begins: datetime | None = None, *, beside_trace: bool = False) -> UsbLog:
    """Read a log. ``beside_trace``: its times are those of a trace that begins at ``begins``, None for plain numbers.

    Raises ConfigInvalid with file and line, and what would be right.
    """
    rows, zero, words = _read(file, begins)
    if beside_trace and begins is None and zero is not None:
        raise ConfigInvalid(f"{file}: it has civil times and the trace has none; both need one scale of time")
    attempts = _Attempts(file)
    for row in rows:
        attempts.take(row)
    events = sorted(attempts.finish(), key=lambda event: event.at_s)
    return UsbLog(tuple(events), words, zero)


def _read(file: Path, begins: datetime | None) -> tuple[list[_Row], datetime | None, str]:
    dialect = guess_dialect(file)
    headings = [text.lower() for text in dialect.headings or ()]
    places = {name: headings.index(name) for name in ("event", "bus_path", "vid", "pid") if name in headings}
    heard = [(place, hear(text)) for place, text in enumerate(headings)]
    times = [(place, one.unit) for place, one in heard if one is not None and one.role == "time"]
    missing = [name for name in ("event", "bus_path") if name not in places] + ([] if times else ["t_s"])
    if missing:
        raise ConfigInvalid(
            f"{file}:{max(dialect.skip, 1)}: no column {missing[0]!r}; a header like "
            "'t_s,event,bus_path,device_number,vid,pid,detail' is needed"
        )
    (place, unit), zero, rows = times[0], begins, list[_Row]()
    for number, cells in numbered_lines(file, dialect):
        where = f"{file}:{number}"
        if len(cells) != dialect.count:
            raise ConfigInvalid(f"{where}: {len(cells)} cells where the header has {dialect.count}")
        cell = cells[place]
        if is_civil(cell):
            at = _civil(cell)
            zero = at if zero is None else zero
            if (at.tzinfo is None) is not (zero.tzinfo is None):
                raise ConfigInvalid(f"{where}: {cell!r}: some times say their zone and some do not; write all alike")
            at_s = (at - zero).total_seconds()
        elif dialect.is_number(cell) and zero is None:
            at_s = _in_seconds(float(cell.replace(",", ".")), unit)
        else:
            wanted = (
                "seconds like '12.05', or ISO 8601" if zero is None else "a civil time, as those before or the trace"
            )
            raise ConfigInvalid(f"{where}: {cell!r} is no time that fits here; write {wanted}")
        if rows and at_s < rows[-1].at_s:
            raise ConfigInvalid(
                f"{where}: time goes back, from {rows[-1].at_s:g} s to {at_s:g} s; sort the rows by time"
            )
        event = cells[places["event"]].lower()
        if event not in _EVENTS:
            raise ConfigInvalid(f"{where}: unknown event {event!r}; {nearest(event, _EVENTS)}")
        ids = [cells[places[name]] if name in places else "" for name in ("vid", "pid")]
        rows.append(_Row(number, at_s, event, cells[places["bus_path"]], *ids))
    how = "as civil time" if zero is not None else f"in {unit.name if unit is not None else 's'}"
    return rows, zero, f"USB: {dialect.words}; time from {headings[place]!r} {how}, {len(rows)} rows"


def _civil(cell: str) -> datetime:
    at = datetime.fromisoformat(cell.upper().replace(",", ".").replace(" ", "T", 1).replace(" ", ""))
    return at if at.tzinfo is None else at.astimezone(UTC)


def _in_seconds(value: float, unit: Unit | None) -> float:
    return value if unit is None else value * unit.times / unit.over


@dataclass(slots=True)
class _Attempts:
    """Follows each port: a connect is an attempt, which a ``found`` makes a device and anything else a failure."""

    file: Path
    _open: dict[str, _Row] = field(default_factory=dict)
    _failed: Counter[str] = field(default_factory=Counter)
    _told: set[str] = field(default_factory=set)
    _events: list[UsbEvent] = field(default_factory=list)

    def take(self, row: _Row) -> None:
        path = row.path
        if row.event == "reset":
            return  # the host resets a port for its own reasons, too
        if row.event == "enumeration-error":
            if path in self._open:
                self._give_up(path)
                self._told.add(path)  # more errors of this attempt say nothing new
            elif path not in self._told:
                self._fail(row)
            return
        self._told.discard(path)
        if row.event == "found":
            self._open.pop(path, None)
            vid, pid = (self._hex(row, name, text) for name, text in (("vid", row.vid), ("pid", row.pid)))
            self._events.append(
                UsbAttached(
                    instrument=_INSTRUMENT, at_s=row.at_s, path=path, vendor_id=vid, product_id=pid, device_class=0
                )
            )
            return
        self._give_up(path)
        if row.event == "connect":
            self._open[path] = row
        else:
            self._events.append(UsbDetached(instrument=_INSTRUMENT, at_s=row.at_s, path=path))

    def finish(self) -> Iterator[UsbEvent]:
        """Return all events; attempts that are still open came to nothing."""
        for path in list(self._open):
            self._give_up(path)
        return iter(self._events)

    def _give_up(self, path: str) -> None:
        if path in self._open:
            self._fail(self._open.pop(path))

    def _fail(self, row: _Row) -> None:
        self._failed[row.path] += 1
        count = self._failed[row.path]
        self._events.append(UsbEnumerationFailed(instrument=_INSTRUMENT, at_s=row.at_s, path=row.path, count=count))

    def _hex(self, row: _Row, name: str, text: str) -> int:
        try:
            value = int(text, 16)
        except ValueError:
            value = -1
        if not 0 <= value <= 0xFFFF:
            raise ConfigInvalid(
                f"{self.file}:{row.line}: {name} {text!r} is no USB id; write four hex digits, like '1209'"
            )
        return value
