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
    "no more processes": (
        2,
        2,
        ["could not be started: Resource temporarily unavailable"],
    ),
    "deaf to being told": (5, 1, ["did not end within 0.6 s of being told to"]),
}
#: Deaths after which not even the walk could be a process of its own: the last start is handed them.
UNTOLD = {"no more processes": 1}
NOT_RECORDED = {"killed before it could record": 2, "no more processes": 2}
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
        assert one["safe"] == len(died) + UNTOLD.get(how, 0), how  # walked over once for each death, and only then
        # The last start is handed what the one before it had not put into the journal: of each death two events.
        assert one["notes"] == (2 * NOT_RECORDED.get(how, 1) if starts > 1 else 0), how
    assert "heater off, 81 °C" in done.stdout + done.stderr

    assert found["told to end"]["told"] == [*READY, "STOPPING=1"]
    assert found["hung"]["told"] == [*READY, "STATUS=its worker gave no sign of life for 0.6 s; switching off"]
    assert found["bad input"]["told"] == []
    assert found["hung"]["watched"]
