"""``wakerail --version`` says which one it is, and nothing else."""

from __future__ import annotations

import subprocess
import sys
from importlib import metadata


def test_the_version_is_said() -> None:
    said = subprocess.run([sys.executable, "-m", "wakerail", "--version"], capture_output=True, text=True, check=True)
    assert said.stdout == f"wakerail {metadata.version('wakerail')}\n"
    assert said.stderr == ""
