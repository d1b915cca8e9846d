"""Carries out SCPI messages: one line in, the answers of its queries out, errors into the queue."""

from __future__ import annotations

from wakerail_sim.scpi import MAX_MESSAGE, Commands, Reader, ScpiError, plain, split
from wakerail_sim.scpi_status import Status


class Interpreter:
    """An instrument's command language. Adds the status commands to those it is given."""

    def __init__(self, commands: Commands, status: Status) -> None:
        self._commands = commands
        self._status = status
        self._answers: list[bytes] = []
        status.add_to(commands)
        commands.add("*STB", ask=plain(lambda: str(status.byte(bool(self._answers)))))

    def execute(self, line: bytes) -> bytes | None:
        """Carry out one message without its terminator; return its answers joined by ``;``, or None.

        After a command error the rest of the message is dropped; after an execution error it goes on.
        """
        self._answers = []
        if len(line) > MAX_MESSAGE:
            self._status.note(-363)
            return None
        reader = Reader()
        for part in split(line.decode("latin-1"), ";"):
            if not part.strip():
                continue  # IEEE 488.2 lets a unit be empty
            try:
                unit = reader.unit(part)
                answer = self._commands.find(unit.path, unit.asks)(unit.parameters)
            except ScpiError as wrong:
                self._status.note(wrong.code)
                if wrong.code > -200:
                    break
            else:
                if answer is not None:
                    self._answers.append(answer if isinstance(answer, bytes) else answer.encode())
        return b";".join(self._answers) if self._answers else None
