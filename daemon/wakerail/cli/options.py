"""Options that several commands share."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wakerail.config import BenchPlace, default_config_path, load_place
from wakerail_kit.errors import ConfigInvalid, DeviceUnavailable

if TYPE_CHECKING:
    from wakerail.bus import BusClient

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


@asynccontextmanager
async def served_bench(given: Path | None) -> AsyncIterator[BusClient]:
    """Connect to the daemon of a configuration.

    Raises ConfigInvalid, with the place where the broker is named, if none is there: nothing was asked of the bench
    then, and either the address is wrong or nobody serves it.
    """
    from wakerail.bus import BusClient  # noqa: PLC0415  commands that need no daemon start faster

    where = place(given)
    if where.client_url.endswith(":0"):
        raise ConfigInvalid(f"{where.broker_key}: 'embedded:0' takes any free port, which no client can know; name one")
    async with AsyncExitStack() as stack:
        try:
            client = await stack.enter_async_context(BusClient(where.client_url, where.name))
        except DeviceUnavailable as wrong:
            raise ConfigInvalid(f"{where.broker_key}: {wrong}; start `wakerail serve` or correct the address") from None
        yield client
