"""The command line: ``wakerail``."""

from __future__ import annotations

import gc
import logging
import sys

from wakerail_kit.errors import ConfigInvalid, WakerailError

USAGE, BENCH_FAULT = 2, 5


def main() -> None:
    """Run the command line. Every error of ours is one line on stderr and an exit code; no traceback."""
    # What libraries log is not for the person at the terminal: each mistake is one line of ours. `serve` logs it.
    logging.getLogger().addHandler(logging.NullHandler())
    # Imports only ever make objects: collections among them find nothing and take a tenth of the start.
    gc.disable()
    from wakerail.cli.app import UsageError, app  # noqa: PLC0415  so that Ctrl-C during the imports is quiet, too

    gc.enable()
    try:
        sys.exit(app(prog_name="wakerail", standalone_mode=False))
    except UsageError as wrong:
        if says := " ".join(wrong.format_message().split()):  # else it has shown its help instead
            print(f"wakerail: {says}", file=sys.stderr)  # noqa: T201
        sys.exit(USAGE)
    except ConfigInvalid as wrong:
        for problem in wrong.problems:
            print(f"wakerail: {problem}", file=sys.stderr)  # noqa: T201  this is the command line
        sys.exit(USAGE)
    except WakerailError as wrong:
        print(f"wakerail: {wrong}", file=sys.stderr)  # noqa: T201
        sys.exit(BENCH_FAULT)
    except KeyboardInterrupt:
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
