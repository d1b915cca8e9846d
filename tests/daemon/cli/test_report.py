"""``wakerail report`` as a person and a program use it."""

from __future__ import annotations

import asyncio
import json
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from wakerail.cli import main
from wakerail.journal import Journal
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import make_event
from wakerail_kit.job_events import Intake, JobFileKept, JobOpened, JobStage


@pytest.fixture(name="report")
def _report(monkeypatch, capsys, tmp_path):
    journal = tmp_path / "shop.sqlite"
    asyncio.run(open_job(journal))
    monkeypatch.chdir(tmp_path)

    def report(*args, expect=0):
        """Run the whole command line on a journal with one job; return what it wrote to stdout and stderr."""
        monkeypatch.setattr(sys, "argv", ["wakerail", "report", *args, "--journal", str(journal)])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert (ended.value.code or 0) == expect, err
        return out, err

    return report


async def open_job(path: Path) -> None:
    clock = SimulatedClock()
    opened = JobOpened(job="t-114", family="fenmoor-t3", intake=Intake(symptom="restarts <b>"), operator="mara")
    async with await Journal.open(path, bench="bench-2", clock=clock) as journal:
        event = make_event(opened, clock=clock, bench="bench-2", owner="job", subject="t-114")
        await journal.append(topics.job("bench-2", "t-114"), event)


async def lose_a_photo(path: Path) -> None:
    clock = SimulatedClock()
    kept = JobFileKept(
        job="t-114", stage=JobStage.INTAKE, sha256="ab" * 32, name="port.jpg", media_type="image/jpeg", size_bytes=9
    )
    async with await Journal.open(path, bench="bench-2", clock=clock) as journal:
        event = make_event(kept, clock=clock, bench="bench-2", owner="job", subject="t-114")
        await journal.append(topics.job("bench-2", "t-114"), event)


def test_it_writes_three_files_and_names_them(report, tmp_path):
    out, _ = report("T-114", "--paper", "letter")
    folder = Path("out/t-114")
    names = ["report-t-114.html", "report-t-114.json", "report-t-114.pdf"]
    assert out.splitlines() == [f"written: {folder / name}" for name in names]
    html, twin, pdf = (tmp_path / folder / name for name in names)
    assert "restarts &lt;b&gt;" in html.read_text(encoding="utf-8")
    assert "Fenmoor T3" in html.read_text(encoding="utf-8")
    assert json.loads(twin.read_bytes())["intake"]["symptom"] == "restarts <b>"
    assert pdf.read_bytes().startswith(b"%PDF-")


def test_a_lost_photo_is_one_line_and_all_the_rest_is_written(report, tmp_path):
    asyncio.run(lose_a_photo(tmp_path / "shop.sqlite"))
    out, err = report("t-114", expect=5)
    assert len(out.splitlines()) == 3
    assert all((tmp_path / line.removeprefix("written: ")).stat().st_size for line in out.splitlines())
    says = f"port.jpg: the file is not in {tmp_path / 'files'}; it was kept on bench-2"
    assert err == f"wakerail: the report lacks a photo: {says}\n"
    out, err = report("t-114", "--json", expect=5)
    assert json.loads(out)["files"][0]["lost"]
    assert len(err.splitlines()) == 1


def test_a_journal_from_a_newer_version_is_one_line_and_stays_as_it_is(report, tmp_path):
    journal = tmp_path / "shop.sqlite"
    with closing(sqlite3.connect(journal)) as database, database:
        database.execute("UPDATE meta SET value = '99' WHERE name = 'schema_version'")
    before = journal.read_bytes()
    _, err = report("t-114", expect=2)
    (line,) = err.splitlines()
    assert "was written by a newer Wakerail (journal version 99" in line
    assert journal.read_bytes() == before
    assert not (tmp_path / "out").exists()


def test_json_is_printed_alone_and_nothing_is_written(report, tmp_path):
    out, _ = report("last", "--json")
    assert (json.loads(out)["job"], json.loads(out)["benches"]) == ("t-114", ["bench-2"])
    assert not (tmp_path / "out").exists()


def test_what_cannot_be_is_one_line(report, tmp_path):
    _, err = report("t-115", expect=2)
    assert "no job 't-115'" in err
    (tmp_path / "taken").write_text("")
    _, err = report("t-114", "--out", "taken", expect=2)
    assert err.startswith("wakerail: --out taken: cannot be written")
    assert len(err.splitlines()) == 1
