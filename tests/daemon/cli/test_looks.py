"""How lines look at a terminal."""

from __future__ import annotations

import io

from rich.console import Console

from wakerail.cli.looks import indented


def test_every_line_of_an_indented_text_has_room_beside_it_and_brackets_stay():
    console = Console(file=io.StringIO(), width=24)
    console.print(indented("no answer for 2 s [port 1], and again [/later]"))
    lines = [line.rstrip() for line in console.file.getvalue().splitlines()]
    assert lines == ["  no answer for 2 s", "  [port 1], and again", "  [/later]"]
