"""Logging never harms the bench, whatever becomes of the terminal."""

from __future__ import annotations

import io

import structlog

from wakerail.cli.logs import set_up_logging


def test_a_log_whose_terminal_is_gone_is_let_be(monkeypatch) -> None:
    gone = io.StringIO()
    monkeypatch.setattr("sys.stderr", gone)
    set_up_logging("json", verbose=False)
    log = structlog.get_logger()
    log.warning("seen", instrument="supply")
    assert '"instrument": "supply"' in gone.getvalue()
    gone.close()
    log.error("nobody sees this")
