"""From a recording, a USB log or both to a reading, as a live watch would have read them."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from wakerail.analysis.reading import BootReading
from wakerail.analysis.seen import Restart
from wakerail.analysis.settings import ReaderSettings
from wakerail.analysis.watch import BootReader
from wakerail.recordings.outline import Outline
from wakerail.recordings.samples import Piece, Recording, UsbEvent, in_time
from wakerail.recordings.usb_log import read_usb_log
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.units import UnitInvalid, parse_quantity

_GAP_SPACINGS = 5.0  # so many times the usual spacing is a gap
_CURRENTS_IN_WORDS = re.compile(r"(?<=\d )([mµ]?)A\b")


@dataclass(frozen=True, slots=True)
class Analysis:
    """A reading with what it was read from.

    unit: ``A``, or ``W`` where power was recorded: then all that is amperes in the reading is watts.
    samples: how many there were. start_s, end_s: the times of samples and USB events, first and last.
    begins: the civil time of 0 s, None where the times are the recording's own numbers.
    read_as: how the files were understood, in one line. current, voltage: the trace in outline.
    """

    reading: BootReading
    unit: str
    samples: int
    start_s: float
    end_s: float
    begins: datetime | None
    prompted_s: float | None
    read_as: str
    current: Outline
    voltage: Outline


@dataclass(slots=True)
class _Source:
    """What is to be read, put together from a recording and a USB log."""

    pieces: Iterator[Piece]
    events: list[UsbEvent]
    known: ReaderSettings
    unit: str
    begins: datetime | None
    read_as: list[str]


def analyse(
    recording: Recording | None,
    usb: Path | None = None,
    standing: str | None = None,
    *,
    tell: Callable[[str], None] = lambda _: None,
    step: Callable[[], None] = lambda: None,
) -> Analysis:
    """Read a recording, a USB log, or both on one scale of time.

    ``standing`` is what the device draws when it is off, with its unit. ``tell`` hears, before the data are read, how
    they are understood; ``step`` is called again and again meanwhile. Raises ConfigInvalid if something is wrong.
    """
    source = _put_together(recording, usb, tell)
    if standing is not None:
        source.known = replace(source.known, standing_a=_quantity(standing, source.unit))
    current, voltage = Outline(), Outline()

    def look(piece: Piece) -> None:
        current.take(piece.t_s, piece.current_a)
        if piece.voltage_v is not None:
            voltage.take(piece.t_s, piece.voltage_v)
        step()

    arrivals = in_time(source.pieces, source.events)
    reading, samples, start_s, end_s = read_boot(arrivals, BootReader(source.known), look)
    if source.unit != "A":
        reading = replace(reading, restarts=tuple(map(_of_power, reading.restarts)))
    if recording is not None and (notes := recording.notes()):
        tell("; ".join(notes))
        source.read_as[1:1] = notes
    return Analysis(
        reading=reading,
        unit=source.unit,
        samples=samples,
        start_s=start_s,
        end_s=end_s,
        begins=source.begins,
        prompted_s=source.known.prompted_s,
        read_as="; ".join(source.read_as),
        current=current,
        voltage=voltage,
    )


def read_boot(
    arrivals: Iterable[Piece | UsbEvent], reader: BootReader, look: Callable[[Piece], None]
) -> tuple[BootReading, int, float, float]:
    """Give a reader what arrives in the order of time, and return its reading, the samples, first and last time.

    ``look`` sees each piece, too. Raises ConfigInvalid if nothing arrives.
    """
    samples, start_s, end_s = 0, math.inf, -math.inf
    for arrival in arrivals:
        if isinstance(arrival, Piece):
            reader.take(arrival.t_s, arrival.current_a, arrival.voltage_v, arrival.limiting)
            look(arrival)
            samples += len(arrival.t_s)
            first_s, last_s = float(arrival.t_s[0]), float(arrival.t_s[-1])
        else:
            reader.take_usb(arrival)
            first_s = last_s = arrival.at_s
        start_s, end_s = min(start_s, first_s), max(end_s, last_s)
    if math.isinf(start_s):
        raise ConfigInvalid("nothing to read: there is no sample and no USB event in it")
    return reader.finish(end_s), samples, start_s, end_s


def _put_together(recording: Recording | None, usb: Path | None, tell: Callable[[str], None]) -> _Source:
    source = _Source(iter(()), [], ReaderSettings(), "A", None, [])
    if recording is not None:
        tell(f"read as: {recording.read_as}")
        first = next(recording.pieces, None)
        if first is None:
            raise ConfigInvalid("there is no sample in it; rows of time and current are needed")
        source = _Source(
            pieces=itertools.chain([first], recording.pieces),
            events=list(recording.usb),
            known=replace(recording.known, unit=recording.unit, max_gap_s=_max_gap_s(first, recording.known)),
            unit=recording.unit,
            begins=recording.begins(),  # known from the first piece on
            read_as=[recording.read_as],
        )
    if usb is not None:
        log = read_usb_log(usb, source.begins, beside_trace=recording is not None)
        tell(f"read as: {log.read_as}")
        source.events += log.events
        source.begins = log.begins
        source.read_as.append(log.read_as)
    return source


def _max_gap_s(first: Piece, known: ReaderSettings) -> float:
    """Return the longest time between two samples that is no gap: the setting, or more where samples are further apart.

    Charge is counted over what is no gap.
    """
    spacing_s = float(np.median(np.diff(first.t_s))) if len(first.t_s) > 1 else 0.0
    return max(known.max_gap_s, _GAP_SPACINGS * spacing_s)


def _of_power(restart: Restart) -> Restart:
    """Return a restart of a trace of power, whose sentence takes it for a current, with one that says watts."""
    says = _CURRENTS_IN_WORDS.sub(r"\1W", restart.says).replace("current", "power")
    return replace(restart, says=says)


def _quantity(text: str, unit: str) -> float:
    try:
        return parse_quantity(text, unit)
    except UnitInvalid as wrong:
        raise ConfigInvalid(f"--standing: {wrong}") from None
