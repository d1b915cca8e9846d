"""Jobs by request, on real journals in SQLite and PostgreSQL: what is kept, what is announced, what is refused."""

from __future__ import annotations

import asyncio

import pytest

from wakerail.journal import JournalReader
from wakerail_kit.events import type_of
from wakerail_kit.job_events import JobOpened, Resolution


async def test_a_job_from_intake_to_handover_is_kept_and_announced_in_its_order(desk_of, url):
    async with desk_of() as ask:
        assert await ask.opens("T-114", exposure="brine", customer="R. Example", operator="mara") == "t-114"
        await ask("job-stage", job="T-114", stage="isolate")
        await ask("job-note", job="t-114", text="corrosion at the port", spent_s=1500, part="port flex", count=2)
        await ask("job-pause", job="last", why="part on order")
        await ask("job-resume", job="t-114")
        await ask("job-close", job="t-114", resolution="repaired", causes=["charge-port"], says="flex replaced")
        told = await ask("job-show", job="t-114")
        announced = ask.announced
    assert (told["state"], told["resolution"], told["causes"], told["spent_s"]) == (
        "closed",
        "repaired",
        ["charge-port"],
        1500.0,
    )
    assert told["intake"]["customer"] == "R. Example"
    kept = [(one["event"], one.get("stage")) for one in told["kept"]]
    assert kept == [
        ("job-stage-entered", "isolate"),
        ("job-part-used", "isolate"),
        ("job-noted", "isolate"),
        ("job-paused", None),
        ("job-resumed", None),
    ]
    assert {topic for topic, _, _ in announced} == {"wakerail/v1/bench-1/job/t-114/event"}
    assert {event.subject for _, event, _ in announced} == {"t-114"}
    with JournalReader(url) as reader:
        assert [(entry.message.id, entry.row) for entry in reader.messages()] == [
            (event.id, row) for _, event, row in announced
        ]


async def test_a_job_without_a_ticket_gets_the_next_number(desk_of):
    async with desk_of() as ask:
        assert [await ask.opens("") for _ in range(2)] == ["j-0001", "j-0002"]
        assert await ask.opens("J-0007") == "j-0007"
        assert await ask.opens("") == "j-0008"


@pytest.mark.parametrize("ticket", ["T-114", ""])
async def test_of_two_benches_that_open_one_name_at_once_one_is_refused(desk_of, url, ticket):
    """Without a ticket, the second takes the next number."""
    async with desk_of("bench-1") as first, desk_of("bench-2") as second:
        tries = [ask.opens(ticket) for _ in range(3) for ask in (first, second)]
        names = await asyncio.gather(*tries, return_exceptions=True)
    opened = sorted(name for name in names if isinstance(name, str))
    if ticket:
        assert opened == ["t-114"]
        assert sum("there is a job t-114 already" in str(name) for name in names) == len(tries) - 1
    else:
        assert opened == [f"j-{number:04}" for number in range(1, len(tries) + 1)]
    with JournalReader(url) as reader:
        assert len(list(reader.events(type=type_of(JobOpened)))) == len(opened)


async def test_a_job_goes_on_at_another_bench(desk_of):
    async with desk_of("bench-1") as first, desk_of("bench-2") as second:
        await first.opens()
        await second("job-resume", job="t-114")
        await second("job-note", job="t-114", text="seen here")
        (short,) = await first("job-list")
        told = await first("job-show", job="t-114")
    assert short["bench"] == "bench-2"
    assert [one["bench"] for one in told["kept"]] == ["bench-2", "bench-2"]


async def test_jobs_are_listed_by_state(desk_of):
    async with desk_of() as ask:
        for ticket in ("T-1", "T-2"):
            await ask.opens(ticket)
        await ask("job-close", job="t-1", resolution="no-fault-found")
        by_state = {
            state: [one["job"] for one in await ask("job-list", state=state)] for state in ("", "open", "closed")
        }
    assert by_state == {"": ["t-2", "t-1"], "open": ["t-2"], "closed": ["t-1"]}


OPEN = {"family": "fenmoor-t3", "symptom": "restarts"}


