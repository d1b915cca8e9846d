"""The unit for systemd that is shipped: systemd finds no mistake in it, and what it calls can be called."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
import typer

from wakerail.cli.app import app

PROGRAM = "/usr/local/bin/wakerail"


@pytest.fixture
def unit(project):
    return (project / "config" / "wakerail.service").read_text()


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not on this machine")
def test_systemd_finds_no_mistake(unit, tmp_path):
    program = tmp_path / "wakerail"
    program.touch(mode=0o755)
    file = tmp_path / "wakerail.service"
    file.write_text(unit.replace(PROGRAM, str(program)))
    verify = ["systemd-analyze", "verify", "--man=no", str(file)]
    found = subprocess.run(verify, capture_output=True, text=True, timeout=30, check=False)
    assert (found.returncode, found.stdout, found.stderr) == (0, "", "")


def test_what_it_calls_can_be_called(unit):
    cli = typer.main.get_command(app)
    calls = dict(re.findall(rf"^(Exec\w+)={PROGRAM} (.*)$", unit, re.MULTILINE))
    assert calls.keys() == {"ExecStart", "ExecStopPost"}
    for call in calls.values():
        name, *options = call.split()
        cli.commands[name].make_context(name, options)


def test_a_second_start_is_not_tried_where_it_cannot_help(unit):
    """2 is the exit code of a mistake in what was typed or written."""
    assert re.search(r"^RestartPreventExitStatus=2$", unit, re.MULTILINE)
    assert re.search(r"^Type=notify$", unit, re.MULTILINE)
