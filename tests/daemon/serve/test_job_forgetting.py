"""Files of jobs, and jobs forgotten: what is personal is gone from the journal and its file; verdicts stay."""

from __future__ import annotations

import base64
import hashlib

import pytest

from wakerail.journal import Journal, JournalReader
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import PromptAnswered, RunStarted, StepFinished, make_event
from wakerail_kit.job_requests import MAX_FILE_BYTES
from wakerail_kit.messages import Evidence, Measurement, SequenceRef, Verdict
from wakerail_kit.outcome import Finding, Outcome

PERSONAL = {
    "serial": "SERIAL-Quellwasser",
    "keep": "Blaubeer photographs",
    "customer": "Zwetschge Customer",
    "words": "it fell into the Mirabelle brine " * 90,  # longer than a page of the database
}
NOTES = ["Johannisbeer noticed", "Stachelbeer  label\tin the bag"]
SECRETS = ["Quellwasser", "Blaubeer", "Zwetschge", "Mirabelle", "Johannisbeer", "Stachelbeer", "Kirschen", "Holunder"]
PHOTO = b"\x89PNG a photo with Kirschen on it"


async def a_run(url, job, number, note, *, confirmed=True, says="", noted=""):
    """Write a run whose prompt was answered with a note, as the runner writes it."""
    clock, run = SimulatedClock(), f"run-{number:04}"
    topic = topics.run("bench-1", run, "event")
    async with await Journal.open(url, bench="bench-1", clock=clock) as journal:

        async def happens(data):
            event = make_event(data, clock=clock, bench="bench-1", owner="sequence", run=run)
            await journal.append(topic, event)

        inputs = {"sequence": "boot-watch", "inputs": {}, "roles": {}, "cautions": []}
        await happens(RunStarted(run=run, job=job, **inputs))
        await happens(PromptAnswered(run=run, prompt="p", confirmed=confirmed, operator="mara", note=note))
        refused = f"Aborted: the answer was no to the prompt 'Bridge the pads'; {' '.join(note.split())}."
        said = says or ("" if confirmed else refused)
        await happens(StepFinished(run=run, number=1, verb="prompt", title="Bridge", outcome=Outcome.PASSED, says=said))
        evidence = Evidence(event_id="e", type="t", time="2026-11-26T09:00:00Z", says=noted or f"Noted: {note}")
        measured = Measurement(name="restarts", value=3, unit="1", high=0, outcome=Outcome.FAILED)
        verdict = Verdict(
            id=f"verdict-{number}", bench="bench-1", run=run, sequence=SequenceRef(name="boot-watch", sha256="0" * 64),
            inputs={}, started="2026-11-26T09:00:00Z", ended="2026-11-26T09:01:00Z", outcome=Outcome.FAILED,
            finding=Finding.RESTARTING, job=job, reason=said or "It restarted 3 times.", steps=[],
            measurements=[measured], evidence=[evidence], instruments=[], operator="mara", software_version="0",
        )  # fmt: skip
        await journal.append(topics.run("bench-1", run, "verdict"), verdict)


async def a_job_full_of_it(ask, url, ticket="T-114"):
    await ask.opens(ticket, **PERSONAL)
    job = ticket.lower()
    await ask("job-note", job=job, text="Holunder called", spent_s=600)
    content = base64.b64encode(PHOTO).decode()
    file = {"name": "Kirschen.png", "media_type": "image/png", "content": content, "says": "of Kirschen"}
    kept = await ask("job-keep", job=job, **file)
    await ask("job-pause", job=job, why="Holunder is away")
    await ask("job-resume", job=job)
    await a_run(url, job, 1, NOTES[0])
    await a_run(url, ticket, 2, NOTES[1], confirmed=False)  # a run of before, whose job is named as it was typed
    return kept["sha256"]


def messages(url):
    with JournalReader(url) as reader:
        return {entry.row: entry for entry in reader.messages()}


