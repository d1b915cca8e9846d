"""What a plugin offers: a module with ``api_version`` and the hook below, named by an entry point.

Group ``wakerail.plugins`` in the plugin's package metadata. Hooks are synchronous and return objects; the host calls
those objects' methods later, each in its instrument's own I/O thread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import pluggy

from wakerail_kit.clock import Clock
from wakerail_kit.errors import ContractViolation
from wakerail_kit.families import DeviceFamily
from wakerail_kit.kinds import Instrument, Kind
from wakerail_kit.yamldoc import Section

API_VERSION = 1
ENTRY_POINT_GROUP = "wakerail.plugins"
PROJECT = "wakerail"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@dataclass(frozen=True, slots=True)
class BuildContext:
    """What a driver may need from its host when it is built."""

    clock: Clock
    bench: str
    instrument: str
    dialects: Path
    families: Sequence[DeviceFamily]


@dataclass(frozen=True, slots=True)
class InstrumentType:
    """A sort of instrument that a plugin can drive, named by ``driver:`` in bench.yaml.

    ``build`` reads the driver's own keys from its section of bench.yaml (the section collects every mistake with
    its line) and returns the driver. It must not touch the instrument: ``open`` does that.
    ``says`` is for listings.
    """

    name: str
    kind: Kind
    says: str
    build: Callable[[Section, BuildContext], Instrument]


@hookspec
def wakerail_instrument_types() -> Sequence[InstrumentType]:
    """Return the sorts of instrument that this plugin drives."""
    raise NotImplementedError  # a specification: only its signature is used


def check_api_version(plugin: ModuleType, name: str) -> None:
    """Refuse a plugin that was written for another version of this contract. Raises ContractViolation."""
    stated = getattr(plugin, "api_version", None)
    if stated is None:
        raise ContractViolation(
            f"plugin {name!r} states no api_version; this Wakerail needs api_version = {API_VERSION}"
        )
    if stated != API_VERSION:
        raise ContractViolation(
            f"plugin {name!r} was written for API version {stated}; this Wakerail speaks version {API_VERSION}"
        )
