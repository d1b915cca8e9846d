"""What ``wakerail job`` shows of a journal, and what it refuses before any daemon is asked."""

from __future__ import annotations

import sys
from datetime import UTC, datetime

import pytest

from wakerail.cli import main
from wakerail.journal import FileStore, Journal
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import make_event
from wakerail_kit.job_events import (
    Intake,
    IsolationAdvised,
    IsolationObserved,
    JobClosed,
    JobFileKept,
    JobNoted,
    JobOpened,
    JobPartUsed,
    JobPaused,
    JobStage,
    JobStageEntered,
    Resolution,
)

JOB = {"job": "t-114"}
IN = {"job": "t-114", "stage": JobStage.ISOLATE}
PORT = b"a photo of the port"
CONFIG = ["--config", "bench.yaml"]


@pytest.fixture
async def journal(tmp_path, monkeypatch):
    """A journal with two jobs, and the files of one."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bench.yaml").write_text("bench: shop\njournal: shop.sqlite\ninstruments: {}\n")
    clock = SimulatedClock(datetime(2026, 11, 26, 9, 0, tzinfo=UTC))
    sha256 = FileStore(tmp_path / "files").keep(PORT)
    shares = {"display": 0.7, "keypad": 0.295, "speaker": 0.005}
    told = Intake(symptom="restarts [bold]", words="fell\x1b[31m in brine")
    async with await Journal.open(tmp_path / "shop.sqlite", bench="shop", clock=clock) as journal:
        for data in (
            JobOpened(job="t-113", family="fenmoor-t3", intake=Intake(symptom="no boot")),
            JobClosed(job="t-113", resolution=Resolution.NO_FAULT_FOUND),
            JobOpened(**JOB, family="fenmoor-t3", intake=told),
            JobStageEntered(**IN),
            JobNoted(**IN, text="corrosion", spent_s=3900.0),
            JobPartUsed(**IN, part="port flex", count=2),
            JobFileKept(**IN, sha256=sha256, name="port.jpg", media_type="image/jpeg", size_bytes=3_100_000),
            JobFileKept(**IN, sha256=sha256, name="port.jpg", media_type="image/jpeg", size_bytes=3_100_000),
            JobFileKept(**IN, sha256="0" * 64, name="lost.jpg", media_type="image/jpeg", size_bytes=900),
            IsolationObserved(**JOB, number=1, kind="boot", says="Without the scanner it restarts every 3.2 s."),
            IsolationAdvised(**JOB, after=1, kind="try", says="Unplug the display.", shares=shares),
            JobPaused(**JOB, why="flex on order"),
        ):
            clock.advance(60.0)
            event = make_event(data, clock=clock, bench="shop", owner="job", subject=data.job)
            await journal.append(topics.job("shop", data.job), event)
    return tmp_path


@pytest.fixture
def wakerail(monkeypatch, capfd):
    def call(*args):
        monkeypatch.setattr(sys, "argv", ["wakerail", *args])
        monkeypatch.setenv("COLUMNS", "100")
        monkeypatch.setenv("TZ", "UTC")
        with pytest.raises(SystemExit) as ended:
            main()
        said = capfd.readouterr()
        return ended.value.code or 0, [line.rstrip() for line in said.out.splitlines()], said.err.splitlines()

    return call


def test_a_job_is_shown_whole_and_what_was_typed_upsets_no_terminal(journal, wakerail):
    code, out, err = wakerail("job", "show", "T-114", *CONFIG)
    assert (code, err) == (0, [])
    assert out[0] == "t-114  fenmoor-t3  paused, isolate"
    assert "symptom         restarts [bold]" in out
    assert "in their words  fell·[31m in brine" in out
    assert "time noted      1 h 5 min" in out
    story = [
        line.split("  ", 1)[1].strip()
        for line in out[out.index("What happened") + 1 : out.index("Isolation so far") - 1]
    ]
    assert story == [
        "opened",
        "isolate       goes to isolate",
        "isolate       corrosion; took 1 h 5 min",
        "isolate       part used: port flex, 2 times",
        "isolate       file kept: port.jpg, 3.1 MB",
        "isolate       file kept: port.jpg, 3.1 MB",
        "isolate       file kept: lost.jpg, 900 B",
        "paused: flex on order",
    ]
    isolation = out[out.index("Isolation so far") + 1 :]
    assert isolation[0] == "1  Without the scanner it restarts every 3.2 s."
    assert [line.split()[:2] for line in isolation[2:4]] == [["display", "70"], ["keypad", "30"]]
    assert isolation[-1] == "Next: Unplug the display."


def test_jobs_are_listed_newest_first(journal, wakerail):
    _, out, _ = wakerail("job", "list", *CONFIG)
    assert [line.split()[:2] for line in out[1:]] == [["t-114", "paused"], ["t-113", "closed:"]]
    _, out, _ = wakerail("job", "list", "--state", "open", *CONFIG)
    assert out == ["No job is open."]


def test_files_are_taken_out_once_each_and_a_missing_one_is_told(journal, wakerail):
    (journal / "out").mkdir()
    (journal / "out" / "port.jpg").write_bytes(b"another picture of mine")
    code, out, err = wakerail("job", "show", "t-114", "--files", "out", *CONFIG)
    assert code == 5
    assert out[-1] == "written: out/port-2.jpg"
    assert (journal / "out" / "port-2.jpg").read_bytes() == PORT
    assert (journal / "out" / "port.jpg").read_bytes() == b"another picture of mine"
    (line,) = err
    assert line.startswith("wakerail: lost.jpg: ")
    assert "is not here" in line


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["show", "T-141"], "no job 't-141'; did you mean 't-114'?"),
        (["keep", "t-114", "missing.jpg"], "missing.jpg: cannot be read: No such file or directory"),
        (["keep", "t-114", "."], ".: cannot be read: Is a directory"),
        (["note", "t-114", "the PIN is 4711"], "text: it looks like a passcode"),
        (["note", "t-114", "--spent", "25"], "--spent: '25' has no unit; write it like"),
        (["open", "--family", "fenmoor-t3"], "--symptom: must be answered"),
        (["forget", "t-114"], "to forget cannot be undone; say --yes where nobody can be asked"),
        (["close", "t-114"], "Missing option '--as'"),
    ],
)
def test_a_mistake_is_one_line(journal, wakerail, args, says):
    code, out, err = wakerail("job", *args, *CONFIG)
    assert (code, out, len(err)) == (2, [], 1)
    assert says in err[0]
    assert "4711" not in err[0]
