"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wakerail.config import BenchPlace, default_config_path, load_place

Config = Annotated[
    Path | None,
    typer.Option(
        "--config", "-c", help="The bench's configuration (default: config/bench.yaml, else the shipped one)."
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON on stdout and nothing else.")]


def config_file(given: Path | None) -> Path:
    """Return the configuration to use."""
    return given or default_config_path()


def place(given: Path | None) -> BenchPlace:
    """Return where the bench is to be found. Raises ConfigInvalid."""
    return load_place(config_file(given))
