"""The bench's configuration, config/bench.yaml: read whole, checked whole, before anything is opened.

Nothing here touches an instrument. A driver's own keys are read by its plugin when it is built; all mistakes of the
file come out together, each with file, line and key.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import wakerail
from wakerail.family_plans import load_family_plans
from wakerail.heat_limits import read_heat_limits
from wakerail_kit.alloys import load_alloys
from wakerail_kit.clock import Clock
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import DeviceFamily, load_families
from wakerail_kit.hooks import BuildContext, InstrumentType
from wakerail_kit.kinds import HEAT_SOURCE, POWER_SOURCE, Instrument
from wakerail_kit.topics import RESERVED
from wakerail_kit.units import human
from wakerail_kit.yamldoc import Section, load_yaml

DEFAULT_BROKER_PORT = 1883
MAX_PORT = 65535
MAX_RATE_HZ = 1000.0
#: How long heat goes on after a person has confirmed to be at the bench (common practice, no source).
ATTENDED_S = 180.0
_BROKER = re.compile(r"^(embedded(:\d{1,5})?|mqtts?://[^/\s]+)$")


@dataclass(frozen=True, slots=True)
class InstrumentConfig:
    """One instrument as configured, its driver built but not opened. ``limits`` are by key, each in its unit.

    ``off_while_hot`` is the plate that carries the board which a supply powers, or empty; ``calibrated`` the date of
    its last calibration (ISO 8601), empty if none is stated.
    """

    name: str
    type: InstrumentType
    driver: Instrument
    address: str
    dialect: str
    rate_hz: float
    limits: Mapping[str, float]
    off_while_hot: str = ""
    calibrated: str = ""


@dataclass(frozen=True, slots=True)
class BenchConfig:
    """A bench as configured. ``broker_url`` is None for the embedded broker on ``broker_port`` (0: any free one).

    ``files`` is where the files of jobs are kept, None if nobody said and the journal is no file.
    """

    file: Path
    name: str
    broker_url: str | None
    broker_port: int
    journal: str
    files: Path | None
    sequences: Path
    devices: Path
    families: tuple[DeviceFamily, ...]
    instruments: tuple[InstrumentConfig, ...]
    attended_s: float = ATTENDED_S

    @property
    def client_url(self) -> str:
        """Where a client on this machine finds the broker."""
        return self.broker_url or f"mqtt://127.0.0.1:{self.broker_port}"


def shipped(folder: str) -> Path:
    """Return data shipped with Wakerail: a folder (``sequences``, ``devices``, ``dialects``) or a file."""
    inside = Path(wakerail.__file__).parent / "config"  # in an installed wheel
    source = Path(wakerail.__file__).parents[2] / "config"  # in a source tree
    return (inside if inside.is_dir() else source) / folder


def default_config_path() -> Path:
    """Return config/bench.yaml of the working directory if it is there, else the one that is shipped."""
    here = Path("config/bench.yaml")
    return here if here.exists() else shipped("") / "bench.yaml"


@dataclass(frozen=True, slots=True)
class BenchPlace:
    """The little of a configuration that a client needs. ``broker_key`` is where the file names the broker."""

    name: str
    client_url: str
    broker_key: str
    journal: str
    files: Path | None
    sequences: Path
    devices: Path


def load_place(file: Path) -> BenchPlace:
    """Read only where the bench is to be found; instruments are left to the daemon. Raises ConfigInvalid."""
    doc = load_yaml(file)
    doc.top.leave_open()
    name, url, port, journal = _place(doc.top)
    files = _files(doc.top, journal)
    sequences = _folder(doc.top, "sequences", file.parent / "sequences")
    devices = _folder(doc.top, "devices", file.parent / "devices")
    doc.finish()
    broker_key = f"{file}:{doc.top.line_of('broker')}: broker"
    return BenchPlace(name, url or f"mqtt://127.0.0.1:{port}", broker_key, journal, files, sequences, devices)


def load_bench_config(
    file: Path, types: Mapping[str, InstrumentType], clock: Clock, only_at: Collection[str] | None = None
) -> BenchConfig:
    """Read and check a bench's configuration and build its drivers. Raises ConfigInvalid with every mistake.

    ``only_at`` is where the instruments of a simulated bench are; with it one that is elsewhere is a mistake.
    """
    doc = load_yaml(file)
    top = doc.top
    name, url, port, journal = _place(top)
    files = _files(top, journal)
    folders = {folder: _folder(top, folder, file.parent / folder) for folder in ("sequences", "devices", "dialects")}
    alloys = file.parent / "alloys.yaml"
    families = load_families(folders["devices"], load_alloys(alloys if alloys.is_file() else shipped("alloys.yaml")))
    load_family_plans(folders["devices"])  # for its mistakes only: whoever plans an isolation reads it then
    attended_s = top.quantity("attended", "s", default=ATTENDED_S, low=5.0, high=3600.0)
    instruments, sections = [], {}
    for instrument, section in top.section("instruments").each():
        if instrument in RESERVED:
            section.note_here(f"{instrument!r} is a word of the bus; give the instrument another name")
        context = BuildContext(clock, name, instrument, folders["dialects"], families)
        built = _instrument(instrument, section, context, types)
        if built is not None:
            instruments.append(built)
            sections[instrument] = section
    _check_wiring(instruments, sections)
    if only_at is not None:
        _refuse_real(sections, only_at)
    doc.finish()
    if not instruments:
        raise ConfigInvalid(f"{file}:{top.line_of('instruments')}: instruments: the bench has none; name at least one")
    return BenchConfig(
        file=file,
        name=name,
        broker_url=url,
        broker_port=port,
        journal=journal,
        files=files,
        sequences=folders["sequences"],
        devices=folders["devices"],
        families=families,
        instruments=tuple(instruments),
        attended_s=attended_s,
    )


def _place(top: Section) -> tuple[str, str | None, int, str]:
    name = top.name("bench")
    broker = top.text("broker", default="embedded")
    if not _BROKER.match(broker):
        top.note("broker", f"{broker!r} is no broker; write 'embedded', 'embedded:1883' or 'mqtt://host:1883'")
    elif (port := broker.rpartition(":")[2]).isdigit() and int(port) > MAX_PORT:
        top.note("broker", f"{broker!r} has no possible port; the highest is {MAX_PORT}")
    journal = top.text("journal", default=f"var/{name}.sqlite")
    if broker.startswith("mqtt"):
        return name, broker, 0, journal
    digits = broker.partition(":")[2]
    return name, None, int(digits) if digits.isdigit() else DEFAULT_BROKER_PORT, journal


def _files(top: Section, journal: str) -> Path | None:
    """Return where the files of jobs are kept: as configured, else beside the journal's file."""
    given = top.text("files", default="")
    return Path(given) if given else files_beside(journal)


