"""JSON Schemas (2020-12) of every payload, and of files for other programs, generated from the structs; the files in
docs/schemas are their copies.
"""

from __future__ import annotations

from typing import Any

import msgspec
from msgspec import Struct

from wakerail_kit.events import EVENT_TYPES, EventData, type_of
from wakerail_kit.job_report import JobReport
from wakerail_kit.messages import ASK_VERBS, Answer, Ask, Event, Frame, Prompt, Status, Verdict

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schema_of(message: type[Struct]) -> dict[str, Any]:
    """Return the JSON Schema of a message struct, self-contained (``$defs`` inside)."""
    return {"$schema": DIALECT, **msgspec.json.schema(message)}


def event_schema(data: type[EventData]) -> dict[str, Any]:
    """Return the JSON Schema of a whole CloudEvent whose ``data`` follows the struct ``data``."""
    schema = schema_of(Event)
    of_data = msgspec.json.schema(data)
    event = schema["$defs"]["Event"]["properties"]
    event["data"] = {"$ref": of_data["$ref"]}
    event["type"] = {"const": type_of(data)}
    event["specversion"] = {"const": "1.0"}
    schema["$defs"] |= of_data["$defs"]
    return schema


def ask_schema(args: type[Struct]) -> dict[str, Any]:
    """Return the JSON Schema of a request whose ``args`` follow the struct ``args``."""
    schema = schema_of(Ask)
    of_args = msgspec.json.schema(args)
    schema["$defs"]["Ask"]["properties"]["args"] = {"$ref": of_args["$ref"]}
    schema["$defs"] |= of_args["$defs"]
    return schema


def all_schemas() -> dict[str, dict[str, Any]]:
    """Return every payload's schema by name: ``frame``, ``verdict``, ``event.restart-seen``, ``ask.run``, ..."""
    plain: dict[str, type[Struct]] = {
        "frame": Frame,
        "status": Status,
        "prompt": Prompt,
        "verdict": Verdict,
        "answer": Answer,
    }
    schemas = {name: schema_of(message) for name, message in plain.items()}
    schemas |= {"event." + kind.split(".")[1]: event_schema(data) for kind, data in EVENT_TYPES.items()}
    schemas |= {"ask." + verb: ask_schema(args) for verb, args in ASK_VERBS.items()}
    return schemas


def file_schemas() -> dict[str, dict[str, Any]]:
    """Return the schema of each file that is written for other programs and never goes over the bus."""
    return {"job-report": schema_of(JobReport)}
