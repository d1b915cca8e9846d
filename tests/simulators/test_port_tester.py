from __future__ import annotations

import re
from typing import Any

from wakerail_sim.port_tester_protocol import PortTesterProtocol


def lines(bench: Any, command: bytes = b"TEST") -> list[str]:
    answer = PortTesterProtocol(bench.world).answer(command).decode()
    assert answer.endswith("\r\n")
    return answer.split("\r\n")[:-1]


def test_a_clean_port_passes_line_by_line(lab: Any) -> None:
    said = lines(lab())
    patterns = [
        r"VBUS OK (4\.9|5\.0)\d?\dV",
        r"GND OK",
        r"D\+ OK",
        r"D- OK",
        r"CC1 OK 0\.\d\dV",
        r"CC2 OK 0\.\d\dV",
        r"RESULT PASS",
    ]
    assert len(said) == len(patterns)
    for line, pattern in zip(said, patterns, strict=True):
        assert re.fullmatch(pattern, line), line


def test_a_dirty_port_fails_until_it_is_cleaned(lab: Any) -> None:
    bench = lab("dirty-port")
    said = lines(bench)
    assert "D- FAIL open" in said
    assert any(re.fullmatch(r"CC1 FAIL 0\.\d\dV leaks", line) for line in said)
    assert said[-1] == "RESULT FAIL"
    with bench.world.present():
        bench.world.clean_port()
    assert lines(bench)[-1] == "RESULT PASS"


def test_it_says_who_it_is_and_refuses_all_else(lab: Any) -> None:
    bench = lab()
    assert lines(bench, b"ID?") == ["Tarnwick,PT-8,SN0077,2.0"]
    assert lines(bench, b"TEST 2") == ["ERR 1"]
    assert lines(bench, b"") == ["ERR 1"]


def test_one_seed_gives_one_row_of_tests(lab: Any) -> None:
    first, again, other = lab(seed=5), lab(seed=5), lab(seed=6)
    row = [lines(first) for _ in range(3)]
    assert row == [lines(again) for _ in range(3)]
    assert row != [lines(other) for _ in range(3)]