async def test_what_is_personal_is_gone_and_all_else_stays_as_it_was(desk_of, url, tmp_path):
    async with desk_of() as ask:
        sha256 = await a_job_full_of_it(ask, url)
        assert (tmp_path / "files" / sha256[:2] / sha256).read_bytes() == PHOTO
        await ask.opens("T-115", customer="Somebody Else")
        before = messages(url)
        assert all(any(secret in str(entry) for entry in before.values()) for secret in SECRETS)
        answer = await ask("job-forget", job="T-114", confirmed=True, operator="mara")
        told, other = await ask("job-show", job="t-114"), await ask("job-show", job="t-115")
    assert (answer["files_removed"], answer["files_on"], answer["erased"]) == (1, [], True)
    assert not (tmp_path / "files" / sha256[:2]).exists()
    after = messages(url)
    forgotten = after.pop(answer["row"])
    assert forgotten.message.type == "wakerail.job-forgotten.v1"
    assert ask.announced[-1][1:] == (forgotten.message, forgotten.row)
    assert [secret for secret in SECRETS for entry in after.values() if secret in str(entry)] == []
    assert after.keys() == before.keys()
    assert [entry.topic for entry in after.values()] == [entry.topic for entry in before.values()]
    verdicts = [entry.message for entry in after.values() if isinstance(entry.message, Verdict)]
    assert [(one.outcome, one.finding, one.measurements[0].value) for one in verdicts] == [
        (Outcome.FAILED, Finding.RESTARTING, 3.0)
    ] * 2
    assert [one.evidence[0].says for one in verdicts] == ["Noted: forgotten"] * 2
    assert verdicts[1].reason.startswith("Aborted: the answer was no to the prompt 'Bridge the pads'; forgotten")
    assert told["forgotten"] is True
    assert (told["symptom"], told["spent_s"], len(told["runs"])) == ("restarts", 600.0, 2)
    assert other["intake"]["customer"] == "Somebody Else"


async def test_old_texts_are_not_to_be_found_in_the_bytes_of_the_file(sqlite_desk, path):
    """Nor in its write-ahead log; with rows before and after, and texts that filled pages of their own."""
    async with sqlite_desk() as ask:
        for number in range(40):
            await ask.opens(f"A-{number}", condition="filler " * number)
        await a_job_full_of_it(ask, str(path))
        for number in range(40):
            await ask.opens(f"B-{number}", condition="filler " * number)
        files = [path, path.with_name(path.name + "-wal")]
        assert all(secret.encode() in b"".join(map(type(path).read_bytes, files)) for secret in SECRETS)
        await ask("job-forget", job="t-114", confirmed=True)
        found = {file.name: [secret for secret in SECRETS if secret.encode() in file.read_bytes()] for file in files}
    assert found == {path.name: [], path.name + "-wal": []}


async def test_while_somebody_reads_the_old_texts_stay_and_that_is_said(sqlite_desk, path, monkeypatch):
    """A reader's view of the file holds them; asked again afterwards, they are erased."""
    monkeypatch.setattr("wakerail.journal.rewriting.LOCK_TIMEOUT_S", 0.1)
    async with sqlite_desk() as ask:
        await a_job_full_of_it(ask, str(path))
        with JournalReader(str(path)) as reader:
            held = reader._database._connection
            held.execute("BEGIN")
            held.execute("SELECT count(*) FROM messages").fetchone()
            answer = await ask("job-forget", job="t-114", confirmed=True)
            held.execute("ROLLBACK")
        assert answer["erased"] is False
        assert (await ask("job-forget", job="t-114", confirmed=True))["erased"] is True
    assert not any(secret.encode() in path.read_bytes() for secret in SECRETS)


async def test_nothing_is_forgotten_by_half(sqlite_desk, path, monkeypatch):
    """If the last write fails, every text is still there."""
    async with sqlite_desk() as ask:
        await a_job_full_of_it(ask, str(path))
        before = messages(str(path))
        monkeypatch.setattr("wakerail.journal.rewriting.insert", lambda *_: 1 / 0)
        with pytest.raises(AssertionError, match="the daemon failed"):
            await ask("job-forget", job="t-114", confirmed=True)
    assert messages(str(path)) == before