def files_beside(journal: str) -> Path | None:
    """Return the folder of files beside a journal's file; None for a journal that is no file."""
    scheme, is_url, rest = journal.partition("://")
    if is_url and scheme != "sqlite":
        return None
    return Path(rest[1:] if is_url else journal).parent / "files"


def _folder(top: Section, folder: str, beside: Path) -> Path:
    """Return where one sort of data lies: as configured, else beside the file, else as shipped."""
    given = top.text(folder, default="")
    if not given:
        return beside if beside.is_dir() else shipped(folder)
    path = Path(given) if Path(given).is_absolute() else beside.parent / given
    if not path.is_dir():
        top.note(folder, f"{path} is no folder")
    return path


def _instrument(
    name: str, section: Section, context: BuildContext, types: Mapping[str, InstrumentType]
) -> InstrumentConfig | None:
    driver = section.text("driver", one_of=sorted(types))
    rate_hz = section.quantity("rate", "Hz", default=20.0, low=0.1, high=MAX_RATE_HZ)
    limits = section.section("limits", default=None)
    if driver not in types:
        section.leave_open()
        limits.leave_open()
        return None
    sort = types[driver]
    given = {
        setting.name: limits.optional_quantity(setting.name, setting.unit, low=0.0)
        for setting in sort.kind.settings.values()
        if setting.unit is not None
    }
    bounds = {setting: limit for setting, limit in given.items() if limit is not None}
    for setting in sort.kind.must_be_limited:
        if setting not in bounds:
            section.note("limits", f"{setting!r} is missing; the interlock needs the highest value ever allowed")
    if sort.kind is HEAT_SOURCE:
        bounds |= read_heat_limits(limits)
        if 1 / rate_hz > bounds["silence"] / 2:
            section.note("rate", f"{human(rate_hz, 'Hz')} is too slow for a plate; at least twice within `silence`")
    off_while_hot = section.text("off-while-hot", default="") if sort.kind is POWER_SOURCE else ""
    calibrated = _date(section, "calibrated")
    instrument = sort.build(section, context)
    return InstrumentConfig(
        name=name,
        type=sort,
        driver=instrument,
        address=section.peek("address"),  # a key that the driver has no use for stays unknown
        dialect=section.peek("dialect"),
        rate_hz=rate_hz,
        limits=bounds,
        off_while_hot=off_while_hot,
        calibrated=calibrated,
    )


def _refuse_real(sections: Mapping[str, Section], only_at: Collection[str]) -> None:
    """Note every instrument that is none of the simulated bench's: a real one never runs on a simulated clock."""
    for section in sections.values():
        where = section.peek("address") or section.peek("socket")
        if where not in only_at and os.path.abspath(where) not in only_at:  # noqa: PTH100  a pty's link stays a link
            section.note_here("is none of the simulated bench's instruments; serve it without --simulated")


def _date(section: Section, key: str) -> str:
    """Take a date, empty if there is none."""
    given = section.text(key, default="")
    try:
        return date.fromisoformat(given).isoformat() if given else ""
    except ValueError:
        section.note(key, f"{given!r} is no date; write it like 2026-03-01")
        return ""


def _check_wiring(instruments: Sequence[InstrumentConfig], sections: Mapping[str, Section]) -> None:
    """Note a supply that names no plate of this bench, or a plate that another supply named before."""
    plates = {one.name for one in instruments if one.type.kind is HEAT_SOURCE}
    for one in instruments:
        if one.off_while_hot and one.off_while_hot not in plates:
            says = f"{one.off_while_hot!r} is no heating plate of this bench, or belongs to another supply"
            sections[one.name].note("off-while-hot", says)
        plates.discard(one.off_while_hot)
