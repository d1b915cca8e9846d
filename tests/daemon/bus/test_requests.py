"""Requests: decoded, carried out once, and always answered in one clear line."""

from __future__ import annotations

import asyncio

import pytest
import structlog

from wakerail.bus import Requests
from wakerail_kit import topics
from wakerail_kit.errors import (
    ConfigInvalid,
    ContractViolation,
    DeviceRefused,
    DeviceUnavailable,
    OutOfSync,
    WakerailError,
)
from wakerail_kit.messages import Answer, Ask, ResetInterlock, RunSequence, encode

REPLY_TO = topics.answer("bench-1", "client-1")


async def ask(requests: Requests, verb: str, args: dict[str, object], ask_id: str = "1") -> Answer:
    payload = encode(Ask(id=ask_id, reply_to=REPLY_TO, args=args))
    answered = await requests.answer(topics.ask("bench-1", verb), payload)
    assert answered is not None
    assert answered[0] == REPLY_TO
    return answered[1]


async def test_the_handler_is_given_the_verbs_own_struct_and_its_data_comes_back() -> None:
    requests = Requests()

    async def run(args: RunSequence) -> dict[str, str]:
        return {"run": "r-1", "of": args.sequence}

    requests.handle("run", run)
    answer = await ask(requests, "run", {"sequence": "boot-watch"}, ask_id="42")
    assert answer == Answer(id="42", ok=True, data={"run": "r-1", "of": "boot-watch"})


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ({}, "bad arguments for 'run': they lack the field `sequence`"),
        ({"sequence": 7}, "bad arguments for 'run': Expected `str`, got `int` - at `sequence`"),
        ({"sequence": "x", "speed": 2}, "bad arguments for 'run': there is no field `speed`"),
    ],
)
async def test_bad_arguments_are_refused_in_one_line(args: dict[str, object], says: str) -> None:
    requests = Requests()

    async def run(_: RunSequence) -> None:
        pytest.fail("a request with bad arguments was carried out")

    requests.handle("run", run)
    assert await ask(requests, "run", args) == Answer(id="1", ok=False, says=says, exit_code=2)


async def test_of_bad_arguments_only_what_the_refusal_repeats_is_looked_at() -> None:
    """A file of 8 MiB is text until it is converted; to look through that would hold up the whole bench."""
    looked_at: list[object] = []
    requests = Requests(admit=lambda asked: looked_at.append(asked) or asked)

    async def nothing(_: object) -> None: ...

    requests.handle("job-keep", nothing)
    answer = await ask(requests, "job-keep", {"job": "t-1", "name": "port.jpg", "content": "AAAA" * 1000})
    assert answer.says == "bad arguments for 'job-keep': they lack the field `media_type`"
    assert looked_at == ["they lack the field `media_type`"]


async def test_an_unknown_verb_is_answered_with_the_known_ones() -> None:
    requests = Requests()

    async def nothing(_: object) -> None: ...

    requests.handle("run", nothing)
    requests.handle("abort", nothing)
    answer = await ask(requests, "explode", {})
    assert (answer.ok, answer.exit_code) == (False, 2)
    assert answer.says == "there is no verb 'explode' here; the verbs are abort, run"


@pytest.mark.parametrize(
    ("error", "exit_code"),
    [
        (ConfigInvalid("boot.yaml:3: volts: too high"), 2),
        (DeviceUnavailable("the supply is away"), 5),
        (DeviceRefused("the supply is tripped"), 5),
        (OutOfSync("the supply answered late"), 5),
        (WakerailError("the disk is full"), 1),
    ],
)
async def test_what_a_handler_raises_on_purpose_is_the_answer(error: WakerailError, exit_code: int) -> None:
    requests = Requests()

    async def reset(_: ResetInterlock) -> None:
        raise error

    requests.handle("reset", reset)
    with structlog.testing.capture_logs():
        answer = await ask(requests, "reset", {"instrument": "supply"})
    assert answer == Answer(id="1", ok=False, says=str(error), exit_code=exit_code)


async def test_a_fault_of_the_daemon_is_logged_and_answered_without_its_traceback() -> None:
    requests = Requests()

    async def reset(_: ResetInterlock) -> None:
        raise KeyError("secret internals")

    requests.handle("reset", reset)
    with structlog.testing.capture_logs() as logs:
        answer = await ask(requests, "reset", {"instrument": "supply"})
    assert (answer.ok, answer.exit_code) == (False, 1)
    assert "internals" not in answer.says
    assert logs[0]["event"] == "a request failed"


async def test_a_request_delivered_twice_is_carried_out_once_and_answered_twice() -> None:
    requests, calls = Requests(), []
    go_on = asyncio.Event()

    async def run(_: RunSequence) -> int:
        calls.append("run")
        await go_on.wait()
        return len(calls)

    requests.handle("run", run)
    twice = [asyncio.create_task(ask(requests, "run", {"sequence": "x"}, ask_id="same")) for _ in range(2)]
    await asyncio.sleep(0)
    go_on.set()
    answers = await asyncio.gather(*twice)
    answers.append(await ask(requests, "run", {"sequence": "x"}, ask_id="same"))
    assert [answer.data for answer in answers] == [1, 1, 1]
    assert (await ask(requests, "run", {"sequence": "x"}, ask_id="another")).data == 2


async def test_the_memory_of_requests_is_bounded() -> None:
    requests, calls = Requests(), []

    async def sequences(_: object) -> None:
        calls.append(1)

    requests.handle("sequences", sequences)
    for number in range(300):
        await ask(requests, "sequences", {}, ask_id=str(number))
    await ask(requests, "sequences", {}, ask_id="299")
    assert len(calls) == 300
    assert len(requests._carried_out) <= 257


async def test_more_requests_at_once_than_can_be_carried_out_are_refused_not_queued() -> None:
    requests = Requests()
    go_on = asyncio.Event()

    async def sequences(_: object) -> None:
        await go_on.wait()

    requests.handle("sequences", sequences)
    many = [asyncio.create_task(ask(requests, "sequences", {}, ask_id=str(number))) for number in range(33)]
    for _ in range(5):
        await asyncio.sleep(0)
    go_on.set()
    answers = await asyncio.gather(*many)
    assert sum(answer.ok for answer in answers) == 32
    assert answers[-1].exit_code == 5
    assert (await ask(requests, "sequences", {}, ask_id="later")).ok


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"not json",
        b'{"id": "1"}',
        encode(Ask(id="1", reply_to="wakerail/v1/#")),
        encode(Ask(id="1", reply_to=topics.instrument("bench-1", "supply", "status"))),
        encode(Ask(id="1", reply_to=topics.answer("another-bench", "client-1"))),
    ],
)
async def test_a_request_that_cannot_be_answered_properly_is_left_out_and_logged(payload: bytes) -> None:
    requests, calls = Requests(), []

    async def sequences(_: object) -> None:
        calls.append(1)

    requests.handle("sequences", sequences)
    with structlog.testing.capture_logs() as logs:
        assert await requests.answer(topics.ask("bench-1", "sequences"), payload) is None
    assert calls == []
    assert logs[0]["log_level"] == "warning"


async def test_a_verb_is_handled_once_and_must_be_one_of_the_kits() -> None:
    async def nothing(_: object) -> None: ...

    requests = Requests()
    requests.handle("run", nothing)
    with pytest.raises(ContractViolation, match="has a handler already"):
        requests.handle("run", nothing)
    with pytest.raises(ContractViolation, match="there is no verb 'explode'"):
        requests.handle("explode", nothing)
