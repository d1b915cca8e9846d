"""Hosts the bench's instruments: plugins, I/O threads, interlocks, and the record of what happens."""

from wakerail.bench.bench import Bench, Recorded
from wakerail.bench.plugins import Plugins, load_plugins

__all__ = ["Bench", "Plugins", "Recorded", "load_plugins"]
