"""One daemon for one bench: a lock file beside the journal, held as long as any process of the daemon lives."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wakerail_kit.errors import ConfigInvalid

try:
    import fcntl
except ImportError:  # not a POSIX system: the ports are opened exclusively all the same
    fcntl = None  # type: ignore[assignment]


def lock_folder(journal: str) -> Path:
    """Return where the lock of a bench lies, given its journal."""
    return Path("var") if "://" in journal else Path(journal).parent


@contextmanager
def bench_lock(folder: Path, bench: str) -> Iterator[None]:
    """Hold the bench's lock. Raises ConfigInvalid if another daemon has it; the kernel frees it if we are killed."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file = (folder / f"{bench}.lock").open("a+", encoding="ascii")
    except OSError as wrong:
        raise ConfigInvalid(f"{folder}: cannot be written: {wrong.strerror}") from None
    with file:
        if fcntl is not None:
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                file.seek(0)
                holder = file.read().strip() or "unknown"
                raise ConfigInvalid(
                    f"bench {bench!r} is served already (process {holder}); stop that daemon first, "
                    "or give this bench another name and journal"
                ) from None
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        yield


def lock_holder(folder: Path, bench: str) -> str | None:
    """Return the process that serves the bench, or None if none does as far as can be seen."""
    try:
        with (folder / f"{bench}.lock").open(encoding="ascii") as file:
            if fcntl is None:
                return None
            try:
                fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
            except OSError:
                return file.read().strip() or "unknown"
    except OSError:
        pass
    return None
