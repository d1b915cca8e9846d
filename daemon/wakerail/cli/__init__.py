"""The command line: ``wakerail``."""

from __future__ import annotations

import gc
import logging
import sys
from collections.abc import Callable
from typing import Any

from wakerail_kit.errors import ConfigInvalid, WakerailError

USAGE, BENCH_FAULT, INTERRUPTED = 2, 5, 130


def main() -> None:
    """Run the command line. Every error of ours is one line on stderr and an exit code; no traceback."""
    # What libraries log is not for the person at the terminal: each mistake is one line of ours. `serve` logs it.
    logging.getLogger().addHandler(logging.NullHandler())
    # Imports only ever make objects: collections among them find nothing and take a tenth of the start.
    gc.disable()
    from wakerail.cli.app import UsageError, app  # noqa: PLC0415  so that Ctrl-C during the imports is quiet, too

    gc.enable()
    sys.exit(told(lambda: app(prog_name="wakerail", standalone_mode=False), UsageError))


def told(work: Callable[[], object], *usage_errors: Any) -> int:
    """Do ``work`` and return its exit code; an error of ours is told in one line on stderr."""
    try:
        code = work()
    except usage_errors as wrong:
        if says := " ".join(wrong.format_message().split()):  # else it has shown its help instead
            print(f"wakerail: {says}", file=sys.stderr)  # noqa: T201
        return USAGE
    except ConfigInvalid as wrong:
        for problem in wrong.problems:
            print(f"wakerail: {problem}", file=sys.stderr)  # noqa: T201  this is the command line
        return USAGE
    except WakerailError as wrong:
        print(f"wakerail: {wrong}", file=sys.stderr)  # noqa: T201
        return BENCH_FAULT
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
        return 1
    return code if isinstance(code, int) else 0
