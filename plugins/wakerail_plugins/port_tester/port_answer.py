"""Reads a port tester's answer: line by line, or not at all. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from wakerail_kit.dialect_talk import Answer
from wakerail_kit.dialect_wording import Value
from wakerail_kit.errors import OutOfSync
from wakerail_kit.events import LineResult, PortTested


class _Measured(NamedTuple):
    key: str
    unit: str


_MEASURED = (_Measured("voltage", "V"), _Measured("resistance", "Ohm"))


def read_port_answer(answer: Answer, lines: Mapping[str, str], instrument: str) -> PortTested:
    """Return what the tester found. ``lines`` maps its word for each line that must be told to ours; empty: any.

    Raises OutOfSync for an answer that lacks a line, tells one twice or tells one that is not known, and for one
    whose overall word contradicts its lines: a garbled answer is never a verdict about the port.
    """
    if not all(line.isascii() and line.isprintable() for line in answer.text.split("\n")):
        raise OutOfSync(f"the tester's answer is garbled: {answer.text!r}")
    results: dict[str, LineResult] = {}
    for row in answer.rows:
        word = str(row.get("line", ""))
        name = lines.get(word) if lines else word
        if name is None:
            raise OutOfSync(f"the tester told of a line {word!r}; known are {', '.join(lines)}")
        if name in results:
            raise OutOfSync(f"the tester told of the line {word!r} twice")
        results[name] = _line_result(name, row)
    missing = [word for word, name in lines.items() if name not in results]
    if missing or not results:
        raise OutOfSync(f"the tester's answer lacks {', '.join(missing) or 'its lines'}: {answer.text!r}")
    passed = _passed(answer.values)
    failed = [result.line for result in results.values() if not result.passed]
    if passed == bool(failed):
        overall = "passed" if passed else "failed"
        raise OutOfSync(f"the tester says that the port {overall}, and failing lines: {', '.join(failed) or 'none'}")
    return PortTested(instrument=instrument, passed=passed, lines=list(results.values()), raw=answer.text)


def _line_result(name: str, row: Mapping[str, Value]) -> LineResult:
    for key, unit in _MEASURED:
        value = row.get(key)
        if isinstance(value, float):
            return LineResult(line=name, passed=_passed(row), says=_says(row), value=value, unit=unit)
    return LineResult(line=name, passed=_passed(row), says=_says(row))


def _says(row: Mapping[str, Value]) -> str:
    return str(row.get("says") or "")


def _passed(values: Mapping[str, Value]) -> bool:
    passed = values.get("passed")
    if not isinstance(passed, float):
        raise OutOfSync("the tester did not say whether it passed")
    return passed != 0.0
