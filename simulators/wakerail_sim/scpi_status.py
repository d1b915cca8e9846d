"""The status that IEEE 488.2 and SCPI-1999 ask of every instrument: error queue, event registers, status byte."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wakerail_sim.scpi import ERRORS, Commands, number, only, plain

QUEUE_LENGTH = 16
_OPERATION_COMPLETE, _POWER_ON = 1, 128
_ERROR_QUEUE_BIT, _QUESTIONABLE_BIT, _MESSAGE_BIT, _STANDARD_BIT, _MASTER_BIT, _OPERATION_BIT = 4, 8, 16, 32, 64, 128


def standard_event_bit(code: int) -> int:
    """Return the bit of ``*ESR?`` that an error sets, by its class (SCPI-1999 volume 2, 21.8.9 to 21.8.12)."""
    return {1: 32, 2: 16, 3: 8, 4: 4}[-code // 100]


@dataclass(slots=True)
class Group:
    """A pair of condition and event register (SCPI-1999 volume 1, 9): events stay until read."""

    condition: Callable[[], int]
    take_event: Callable[[], int]
    enable: int = 0
    _event: int = 0

    def peek(self) -> int:
        """Return the event register and leave it as it is."""
        self._event |= self.take_event()
        return self._event

    def read(self) -> int:
        """Return the event register and clear it."""
        event, self._event = self.peek(), 0
        return event


class Status:
    """All status registers of one instrument, shared by its clients. Power-on sets PON in ``*ESR?``."""

    def __init__(self, questionable: Group, operation: Group) -> None:
        self.questionable = questionable
        self.operation = operation
        self._errors: deque[int] = deque()
        self.power_on()

    def power_on(self) -> None:
        """Begin as after the mains switch."""
        self._errors.clear()
        self._standard_event, self._standard_enable, self._service_enable = _POWER_ON, 0, 0
        self._preset()
        self.questionable.read()
        self.operation.read()

    def note(self, code: int) -> None:
        """Put an error into the queue; a full one says -350 in its newest place (SCPI-1999 volume 2, 21.8.1)."""
        self._standard_event |= standard_event_bit(code)
        if len(self._errors) < QUEUE_LENGTH:
            self._errors.append(code)
        else:
            self._errors[-1] = -350
            self._standard_event |= standard_event_bit(-350)

    def byte(self, answer_waits: bool) -> int:
        """Return the status byte; ``answer_waits`` is its message-available bit."""
        value = _ERROR_QUEUE_BIT if self._errors else 0
        value |= _QUESTIONABLE_BIT if self.questionable.peek() & self.questionable.enable else 0
        value |= _MESSAGE_BIT if answer_waits else 0
        value |= _STANDARD_BIT if self._standard_event & self._standard_enable else 0
        value |= _OPERATION_BIT if self.operation.peek() & self.operation.enable else 0
        return value | (_MASTER_BIT if value & self._service_enable else 0)

    def add_to(self, commands: Commands) -> None:
        """Add the status commands, ``*STB?`` apart, which needs to know of waiting answers."""
        commands.add("*CLS", tell=plain(self._clear))
        commands.add("*ESR", ask=plain(self._take_standard_event))
        commands.add("*ESE", tell=self._set_standard_enable, ask=plain(lambda: str(self._standard_enable)))
        commands.add("*SRE", tell=self._set_service_enable, ask=plain(lambda: str(self._service_enable)))
        commands.add("*OPC", tell=plain(self._complete), ask=plain(lambda: "1"))
        commands.add("*WAI", tell=plain(lambda: None))
        commands.add("SYSTem:ERRor[:NEXT]", ask=plain(self._next_error))
        commands.add("SYSTem:VERSion", ask=plain(lambda: "1999.0"))
        commands.add("STATus:PRESet", tell=plain(self._preset))
        for name, group in (("QUEStionable", self.questionable), ("OPERation", self.operation)):
            self._add_group(commands, name, group)

    @staticmethod
    def _add_group(commands: Commands, name: str, group: Group) -> None:
        def set_enable(given: Sequence[str]) -> None:
            group.enable = round(number(only(given), "", 0, 65535)) & 0x7FFF  # bit 15 is always 0

        commands.add(f"STATus:{name}[:EVENt]", ask=plain(lambda: str(group.read())))
        commands.add(f"STATus:{name}:CONDition", ask=plain(lambda: str(group.condition())))
        commands.add(f"STATus:{name}:ENABle", tell=set_enable, ask=plain(lambda: str(group.enable)))

    def _clear(self) -> None:
        self._errors.clear()
        self._standard_event = 0
        self.questionable.read()
        self.operation.read()

    def _preset(self) -> None:
        self.questionable.enable = 0
        self.operation.enable = 0

    def _complete(self) -> None:
        self._standard_event |= _OPERATION_COMPLETE

    def _take_standard_event(self) -> str:
        event, self._standard_event = self._standard_event, 0
        return str(event)

    def _set_standard_enable(self, given: Sequence[str]) -> None:
        self._standard_enable = round(number(only(given), "", 0, 255))

    def _set_service_enable(self, given: Sequence[str]) -> None:
        self._service_enable = round(number(only(given), "", 0, 255)) & ~_MASTER_BIT

    def _next_error(self) -> str:
        code = self._errors.popleft() if self._errors else 0
        return f'{code},"{ERRORS[code] if code else "No error"}"'
