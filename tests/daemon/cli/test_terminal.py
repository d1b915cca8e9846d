"""What a person types while a run goes on, on a real pseudo-terminal."""

from __future__ import annotations

import asyncio
import os
import select
import termios

import pytest

from wakerail.cli import terminal
from wakerail.cli.run import Screen
from wakerail.cli.terminal import Reply, chosen, drop_typed, echo, keys_of, read_key, read_line, understood
from wakerail_kit.messages import Prompt


@pytest.fixture
def keyboard(monkeypatch):
    """The keyboard's end of a terminal whose other end is the program's input."""
    ours, theirs = os.openpty()
    monkeypatch.setattr(terminal, "STDIN", theirs)
    yield ours
    os.close(ours)
    os.close(theirs)


async def reading(work):
    """Let something begin to read; return it once it waits."""
    task = asyncio.ensure_future(work)
    for _ in range(5):
        await asyncio.sleep(0)
    return task


async def test_a_key_counts_at_once_and_is_not_shown(keyboard):
    before = termios.tcgetattr(terminal.STDIN)
    task = await reading(read_key())
    os.write(keyboard, b"c")
    assert await asyncio.wait_for(task, 5) == "c"
    assert not select.select([keyboard], [], [], 0)[0]  # nothing was echoed
    assert termios.tcgetattr(terminal.STDIN) == before
    task = await reading(read_key())
    os.write(keyboard, b"\n")
    assert await asyncio.wait_for(task, 5) == ""


async def test_reading_a_key_that_is_given_up_leaves_the_terminal_as_it_was(keyboard):
    before = termios.tcgetattr(terminal.STDIN)
    task = await reading(read_key())
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert termios.tcgetattr(terminal.STDIN) == before


@pytest.mark.parametrize("ours", [True, False])
def test_what_is_typed_while_a_run_is_drawn_is_not_shown(keyboard, monkeypatch, ours):
    """A line break that the terminal shows would move the drawing; a terminal of another program is let be."""
    monkeypatch.setattr(terminal.os, "tcgetpgrp", lambda _: os.getpgrp() + (0 if ours else 1))
    echo(on=False)
    os.write(keyboard, b"a\n")
    assert select.select([terminal.STDIN], [], [], 5)[0]
    echo(on=True)
    os.write(keyboard, b"b")
    shown = b""
    while not shown.endswith(b"b"):
        shown += os.read(keyboard, 10)
    assert shown == (b"b" if ours else b"a\r\nb")


async def test_what_was_typed_before_it_was_asked_for_is_no_answer(keyboard):
    os.write(keyboard, b"\n")
    assert select.select([terminal.STDIN], [], [], 5)[0]
    drop_typed()
    task = await reading(read_line())
    assert not task.done()
    os.write(keyboard, b"note seen\n")
    assert await asyncio.wait_for(task, 5) == "note seen\n"


@pytest.mark.parametrize(
    ("said", "reply"),
    [
        ("\n", Reply(confirmed=True)),
        ("done\n", Reply(confirmed=True)),
        ("n\n", Reply(confirmed=False)),
        ("No!\n", Reply(confirmed=False)),
        ("not yet\n", Reply(confirmed=False)),
        ("note\n", Reply(confirmed=False)),
        ("note not reballed\n", Reply(confirmed=True, note="not reballed")),
        (None, Reply(confirmed=False)),
    ],
)
def test_an_answer_to_a_prompt_is_yes_no_or_a_note(said, reply):
    assert understood(said) == reply


async def test_a_passcode_noted_at_a_prompt_is_asked_again_and_not_repeated(keyboard, capfd):
    """It never leaves the terminal."""
    prompt = Prompt(id="p", bench="b", run="r", step=1, text="Clamp the board.", time="2026-11-26T09:00:00Z")
    task = await reading(Screen(as_json=True).answer(prompt))
    os.write(keyboard, b"note the PIN is 4711\nnote label in the bag\n")
    assert await asyncio.wait_for(task, 5) == Reply(confirmed=True, note="label in the bag")
    said = capfd.readouterr().err
    assert "note: it looks like a passcode" in said
    assert "4711" not in said


CHOICES = ("yes", "no", "not there")


def test_each_choice_of_a_question_has_a_key_of_its_own():
    assert keys_of(CHOICES) == {"y": "yes", "n": "no", "t": "not there"}
    assert keys_of(["same", "stop"]) == {"a": "same", "t": "stop"}  # s ends the run
    assert len(keys_of(["a", "a a", "aa"])) == 3


@pytest.mark.parametrize(
    ("said", "reply"),
    [
        ("y\n", Reply(confirmed=True, choice="yes")),
        ("N the lower corner\n", Reply(confirmed=True, choice="no", note="the lower corner")),
        ("t\n", Reply(confirmed=True, choice="not there")),
        ("Not there\n", Reply(confirmed=True, choice="not there")),
        ("no\n", Reply(confirmed=True, choice="no")),
        ("s\n", Reply(confirmed=False)),
        (None, Reply(confirmed=False)),
        ("\n", None),
        ("perhaps\n", None),
    ],
)
def test_an_answer_to_a_question_is_one_of_its_choices_or_is_asked_again(said, reply):
    assert chosen(said, CHOICES) == reply
