"""However a worker ends: the bench is switched off, and it is started again, or the supervisor ends with a reason."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

#: How the worker ends: exit code of the supervisor, starts of a worker, and how each death is told.
IN_ORDER = {
    "told to end": (0, 1, []),
    "its terminal closes": (0, 1, []),
    "halted at its terminal": (0, 1, []),
    "bad input": (2, 1, []),
    "a bench that fails before it is ready": (5, 1, []),
}
DEATHS = {
    "killed three times": (0, 4, ["was killed by SIGKILL"] * 3),
    "killed before it could record": (2, 3, ["was killed by SIGKILL"] * 2),
    "a crash when it was ready": (2, 2, ["ended with exit code 1"]),
    "hung": (2, 2, ["gave no sign of life for 0.6 s"]),
    "hung before its first sign": (2, 2, ["gave no sign of life for 0.6 s"]),
    "a crash before it is ready": (1, 1, ["ended with exit code 1"]),
    "deaf to being told": (5, 1, ["did not end within 0.6 s of being told to"]),
}
READY = ["READY=1", "STATUS=ready"]


def test_however_a_worker_ends(tmp_path):
    """One program plays every ending, so that it is started once."""
    program = Path(__file__).with_name("supervised.py")
    done = subprocess.run(
        [sys.executable, str(program), str(tmp_path)], capture_output=True, text=True, timeout=50, check=False
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout.splitlines()[-1])

    assert found.keys() == (IN_ORDER | DEATHS).keys()
    for how, (code, starts, died) in (IN_ORDER | DEATHS).items():
        one = found[how]
        assert (one["code"], one["starts"]) == (code, starts), how
        assert one["died"] == died, how  # in the journal
        assert one["safe"] == len(died), how  # walked over once for each death, and only then
        handed = 2 * len(died) if how == "killed before it could record" else 2  # what is not in the journal yet
        assert one["notes"] == (handed if starts > 1 else 0), how  # to the last start
    assert "heater off, 81 °C" in done.stdout + done.stderr

    assert found["told to end"]["told"] == [*READY, "STOPPING=1"]
    assert found["hung"]["told"] == [*READY, "STATUS=its worker gave no sign of life for 0.6 s; switching off"]
    assert found["bad input"]["told"] == []
    assert found["hung"]["watched"]