async def test_a_file_of_another_job_stays_for_that_job(sqlite_desk, path, tmp_path):
    async with sqlite_desk() as ask:
        sha256 = await a_job_full_of_it(ask, str(path))
        await ask.opens("T-115")
        content = base64.b64encode(PHOTO).decode()
        await ask("job-keep", job="t-115", name="same.png", media_type="image/png", content=content)
        assert (await ask("job-forget", job="t-114", confirmed=True))["files_removed"] == 0
        assert (tmp_path / "files" / sha256[:2] / sha256).exists()
        assert (await ask("job-forget", job="t-115", confirmed=True))["files_removed"] == 1
        assert not (tmp_path / "files" / sha256[:2]).exists()


async def test_a_file_on_another_bench_is_removed_there(desk_of, url, tmp_path):
    """Its hash stays until then, and nothing else of it."""
    async with desk_of("bench-1", "files-1") as first, desk_of("bench-2", "files-2") as second:
        sha256 = await a_job_full_of_it(second, url)
        answer = await first("job-forget", job="t-114", confirmed=True)
        assert (answer["files_removed"], answer["files_on"]) == (0, ["bench-2"])
        (kept,) = [one for one in (await first("job-show", job="t-114"))["kept"] if one["event"] == "job-file-kept"]
        assert (kept["sha256"], kept["name"], kept["says"], kept["size_bytes"]) == (sha256, "", "", 0)
        answer = await second("job-forget", job="t-114", confirmed=True)
        assert (answer["files_removed"], answer["files_on"]) == (1, [])
    assert not (tmp_path / "files-2" / sha256[:2]).exists()


async def test_a_file_has_a_largest_size(sqlite_desk):
    async with sqlite_desk() as ask:
        await ask.opens()
        file = {"job": "t-114", "name": "big.bin", "media_type": "application/octet-stream"}
        most = base64.b64encode(bytes(MAX_FILE_BYTES)).decode()
        assert (await ask("job-keep", **file, content=most))["sha256"] == hashlib.sha256(
            bytes(MAX_FILE_BYTES)
        ).hexdigest()
        with pytest.raises(ask.Refused, match=r"big.bin: has 8,388,609 bytes, and at most 8,388,608 are kept"):
            await ask("job-keep", **file, content=base64.b64encode(bytes(MAX_FILE_BYTES + 1)).decode())


async def test_files_need_a_place(sqlite_desk):
    async with sqlite_desk(files="") as ask:
        await ask.opens()
        with pytest.raises(ask.Refused, match=r"name a folder by the key `files` of bench.yaml"):
            await ask("job-keep", job="t-114", name="a.png", media_type="image/png", content="eA==")


async def test_a_job_whose_run_is_in_progress_is_not_forgotten_yet(sqlite_desk):
    """What the run writes at its end repeats its notes."""
    async with sqlite_desk() as ask:
        await ask.opens()
        ask.running["t-114"] = ["run-0001"]
        with pytest.raises(ask.Refused, match=r"job t-114 has a run in progress \(run-0001\)"):
            await ask("job-forget", job="t-114", confirmed=True)
        ask.running.clear()
        assert (await ask("job-forget", job="t-114", confirmed=True))["erased"]


async def test_a_note_is_emptied_where_a_verdict_repeats_it_and_its_words_stay_elsewhere(sqlite_desk, path):
    """Among the functions that failed, and beside their answers; a short note is a word like any other."""
    async with sqlite_desk() as ask:
        await ask.opens()
        says = "1 of 2 functions failed: scanner (fell). It fell and restarted."
        await a_run(str(path), "t-114", 1, "fell", says=says, noted="scanner: no; fell.")
        await ask("job-forget", job="t-114", confirmed=True)
    with JournalReader(str(path)) as reader:
        verdict = reader.verdict()
    assert verdict.reason == "1 of 2 functions failed: scanner (forgotten). It fell and restarted."
    assert verdict.evidence[0].says == "scanner: no; forgotten."
