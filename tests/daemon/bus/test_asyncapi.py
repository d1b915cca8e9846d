"""The description of the bus: current, and valid by the rules it claims."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest

from wakerail.bus.asyncapi import documents, main, render
from wakerail_kit import topics
from wakerail_kit.clock import SimulatedClock
from wakerail_kit.events import EVENT_TYPES, RestartSeen, make_event
from wakerail_kit.messages import ASK_VERBS, Frame, InstrumentState, Status
from wakerail_kit.schema import DIALECT, file_schemas

DOCUMENTS = documents()
SCHEMAS = {Path(name).stem: schema for name, schema in DOCUMENTS.items() if name.startswith("schemas/")}
ASYNCAPI = DOCUMENTS["asyncapi.json"]


def references(node: Any) -> Iterator[str]:
    """Give every ``$ref`` below a node."""
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for child in node.values():
            yield from references(child)
    elif isinstance(node, list):
        for child in node:
            yield from references(child)


def resolve(document: dict[str, Any], name: str, reference: str) -> Any:
    """Follow a reference from the file ``name``, as a reader of the docs folder would."""
    file, _, pointer = reference.partition("#")
    found: Any = DOCUMENTS[str(Path(name).parent / file)] if file else document
    for step in filter(None, pointer.split("/")):
        found = found[step.replace("~1", "/").replace("~0", "~")]
    return found


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_committed_file_is_current(project: Path, name: str) -> None:
    again = "write it anew with: python -m wakerail.bus.asyncapi docs"
    assert (project / "docs" / name).read_text(encoding="utf-8") == render(DOCUMENTS[name]), again


def test_no_schema_of_a_message_that_is_no_more_lies_about(project: Path) -> None:
    assert {path.stem for path in (project / "docs" / "schemas").glob("*.json")} == set(SCHEMAS)


@pytest.mark.parametrize("name", SCHEMAS)
def test_each_schema_is_valid_json_schema_2020_12(name: str) -> None:
    assert SCHEMAS[name]["$schema"] == DIALECT
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_reference_resolves(name: str) -> None:
    for reference in references(DOCUMENTS[name]):
        assert resolve(DOCUMENTS[name], name, reference) is not None


def test_the_document_has_what_asyncapi_3_requires() -> None:
    # AsyncAPI 3.0: asyncapi, info.title, info.version; a server's host and protocol; an operation's action and channel
    assert re.fullmatch(r"3\.\d+\.\d+", ASYNCAPI["asyncapi"])
    assert ASYNCAPI["info"]["title"]
    assert ASYNCAPI["info"]["version"]
    for server in ASYNCAPI["servers"].values():
        assert server["host"]
        assert server["protocol"] == "mqtt"
    for operation in ASYNCAPI["operations"].values():
        assert operation["action"] in {"send", "receive"}
        assert resolve(ASYNCAPI, "asyncapi.json", operation["channel"]["$ref"]) in ASYNCAPI["channels"].values()
    for section in (ASYNCAPI["servers"], ASYNCAPI["components"]["messages"]):
        assert all(re.fullmatch(r"[A-Za-z0-9._-]+", key) for key in section)


def test_each_channel_is_a_topic_of_ours_and_names_its_parameters() -> None:
    for name, channel in ASYNCAPI["channels"].items():
        address = channel["address"]
        assert set(re.findall(r"{(\w+)}", address)) == set(channel["parameters"])
        example = address
        for parameter, says in channel["parameters"].items():
            example = example.replace(f"{{{parameter}}}", says["examples"][0])
        assert topics.parse(example), name


def test_every_topic_and_every_message_is_described() -> None:
    described = {channel["address"].rpartition("/")[2] for channel in ASYNCAPI["channels"].values()}
    assert described == {*topics.INSTRUMENT_LEAVES, *topics.RUN_LEAVES, *ASK_VERBS, "{client}"}
    carried = {name for channel in ASYNCAPI["channels"].values() for name in channel["messages"]}
    assert carried == set(SCHEMAS) - set(file_schemas()) == set(ASYNCAPI["components"]["messages"])
    assert len([name for name in carried if name.startswith("event.")]) == len(EVENT_TYPES)


def test_each_request_says_where_its_answer_goes() -> None:
    received = {name: each for name, each in ASYNCAPI["operations"].items() if each["action"] == "receive"}
    assert set(received) == {f"receive-ask-{verb}" for verb in ASK_VERBS}
    for operation in received.values():
        assert operation["reply"]["address"]["location"] == "$message.payload#/reply_to"


def test_real_messages_follow_their_schemas_and_wrong_ones_do_not() -> None:
    clock = SimulatedClock()
    seen = RestartSeen(run="r-1", at_s=1.5, again_s=2.5, number=1, evidence=["current"], says="")
    event = msgspec.to_builtins(make_event(seen, clock=clock, bench="bench-1", owner="sequence", run="r-1"))
    status = Status(bench="bench-1", instrument="supply", state=InstrumentState.READY, words="", since="")
    frame = Frame(
        bench="bench-1",
        instrument="supply",
        number=1,
        start="",
        t_s=[0.0],
        half_width_s=[0.0],
        signals={"current": [None]},
        units={"current": "A"},
    )
    for name, message in {"event.restart-seen": event, "status": status, "frame": frame}.items():
        built = msgspec.to_builtins(message)
        jsonschema.validate(built, SCHEMAS[name], jsonschema.Draft202012Validator)
    for wrong in (event | {"type": "wakerail.run-started.v1"}, event | {"data": {}}, event | {"specversion": "0.3"}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, SCHEMAS["event.restart-seen"], jsonschema.Draft202012Validator)


def test_the_command_writes_every_file_and_clears_old_ones(tmp_path: Path) -> None:
    (tmp_path / "schemas").mkdir()
    (tmp_path / "schemas" / "no-more.json").write_text("{}")
    assert main([str(tmp_path)]) == 0
    written = {str(path.relative_to(tmp_path)): json.loads(path.read_text()) for path in tmp_path.rglob("*.json")}
    assert written == DOCUMENTS


def test_the_command_without_a_folder_says_how_it_is_used(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert capsys.readouterr().err.startswith("usage: ")
