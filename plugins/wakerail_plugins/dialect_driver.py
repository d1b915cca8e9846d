"""What every driver does that speaks a dialect over a wire of its own: join, ask, fall out of step, let go."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from typing import Protocol

from wakerail_kit.dialect import Dialect
from wakerail_kit.dialect_exchange import Exchange
from wakerail_kit.dialect_talk import Answer, Talk, Wire
from wakerail_kit.dialect_wording import Value, Values
from wakerail_kit.errors import DeviceRefused, DeviceUnavailable, WakerailError
from wakerail_kit.kinds import InstrumentFault
from wakerail_kit.messages import Identity

#: The longest error queue that is read out; SCPI instruments keep 10 to 30 entries.
_MOST_FAULTS = 64


class ClosableWire(Wire, Protocol):
    """A wire that can be let go; ``close`` never raises."""

    def close(self) -> None: ...


class DialectDriver:
    """Base of such drivers. ``connect`` opens a fresh link, raising DeviceUnavailable; ``called`` is its name in words.

    After OutOfSync or DeviceUnavailable the link is closed, and whatever uses it raises the same again until it is
    joined anew.
    """

    def __init__(self, dialect: Dialect, connect: Callable[[], ClosableWire], called: str) -> None:
        self._dialect = dialect
        self._connect = connect
        self._not_open = DeviceUnavailable(f"{called} is not open")
        self._wire: ClosableWire | None = None
        self._talk: Talk | None = None
        self._lost: WakerailError = self._not_open

    def faults(self) -> Sequence[InstrumentFault]:
        """Read the instrument's error queue out, where its dialect has one."""
        faults: list[InstrumentFault] = []
        while self._dialect.errors is not None and len(faults) < _MOST_FAULTS:
            said = self._run(self._dialect.errors).values
            code = said.get("code")
            if not isinstance(code, float) or code == 0:
                break
            faults.append(InstrumentFault(int(code), str(said.get("text", "")) or f"error {code:g}"))
        return faults

    def close(self) -> None:
        """Say good-bye if the link is in step, and let go of it."""
        if self._talk is not None:
            with contextlib.suppress(WakerailError):
                for exchange in self._dialect.close:
                    self._talk.bare(exchange)
        self._drop(self._not_open)

    def _join(self) -> None:
        self._wire = self._connect()
        self._talk = Talk(self._dialect, self._wire)

    def _identify(self) -> Identity:
        values: dict[str, Value] = {}
        texts = []
        for exchange in self._dialect.identify:
            answer = self._run(exchange, bare=True)
            values |= answer.values
            texts.append(answer.text.strip())
        return Identity(text=" ".join(texts), **{name: str(value) for name, value in values.items()})

    def _run(self, exchange: Exchange, values: Values | None = None, *, bare: bool = False) -> Answer:
        talk = self._check_open()
        try:
            return talk.bare(exchange, values) if bare else talk.run(exchange, values)
        except DeviceRefused:
            raise
        except WakerailError as lost:
            self._drop(lost)
            raise

    def _check_open(self) -> Talk:
        if self._talk is None:
            raise type(self._lost)(str(self._lost))
        return self._talk

    def _drop(self, lost: WakerailError) -> None:
        """Close the link, if there is one; ``lost`` is what every use raises until it is joined anew."""
        self._lost = type(lost)(str(lost))  # afresh: the one raised holds on to the dead link's frames
        self._talk = None
        if self._wire is not None:
            self._wire.close()
            self._wire = None
