"""Logging of the daemon: readable on a console, JSON for machines; always on stderr."""

from __future__ import annotations

import logging
import sys
from typing import Any

import structlog


def set_up_logging(form: str, *, verbose: bool) -> None:
    """Configure structlog once. ``form`` is ``console`` or ``json``."""
    level = logging.DEBUG if verbose else logging.INFO
    logging.basicConfig(level=logging.WARNING, format="%(name)s: %(message)s", stream=sys.stderr, force=True)
    renderer: Any = (
        structlog.processors.JSONRenderer()
        if form == "json"
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty(), pad_event_to=32)
    )
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso" if form == "json" else "%H:%M:%S", utc=form == "json"),
            structlog.processors.format_exc_info,
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
