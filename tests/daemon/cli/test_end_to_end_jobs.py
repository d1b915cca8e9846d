"""A job as a person meets it: its commands against a daemon of its own, and its events over MQTT."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json

import jsonschema

from wakerail.bus import BusClient
from wakerail.journal import JournalReader
from wakerail_kit import topics
from wakerail_kit.events import RunStarted, type_of
from wakerail_kit.job_events import Resolution
from wakerail_kit.job_requests import CloseJob, NoteJob, ShowJob
from wakerail_kit.messages import AnswerPrompt, Event, RunSequence, encode

SECRET = "swordfish"


async def test_a_job_from_intake_to_being_forgotten(shop, project):
    async with shop.bench() as bench, BusClient(bench.url, "shop") as client:
        events = client.messages(topics.job("shop", "t-114"))
        await client.subscribed()

        async def job(*args: str) -> tuple[int, str, list[str]]:
            code, program = await shop.command("job", *args, "--config", str(bench.config))
            return code, program.out, program.mistakes

        intake = ["--ticket", "T-114", "--symptom", "restarts", "--customer", "R. Example"]
        assert await job("open", "--family", "fenmoor-t3", *intake) == (0, "job t-114 is open\n", [])
        refused = await client.ask("job-note", NoteJob(job="t-114", text=f"passcode {SECRET}"))
        assert (refused.ok, refused.exit_code) == (False, 2)
        refused = await client.ask("confirm", AnswerPrompt(run="r", prompt="p", note=f"unlock code: {SECRET}"))
        assert refused.says.startswith("note: it looks like a passcode")
        watch = await bench.run("boot-watch", "--job", "T-141")
        assert await watch.ends() == 2
        assert watch.mistakes == [
            "wakerail: no job 't-141'; did you mean 't-114'?, or open it first: `wakerail job open --ticket T-141`"
        ]
        other = await client.ask("run", RunSequence(sequence="rail-check", job="t-114", family="other"))
        assert other.says == "job t-114 is a fenmoor-t3, not a 'other'; leave the family out"
        (shop.folder / "port.jpg").write_bytes(b"a photo" * 100_000)
        note = NoteJob(job="t-114", text="corrosion at the port", spent_s=1500.0)
        _, _, run = await asyncio.gather(
            job("keep", "t-114", "port.jpg", "--says", "before cleaning"),
            client.ask("job-note", note),
            bench.run("rail-check", "--job", "T-114", "--yes"),
        )
        assert await run.ends() == 0
        assert shop.verdict(run).job == "t-114"
        with JournalReader(bench.journal) as reader:
            (begun,) = reader.events(type=type_of(RunStarted))
        assert begun.message.data["family"] == "fenmoor-t3"
        code, out, mistakes = await job("show", "t-114", "--json", "--files", "out")
        told = json.loads(out)
        assert (code, mistakes) == (0, ["written: out/port.jpg"])
        assert (shop.folder / "out" / "port.jpg").read_bytes() == b"a photo" * 100_000
        assert [one["sequence"] for one in told["runs"]] == ["rail-check"]
        assert told["runs"][0]["outcome"] == "Passed"
        assert {one["event"] for one in told["kept"]} == {"job-file-kept", "job-noted"}
        assert told == (await client.ask("job-show", ShowJob(job="last"))).data
        code, out, _ = await job("forget", "t-114", "--yes")
        assert (code, out) == (0, "job t-114: what was personal is forgotten; 1 file removed\n")
        await client.ask("job-close", CloseJob(job="t-114", resolution=Resolution.REPAIRED))
        closed = await client.ask("run", RunSequence(sequence="rail-check", job="t-114"))
        assert closed.says == "job t-114 is closed; `wakerail job resume t-114` opens it again"
        bare = (await client.ask("job-show", ShowJob(job="t-114"))).data
        assert (bare["runs"], bare["spent_s"], bare["intake"]["customer"]) == (told["runs"], 1500.0, "")
        assert [file for file in (shop.folder / "files").rglob("*") if file.is_file()] == []
        heard: list[Event] = []
        async with asyncio.timeout(10), contextlib.aclosing(events):
            async for _, event in events:
                heard.append(event)
                if event.type == "wakerail.job-closed.v1":
                    break
        assert SECRET not in bench.daemon.out + bench.daemon.err
    kinds = [event.type.split(".")[1] for event in heard]
    assert sorted(kinds) == ["job-closed", "job-file-kept", "job-forgotten", "job-noted", "job-opened"]
    for event in heard:
        schema = json.loads((project / "docs" / "schemas" / f"event.{event.type.split('.')[1]}.json").read_text())
        jsonschema.validate(json.loads(encode(event)), schema)
    assert hashlib.sha256(b"a photo" * 100_000).hexdigest() in {event.data.get("sha256") for event in heard}
    files = [shop.folder / name for name in ("shop.sqlite", "shop.sqlite-wal") if (shop.folder / name).exists()]
    assert not any(word in file.read_bytes() for file in files for word in (b"R. Example", b"corrosion", b"port.jpg"))
