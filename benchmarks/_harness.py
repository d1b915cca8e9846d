"""What all benchmark programs share: their options, and how they say their figures."""

from __future__ import annotations

import argparse
import json
import platform
import sys
from collections.abc import Mapping
from pathlib import Path

import structlog


def arguments(docstring: str | None, **more: str) -> argparse.Namespace:
    """Read the options ``--json`` and ``--short``, and send what is logged to stderr: stdout is the figures' alone.

    ``more`` options take a file each; given is what help says of them.
    """
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    parser = argparse.ArgumentParser(description=docstring, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true", help="print one JSON object on stdout")
    parser.add_argument("--short", action="store_true", help="fewer rounds, for a quick look")
    for name, says in more.items():
        parser.add_argument(f"--{name}", type=Path, metavar="FILE", help=says)
    return parser.parse_args()


def report(title: str, figures: Mapping[str, object], goals: Mapping[str, str], *, as_json: bool) -> None:
    """Print the figures, each with its goal if it has one. A figure's name ends in its unit; None is 'not measured'."""
    if as_json:
        machine = f"{platform.system()} {platform.machine()}, Python {platform.python_version()}"
        print(json.dumps({"benchmark": title, "machine": machine, **figures, "goals": dict(goals)}))
        return
    width = max(map(len, figures))
    print(title)
    for name, value in figures.items():
        shown = "not measured" if value is None else str(value)
        print(f"  {name:<{width}}  {shown:>14}  {goals.get(name, '')}".rstrip())
