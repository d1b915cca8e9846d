"""``wakerail log`` as a person and a program use it."""

from __future__ import annotations

import asyncio
import json
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest
from typer.testing import CliRunner, Result

from wakerail.cli.log import log
from wakerail.journal import Journal
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock, rfc3339
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.events import (
    EventData,
    PromptAnswered,
    PromptRaised,
    RestartSeen,
    RunStarted,
    StepFinished,
    StepStarted,
    make_event,
)
from wakerail_kit.messages import (
    Event,
    Evidence,
    Frame,
    Identity,
    InstrumentUsed,
    Measurement,
    SequenceRef,
    Verdict,
)
from wakerail_kit.outcome import Finding, Outcome

BENCH = "bench-1"
RUN, LATER = "0193aaaa-0001", "0193aaaa-0002"


class Bench:
    """A bench of made-up runs that writes into a journal."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.clock = SimulatedClock(datetime(2026, 11, 25, 9, 30, tzinfo=UTC))
        self.journal: Journal

    async def __aenter__(self) -> Bench:
        self.journal = await Journal.open(self.path, bench=BENCH, clock=self.clock)
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.journal.close()

    async def happens(self, data: EventData, run: str = RUN) -> tuple[Event, int]:
        event = make_event(data, clock=self.clock, bench=BENCH, owner="sequence", run=run)
        return event, await self.journal.append(topics.run(BENCH, run, "event"), event)

    async def run(self) -> None:
        """A boot watch that finds a restart."""
        inputs = {"volts": "3.85 V"}
        await self.happens(
            RunStarted(run=RUN, sequence="boot-watch", inputs=inputs, roles={}, cautions=["Battery out."], job="J-7")
        )
        await self.happens(StepStarted(run=RUN, number=1, verb="prompt", title="Bridge the pads", at_s=0))
        await self.happens(PromptRaised(run=RUN, prompt="p-1", text="Bridge the pads [both], then confirm."))
        self.clock.advance(6.2)
        await self.happens(PromptAnswered(run=RUN, prompt="p-1", confirmed=True, operator="mara"))
        seen, row = await self.happens(
            RestartSeen(run=RUN, at_s=1, again_s=2, number=1, evidence=["current"], says="current fell to 38 mA")
        )
        await self.happens(
            StepFinished(
                run=RUN, number=2, verb="watch", title="Watch", outcome=Outcome.FAILED, finding=Finding.RESTARTING
            )
        )
        self.journal.append_frame(
            Frame(
                bench=BENCH, instrument="supply", number=1, start=rfc3339(self.clock.now()), t_s=[0.0, 0.05],
                half_width_s=[0.001, 0.001], signals={"current": [0.412, None]}, units={"current": "A"},
            ),
            RUN,
        )  # fmt: skip
        self.clock.advance(60)
        await self.journal.append(topics.run(BENCH, RUN, "verdict"), self.verdict(seen, row))

    def verdict(self, seen: Event, row: int) -> Verdict:
        supply = Identity(text="", maker="Larkfield", model="PS-3005", serial="0042")
        return Verdict(
            id="v-1",
            bench=BENCH,
            run=RUN,
            job="J-7",
            sequence=SequenceRef(name="boot-watch", sha256="0" * 64),
            inputs={"volts": "3.85 V"},
            started="2026-11-25T09:30:00.000000Z",
            ended=rfc3339(self.clock.now()),
            outcome=Outcome.FAILED,
            finding=Finding.RESTARTING,
            reason="The board restarts every 9.5 s.",
            steps=[],
            measurements=[
                Measurement(name="standing current", value=0.0012, unit="A", high=0.005, outcome=Outcome.PASSED)
            ],
            evidence=[
                Evidence(
                    event_id=seen.id, type=seen.type, time=seen.time, says="current fell to 38 mA", journal_row=row
                )
            ],
            instruments=[
                InstrumentUsed(role="supply", instrument="psu", kind="power-source", driver="scpi", identity=supply)
            ],
            operator="mara",
            software_version="0.1.0",
        )


@pytest.fixture
async def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Path]:
    """A journal with a finished run and one under way, in a shop whose clock shows UTC+2."""
    monkeypatch.setenv("TZ", "XST-2")
    time.tzset()
    monkeypatch.setenv("COLUMNS", "100")
    async with Bench(tmp_path / "bench-1.sqlite") as bench:
        await bench.run()
        started = RunStarted(run=LATER, sequence="rail-check", inputs={}, roles={}, cautions=[])
        await bench.happens(started, LATER)
    yield bench.path
    monkeypatch.undo()
    time.tzset()


def invoke(*args: object, expect: int = 0) -> Result:
    result = CliRunner().invoke(log, [str(arg) for arg in args])
    assert result.exit_code == expect, result.output
    return result


def refused(*args: object) -> str:
    """What a command that cannot be done says."""
    result = CliRunner().invoke(log, [str(arg) for arg in args])
    assert isinstance(result.exception, ConfigInvalid), result.output
    return str(result.exception)


def test_show_tells_a_runs_story(path):
    told = invoke("show", RUN, "--journal", path).output
    for says in (
        "boot-watch",
        RUN,
        "J-7",
        "volts 3.85 V",
        "psu (Larkfield PS-3005, serial 0042)",
        "Battery out.",
        "Bridge the pads [both], then confirm.",
        "confirmed by mara",
        "restart 1: current fell to 38 mA",
        "Failed: restarting",
        "The board restarts every 9.5 s.",
        "1.2 mA",
        "to 5 mA",
        "took 1 min 06 s",
    ):
        assert says in told
    assert "6.2 s" in told.partition("confirmed by mara")[0].splitlines()[-1]


def test_show_last_is_the_run_that_began_last_even_under_way(path):
    told = invoke("show", "last", "--journal", path).output
    assert "rail-check" in told
    assert "No verdict yet." in told
    assert invoke("show", "0001", "--journal", path).output == invoke("show", RUN, "--journal", path).output


def test_show_json_is_one_document(path):
    story = json.loads(invoke("show", RUN, "--json", "--journal", path).output)
    assert story["run"]["run"] == RUN
    assert msgspec.convert(story["verdict"], Verdict).finding is Finding.RESTARTING
    assert [entry["row"] for entry in story["messages"]] == [1, 2, 3, 4, 5, 6, 7]
    assert json.loads(invoke("show", "last", "--json", "--journal", path).output)["verdict"] is None


def test_show_writes_the_verdict_and_the_picture_of_a_past_run(path, tmp_path):
    out = tmp_path / "out"
    told = invoke("show", RUN, "--out", out, "--journal", path).output
    assert [line for line in told.splitlines() if line.startswith("written: ")]
    assert json.loads((out / "verdict.json").read_text())["id"] == "v-1"
    assert (out / "trace.png").read_bytes().startswith(b"\x89PNG")
    invoke("show", "last", "--out", tmp_path / "none", "--journal", path)
    assert not (tmp_path / "none").exists()  # it is under way


def test_runs_lists_the_newest_first(path):
    header, later, earlier = invoke("runs", "--journal", path).output.splitlines()
    assert header.split()[:4] == ["started", "sequence", "outcome", "finding"]
    assert "rail-check" in later
    assert "under way" in later
    for says in ("2026-11-25 11:30:00", "boot-watch", "Failed", "restarting", "1 min 06 s", "J-7", "aaa-0001"):
        assert says in earlier
    assert [json.loads(line)["run"] for line in invoke("runs", "--json", "--journal", path).output.splitlines()] == [
        LATER,
        RUN,
    ]
    assert len(invoke("runs", "-n", 1, "--journal", path).output.splitlines()) == 2


async def test_runs_of_an_empty_journal(tmp_path):
    async with Bench(tmp_path / "empty.sqlite"):
        pass
    assert invoke("runs", "--journal", tmp_path / "empty.sqlite").output == "No run yet.\n"


def test_export_writes_and_says_how_much(path, tmp_path):
    out = tmp_path / "log.jsonl"
    assert invoke("export", out, "--journal", path).output == f"{out}: 8 lines of messages written\n"
    assert "is there already" in refused("export", out, "--journal", path)
    assert "1 line of messages" in invoke("export", out, "--force", "--run", "last", "--journal", path).output
    samples = tmp_path / "samples.csv"
    assert "2 lines of samples" in invoke("export", samples, "--frames", "--run", "0001", "--journal", path).output
    assert samples.read_text().splitlines()[0].endswith("t_s,half_width_s,current (A)")


def test_what_is_not_there_is_said_in_one_line(path, tmp_path):
    assert "no journal yet" in refused("runs", "--journal", tmp_path / "none.sqlite")
    assert "no journal yet" in refused("tail", "--journal", tmp_path / "none.sqlite")
    assert "no run 'abcd'" in refused("show", "abcd", "--journal", path)
    assert "end the file's name in" in refused("export", tmp_path / "log.txt", "--journal", path)
    assert "\n" not in refused("show", "abcd", "--journal", path)


def test_the_journal_is_the_configured_one_unless_named(path, tmp_path):
    config = tmp_path / "bench.yaml"
    config.write_text(f"bench: {BENCH}\njournal: {path}\ninstruments: {{}}\n")
    assert invoke("runs", "--config", config).output == invoke("runs", "--journal", path).output
    config.write_text(f"bench: another\njournal: {path}\ninstruments: {{}}\n")
    assert invoke("runs", "--config", config).output == "No run yet.\n"


# --- tail, as a process of its own ---


async def start_tail(*args: object) -> asyncio.subprocess.Process:
    command = [sys.executable, "-c", "from wakerail.cli.log import log; log()", "tail", *map(str, args)]
    pipe = asyncio.subprocess.PIPE
    return await asyncio.create_subprocess_exec(*command, stdout=pipe, stderr=pipe)


async def end_tail(tail: asyncio.subprocess.Process) -> None:
    tail.send_signal(signal.SIGINT)
    out, err = await tail.communicate()
    assert (tail.returncode, out, err) == (0, b"", b"")


async def test_tail_prints_each_thing_as_it_comes_until_ctrl_c(path):
    async with asyncio.timeout(30):
        tail = await start_tail("-n", 2, "--journal", path)
        last = [(await tail.stdout.readline()).decode() for _ in range(2)]
        assert [line.split()[2] for line in last] == ["verdict", "run"]
        assert last[0].startswith("2026-11-25 11:31:06  verdict")
        async with Bench(path) as bench:
            for number in (1, 2, 3):
                says = f"it fell {number} times, " + "and the line is long " * 10
                data = RestartSeen(run=RUN, at_s=1, again_s=2, number=number, evidence=[], says=says)
                await bench.happens(data)
                line = (await tail.stdout.readline()).decode()
                assert f"device        restart {number}: it fell {number} times" in line
                assert line.rstrip().endswith("line is long")
        await end_tail(tail)


async def test_tail_json_prints_messages_as_json_lines(path):
    async with asyncio.timeout(30):
        tail = await start_tail("--json", "-n", 100, "--journal", path)
        rows: list[Any] = [json.loads(await tail.stdout.readline()) for _ in range(8)]
        assert [row["row"] for row in rows] == list(range(1, 9))
        async with Bench(path) as bench:
            event, row = await bench.happens(PromptRaised(run=RUN, prompt="p", text="Unplug it."))
        line = json.loads(await tail.stdout.readline())
        assert (line["row"], line["topic"]) == (row, topics.run(BENCH, RUN, "event"))
        assert msgspec.convert(line["message"], Event) == event
        await end_tail(tail)


async def test_tail_can_begin_with_what_is_new(path):
    async with asyncio.timeout(30):
        tail = await start_tail("-n", 0, "--json", "--journal", path)
        async with Bench(path) as bench:
            reading = asyncio.ensure_future(tail.stdout.readline())
            while not reading.done():  # again until it is there to see something new
                await bench.happens(PromptRaised(run=RUN, prompt="p", text="Unplug it."))
                await asyncio.wait([reading], timeout=0.5)
        line = json.loads(await reading)
        assert line["row"] > 8
        tail.send_signal(signal.SIGINT)
        await tail.communicate()
        assert tail.returncode == 0


def test_without_a_journal_the_command_exits_with_2_and_one_line(tmp_path):
    main = "from wakerail.cli import main; main()"
    command = [sys.executable, "-c", main, "log", "runs", "--journal", str(tmp_path / "none.sqlite")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        f"wakerail: {tmp_path}/none.sqlite: no journal yet; the daemon begins it on its first start\n"
    )