@pytest.mark.parametrize(
    ("verb", "args", "says"),
    [
        ("job-open", OPEN | {"family": "fenmor-t3"}, "no device family 'fenmor-t3'; did you mean 'fenmoor-t3'?"),
        ("job-open", OPEN | {"symptom": "  "}, "symptom: is empty"),
        ("job-open", OPEN | {"ticket": "T 115"}, "ticket 'T 115' cannot name a job"),
        ("job-open", OPEN | {"ticket": "t-114"}, "there is a job t-114 already"),
        ("job-open", OPEN | {"words": "the PIN is 4711"}, "words: it looks like a passcode"),
        ("job-open", OPEN | {"condition": "x" * 4001}, "bad arguments for 'job-open'"),
        ("job-note", {"job": "t-141", "text": "x"}, "no job 't-141'; did you mean 't-114'?"),
        ("job-note", {"job": "t-9", "text": "x"}, "job t-9 is closed; `wakerail job resume t-9` opens it again"),
        ("job-note", {"job": "t-114"}, "nothing to note"),
        ("job-note", {"job": "t-114", "text": "password: hunter2"}, "text: it looks like a passcode"),
        ("job-note", {"job": "t-114", "spent_s": -1}, "bad arguments for 'job-note'"),
        ("job-note", {"job": "t-114", "part": "scanner", "count": 0}, "bad arguments for 'job-note'"),
        ("job-stage", {"job": "t-114", "stage": "lunch"}, "bad arguments for 'job-stage'"),
        ("job-pause", {"job": "t-9"}, "job t-9 is closed"),
        ("job-pause", {"job": "t-114", "why": "unlock code 0000"}, "why: it looks like a passcode"),
        ("job-resume", {"job": "t-114"}, "job t-114 is open on bench-1 already"),
        ("job-close", {"job": "t-9", "resolution": "repaired"}, "job t-9 is closed"),
        ("job-close", {"job": "t-114", "resolution": "repaired", "causes": ["scaner"]}, "did you mean 'scanner'?"),
        (
            "job-close",
            {"job": "t-114", "resolution": "repaired", "causes": ["scanner", "display", "keypad"]},
            "causes: 3 are named, and plans learn from one or two",
        ),
        ("job-close", {"job": "t-114", "resolution": "repaired", "causes": ["display"] * 2}, "one is named twice"),
        ("job-close", {"job": "t-114", "resolution": "no-fault-found", "causes": ["display"]}, "names no cause"),
        ("job-close", {"job": "t-114", "resolution": "repaired", "says": "PIN 4711"}, "says: it looks like a passcode"),
        (
            "job-keep",
            {"job": "t-114", "name": "pin_4711.png", "media_type": "a/b", "content": "eA=="},
            "name: it looks",
        ),
        ("job-stage", {"job": "t-114", "stage": "PIN 4711"}, "the text: it looks like a passcode"),
        ("job-note", {"job": "t-114", "text": "x", "operator": "PIN 4711"}, "operator: it looks like a passcode"),
        ("job-resume", {"job": "the PIN is 4711"}, "job: it looks like a passcode"),
        ("plan-observe", {"job": "t-114", "said": "Passwort: hunter2"}, "said: it looks like a passcode"),
        ("plan-observe", {"job": "t-114", "run": "x", "done": ["PIN 4711"]}, "done: it looks like a passcode"),
        ("plan-whatif", {"job": "t-114", "seen": ["PIN 4711"]}, "seen: it looks like a passcode"),
        ("job-list", {"state": "opened"}, "no job is 'opened'; did you mean 'open'?"),
        ("job-show", {"job": "t-141"}, "no job 't-141'"),
        ("job-keep", {"job": "t-114", "name": "a/b", "media_type": "image/png", "content": "eA=="}, "no file's name"),
        (
            "job-keep",
            {"job": "t-114", "name": "b", "media_type": "png", "content": "eA=="},
            "write it like 'image/jpeg'",
        ),
        ("job-keep", {"job": "t-114", "name": "b", "media_type": "image/png", "content": ""}, "b: is empty"),
        ("job-keep", {"job": "t-9", "name": "b", "media_type": "image/png", "content": "eA=="}, "job t-9 is closed"),
        ("job-forget", {"job": "t-114"}, "to forget cannot be undone"),
        ("job-forget", {"job": "t-141", "confirmed": True}, "no job 't-141'"),
    ],
)
async def test_what_cannot_be_is_refused_in_one_line_and_nothing_is_kept(sqlite_desk, path, verb, args, says, capfd):
    async with sqlite_desk() as ask:
        await ask.opens("T-114")
        await ask.opens("T-9")
        await ask("job-close", job="t-9", resolution=Resolution.NOT_REPAIRED)
        before = len(ask.announced)
        with pytest.raises(ask.Refused) as refused:
            await ask(verb, **args)
        assert says in str(refused.value)
        assert not any(secret in str(refused.value) for secret in ("4711", "hunter2", "0000"))
        assert len(ask.announced) == before
    assert not any(secret in said for said in capfd.readouterr() for secret in ("4711", "hunter2", "0000"))
    with JournalReader(path) as reader:
        assert len(list(reader.messages())) == before
