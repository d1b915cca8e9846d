"""What a person says to a run: what it means, and how it is read from the terminal without blocking anything."""

from __future__ import annotations

import asyncio
import contextlib
import os
import termios
import tty
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from enum import StrEnum
from typing import BinaryIO

STDIN = 0


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to a prompt, with what is to be kept with it. ``person``: it was a person who answered.

    ``choice`` is the answer where the prompt is a question.
    """

    confirmed: bool
    note: str = ""
    person: bool = True
    choice: str = ""


class Wish(StrEnum):
    """What a person may want of a run while it heats."""

    COOL = "cool"
    PRESENT = "present"


#: With this key a question ends the run.
STOP_KEY = "s"


def understood(said: str | None) -> Reply:
    """Return what an answer to a prompt means: ``note`` and a text keeps the text, else what begins with n is no."""
    if said is None:
        return Reply(confirmed=False)
    word, _, rest = said.strip().partition(" ")
    if word.lower() == "note" and rest.strip():
        return Reply(confirmed=True, note=rest.strip())
    return Reply(confirmed=not word.lower().startswith("n"))


def keys_of(choices: Sequence[str]) -> dict[str, str]:
    """Return a key for each choice: the first initial of its words that is no other's and does not stop the run."""
    keys: dict[str, str] = {}
    for choice in choices:
        letters = [word[0] for word in choice.split()] + list(choice) + list("123456789")
        keys[next(key for key in letters if key not in {*keys, STOP_KEY, " "})] = choice
    return keys


def chosen(said: str | None, choices: Sequence[str]) -> Reply | None:
    """Return what an answer to a question means, a note after its key kept; None if it means nothing."""
    if said is None:
        return Reply(confirmed=False)
    key, _, note = said.strip().partition(" ")
    if key.lower() == STOP_KEY:
        return Reply(confirmed=False, note=note.strip())
    if said.strip().lower() in choices:
        return Reply(confirmed=True, choice=said.strip().lower())
    choice = keys_of(choices).get(key.lower(), key.lower())
    return Reply(confirmed=True, choice=choice, note=note.strip()) if choice in choices else None


async def read_line() -> str | None:
    """Return a line typed at the terminal, or None at the end of input."""
    async with _input() as source:
        return None if source is None else source.readline().decode(errors="replace") or None


async def read_key() -> str | None:
    """Return the next key, as soon as it is pressed; where input is no terminal, the next line without its end.

    None at the end of input.
    """
    if not os.isatty(STDIN):
        line = await read_line()
        return None if line is None else line.strip()
    with _key_by_key():
        async with _input() as source:
            return None if source is None else source.read(1).decode(errors="replace").strip() or ""


def drop_typed() -> None:
    """Forget what was typed at a terminal before it was asked for: it is no answer to what is asked now."""
    if os.isatty(STDIN):
        with contextlib.suppress(termios.error):
            termios.tcflush(STDIN, termios.TCIFLUSH)


def echo(*, on: bool) -> None:
    """Show what is typed at a terminal, or not: a line break that it echoes would move what is drawn there."""
    with contextlib.suppress(termios.error, OSError):  # no terminal, or it is gone
        if os.tcgetpgrp(STDIN) != os.getpgrp():
            return  # it belongs to another program; to set it would stop this one
        settings = termios.tcgetattr(STDIN)
        settings[3] = settings[3] | termios.ECHO if on else settings[3] & ~termios.ECHO
        termios.tcsetattr(STDIN, termios.TCSADRAIN, settings)


@asynccontextmanager
async def _input() -> AsyncIterator[BinaryIO | None]:
    """Wait until there is something to read, then give what it can be read from; None if there is no input."""
    try:
        # Unbuffered, and not sys.stdin: lines that come together must not hide in a buffer where nobody waits for them.
        source = open(STDIN, "rb", buffering=0, closefd=False)  # noqa: ASYNC230, SIM115  a descriptor, open already
    except OSError:  # the program was started without an input
        yield None
        return
    loop = asyncio.get_running_loop()
    ready = asyncio.Event()
    try:
        loop.add_reader(STDIN, ready.set)
    except OSError:  # a regular file: reading cannot block then
        ready.set()
    try:
        await ready.wait()
        yield source
    finally:
        loop.remove_reader(STDIN)


@contextmanager
def _key_by_key() -> Iterator[None]:
    """Take keys from the terminal one by one and show none of them; Ctrl-C stays what it is."""
    before = termios.tcgetattr(STDIN)
    tty.setcbreak(STDIN)
    try:
        yield
    finally:
        with contextlib.suppress(termios.error):  # the terminal is gone
            termios.tcsetattr(STDIN, termios.TCSADRAIN, before)
