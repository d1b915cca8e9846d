"""Logging of the daemon: readable on a console, JSON for machines; always on stderr."""

from __future__ import annotations

import contextlib
import logging
import sys
from typing import Any

import structlog


class SteadyLogger(structlog.PrintLogger):
    """Prints, and lets it be where nothing can be printed: a closed terminal or pipe must not stop a bench."""

    def msg(self, message: str) -> None:
        """Print a line, if that can be done."""
        with contextlib.suppress(OSError, ValueError):
            super().msg(message)

    log = debug = info = warn = warning = msg
    fatal = failure = err = error = critical = exception = msg


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
        logger_factory=lambda *_: SteadyLogger(sys.stderr),
        cache_logger_on_first_use=False,
    )
