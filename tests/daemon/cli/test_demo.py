"""The demo, run once: what its journal and its report say of a device from a wet warehouse, from intake to handover.

CI has run it already, as `make demo`; ``WAKERAIL_DEMO`` names the folder that it wrote into.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wakerail.cli.session import scratch
from wakerail.config import shipped
from wakerail.family_plans import load_family_plans
from wakerail.planning.model import CauseSort

pytestmark = pytest.mark.timeout(300)


def report_of_the_demo(folder: Path):
    """Return the newest demo's report; without one from CI, run the demo."""
    out = Path(os.environ.get("WAKERAIL_DEMO") or folder)
    if out == folder:
        subprocess.run([sys.executable, "-m", "wakerail", "demo", "--out", str(out)], check=True, capture_output=True)
    newest = max(out.glob("*/report-t-114.json"), key=lambda file: file.stat().st_mtime)
    return json.loads(newest.read_text())


def runs_of(told, sequence):
    return [run["verdict"] for run in told["runs"] if run["sequence"] == sequence]


def measured(verdict, name):
    return next(one for one in verdict["measurements"] if one["name"] == name)


def test_a_liquid_damaged_device_is_repaired_from_intake_to_report(tmp_path):
    told = report_of_the_demo(tmp_path)

    # the port fails, is cleaned and passes
    (port,) = runs_of(told, "port-check")
    assert [step["outcome"] for step in port["steps"] if step["verb"] == "test"] == ["Failed", "Passed"]
    assert port["finding"] == "port-clear"

    # the restart stays, whatever is unplugged, until only the board is left
    boots = runs_of(told, "boot-watch")
    assert len(boots) >= 3
    assert {boot["finding"] for boot in boots} == {"restarting"}
    isolation, plan = told["isolation"], load_family_plans(shipped("devices"))["fenmoor-t3"]
    parts = [cause.name for cause in plan.causes if cause.sort is CauseSort.PART]
    assert sum(isolation["before"][part] for part in parts) > 0.4
    assert sum(isolation["steps"][-1]["shares"].get(part, 0.0) for part in parts) < 0.05
    assert isolation["ended"]["sort"] == "the board itself"
    assert "board-joint" in isolation["ended"]["causes"]

    # the boards are separated and rejoined within their profile
    for sequence in ("separate", "rejoin"):
        (heat,) = runs_of(told, sequence)
        assert (heat["outcome"], heat["finding"]) == ("Passed", "profile-kept")
        assert measured(heat, "peak")["value"] > 220.0  # the liquidus of SAC305

    # the repair is proved on everything
    (proof,) = runs_of(told, "proof")
    assert (proof["outcome"], proof["finding"]) == ("Passed", "proved")
    assert measured(proof, "restarts")["value"] == 0
    assert measured(proof, "charge.current mean")["outcome"] == "Passed"
    assert {one["outcome"] for one in told["functions"]} == {"Passed"}

    # in this order, and the job was closed
    order = ["port-check", *["boot-watch"] * len(boots), "separate", "rejoin", "proof"]
    assert [run["sequence"] for run in told["runs"] if run["sequence"] != "rail-check"] == order
    stages = [deed["stage"] for deed in told["deeds"] if deed["event"] == "job-stage-entered"]
    assert stages == ["triage", "isolate", "rework", "proof", "handover"]
    assert (told["state"], told["resolution"]) == ("closed", "repaired")
    assert told["causes"] == ["the joint between the stacked boards"]
    assert told["closed"] <= told["made"]


def test_ctrl_c_stops_the_demo_and_says_in_one_line_what_is_left(tmp_path):
    command = [sys.executable, "-m", "wakerail", "demo", "--out", str(tmp_path / "out")]
    with scratch() as folder:
        demo = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"TMPDIR": str(folder)},
            start_new_session=True,
        )
        try:
            assert demo.stdout is not None
            while "Intake" not in demo.stdout.readline():  # the story has begun, so all of it runs
                assert demo.poll() is None
            demo.send_signal(signal.SIGINT)
            _, err = demo.communicate(timeout=60)
        finally:
            demo.kill()
            demo.wait()
        assert demo.returncode == 130
        assert err == (
            "wakerail: interrupted: the simulated bench is stopped and its journal removed; no report was written\n"
        )
        assert not any(folder.iterdir())
    assert not (tmp_path / "out").exists()
