"""The command line: ``wakerail``."""

from __future__ import annotations

import sys

from wakerail_kit.errors import ConfigInvalid, WakerailError

USAGE, BENCH_FAULT = 2, 5


def main() -> None:
    """Run the command line. Every error of ours is one line on stderr and an exit code; no traceback."""
    from wakerail.cli.app import app  # noqa: PLC0415  so that an import error below still ends in one line

    try:
        app()
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
