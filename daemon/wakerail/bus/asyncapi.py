"""The bus described for other programs: an AsyncAPI 3 document and one JSON Schema file for each payload.

``python -m wakerail.bus.asyncapi docs`` writes ``docs/asyncapi.json`` and ``docs/schemas/<name>.json``.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from wakerail.bus.link import KEEPALIVE_S
from wakerail_kit import job_events as job_module
from wakerail_kit import topics
from wakerail_kit.events import EVENT_TYPES
from wakerail_kit.messages import ASK_VERBS
from wakerail_kit.schema import DIALECT, all_schemas, file_schemas

Json = dict[str, Any]

_PARAMETERS = {
    "bench": ("The bench's name.", "bench-1"),
    "instrument": (f"The instrument's name on its bench; {topics.DAEMON!r} is the daemon itself.", "supply"),
    "run": ("The identity of a run of a sequence.", "01a211ee-cdc2-7bc2-8d7f-af6d99987722"),
    "job": ("A job's name: its ticket.", "t-1042"),
    "client": ("A name that the asking program makes for itself, different for each process.", "client-36969833ea3f"),
}


def schema_name_of_event(kind: str) -> str:
    """Return the schema's name of a CloudEvents type: ``wakerail.run-started.v1`` is ``event.run-started``."""
    return "event." + kind.split(".")[1]


def documents() -> dict[str, Json]:
    """Return every file of the description by its path below the docs folder."""
    schemas = {f"schemas/{name}.json": schema for name, schema in (all_schemas() | file_schemas()).items()}
    return {"asyncapi.json": asyncapi(), **schemas}


def asyncapi() -> Json:
    """Return the AsyncAPI 3 document, as seen from the daemon: it sends what it sees and receives requests."""
    job_events = [kind for kind, data in EVENT_TYPES.items() if data.__module__ == job_module.__name__]
    others = {kind: data for kind, data in EVENT_TYPES.items() if kind not in job_events}
    instrument_events = [kind for kind, data in others.items() if "run" not in data.__struct_fields__]
    run_events = [kind for kind, data in others.items() if "run" in data.__struct_fields__]
    instrument = f"{topics.ROOT}/{{bench}}/{{instrument}}"
    run = f"{topics.ROOT}/{{bench}}/sequence/{{run}}"
    job = f"{topics.ROOT}/{{bench}}/job/{{job}}"
    channels: Json = {
        "status": _channel(f"{instrument}/status", "The present state, retained.", ["status"]),
        "frame": _channel(f"{instrument}/frame", "Samples, numbered so that a gap shows.", ["frame"]),
        "instrument-event": _channel(
            f"{instrument}/event", "What happened to an instrument.", map(schema_name_of_event, instrument_events)
        ),
        "run-event": _channel(f"{run}/event", "What happened in a run.", map(schema_name_of_event, run_events)),
        "job-event": _channel(
            f"{job}/event",
            "What happened to a job.",
            map(schema_name_of_event, job_events),
        ),
        "prompt": _channel(f"{run}/prompt", "What a person is asked to do and confirm.", ["prompt"]),
        "verdict": _channel(f"{run}/verdict", "What a run concluded, durable before it is sent.", ["verdict"]),
        "answer": _channel(f"{topics.ROOT}/{{bench}}/answer/{{client}}", "The answers to one client.", ["answer"]),
    }
    operations: Json = {f"send-{name}": _operation("send", name, retain=name == "status") for name in channels}
    for verb, args in ASK_VERBS.items():
        name = f"ask-{verb}"
        channels[name] = _channel(f"{topics.ROOT}/{{bench}}/ask/{verb}", _first_line(args.__doc__), [f"ask.{verb}"])
        operations[f"receive-{name}"] = _operation("receive", name) | {
            "reply": {
                "address": {"location": "$message.payload#/reply_to"},
                "channel": {"$ref": "#/channels/answer"},
            }
        }
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Wakerail bench bus",
            "version": "1.0.0",
            "description": "MQTT topics of a repair bench, QoS 1 throughout. Events are CloudEvents 1.0 in JSON. "
            "A status of the daemon in state 'gone' or 'stopped' ends whatever its instruments last said.",
        },
        "defaultContentType": "application/json",
        "servers": _servers(),
        "channels": channels,
        "operations": operations,
        "components": {"messages": {name: _message(name) for name in all_schemas()}},
    }


def write(folder: Path) -> None:
    """Write all files below ``folder`` and remove schema files of payloads that are no more."""
    found = documents()
    (folder / "schemas").mkdir(parents=True, exist_ok=True)
    for old in (folder / "schemas").glob("*.json"):
        if f"schemas/{old.name}" not in found:
            old.unlink()
    for name, document in found.items():
        (folder / name).write_text(render(document), encoding="utf-8")


def render(document: Json) -> str:
    """Return a document as the text of its file."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _servers() -> Json:
    will = {
        "lastWill": {
            "topic": f"{topics.ROOT}/{{bench}}/{topics.DAEMON}/status",
            "qos": 1,
            "retain": True,
            "message": "the daemon's status in state 'gone'",
        },
        "cleanSession": True,
        "keepAlive": KEEPALIVE_S,
        "bindingVersion": "0.2.0",
    }
    return {
        "embedded": {
            "host": "127.0.0.1:1883",
            "protocol": "mqtt",
            "protocolVersion": "3.1.1",
            "description": "The broker inside the daemon, for the programs of the same machine.",
            "bindings": {"mqtt": will},
        },
        "shop": {
            "host": "{host}:{port}",
            "protocol": "mqtt",
            "protocolVersion": "3.1.1",
            "description": "Any MQTT broker, so that a shop has all its benches on one bus.",
            "variables": {"host": {"default": "localhost"}, "port": {"default": "1883"}},
            "bindings": {"mqtt": will},
        },
    }


def _channel(address: str, description: str, messages: Iterable[str]) -> Json:
    channel: Json = {
        "address": address,
        "description": description,
        "messages": {name: {"$ref": f"#/components/messages/{name}"} for name in messages},
    }
    channel["parameters"] = {
        name: {"description": says, "examples": [example]}
        for name, (says, example) in _PARAMETERS.items()
        if f"{{{name}}}" in address
    }
    return channel


def _operation(action: str, channel: str, *, retain: bool = False) -> Json:
    return {
        "action": action,
        "channel": {"$ref": f"#/channels/{channel}"},
        "bindings": {"mqtt": {"qos": 1, "retain": retain, "bindingVersion": "0.2.0"}},
    }


def _message(name: str) -> Json:
    message: Json = {
        "name": name,
        "contentType": "application/cloudevents+json" if name.startswith("event.") else "application/json",
        "payload": {
            "schemaFormat": f"application/schema+json;version={DIALECT}",
            "schema": {"$ref": f"./schemas/{name}.json"},
        },
    }
    if name == "answer" or name.startswith("ask."):
        message["correlationId"] = {"location": "$message.payload#/id"}
    return message


def _first_line(docstring: str | None) -> str:
    return (docstring or "").partition("\n")[0]


def main(args: list[str]) -> int:
    """Write the description into the folder named on the command line."""
    match args:
        case [folder] if not folder.startswith("-"):
            write(Path(folder))
            return 0
    sys.stderr.write("usage: python -m wakerail.bus.asyncapi FOLDER   (the project's own is 'docs')\n")
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
