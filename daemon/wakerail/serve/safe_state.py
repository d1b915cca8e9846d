"""The safe state without a daemon: every instrument opened by its own driver and switched off, all at the same time.

No event loop, no broker, no journal: one thread an instrument, each bounded, so that one that hangs keeps none waiting.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Mapping, Sequence

from wakerail.config import InstrumentConfig
from wakerail_kit.clock import Clock
from wakerail_kit.kinds import Kind
from wakerail_kit.messages import SafeState
from wakerail_kit.units import human

#: How long each instrument is tried. A port may be free only a moment after the program that held it was killed.
TRIED_FOR_S = 3.0
#: A driver's call must end by itself within this (the kit's contract); after it the instrument is given up.
LAST_CALL_S = 3.0
RETRY_S = 0.1

NOTHING_TO_SWITCH_OFF = "has nothing to switch off"
PULL_ITS_PLUG = "IT MAY BE ON: pull its plug"
_HANGS = f"its driver does not come back; {PULL_ITS_PLUG}"


def make_safe(
    instruments: Sequence[InstrumentConfig], clock: Clock, *, tried_for_s: float = TRIED_FOR_S
) -> list[SafeState]:
    """Put every instrument into its safe state and tell of each, in their order, how it was seen afterwards.

    Takes ``tried_for_s`` and ``LAST_CALL_S`` together at most; a driver that hangs longer is left behind in its thread.
    """
    told: queue.SimpleQueue[tuple[SafeState, bool]] = queue.SimpleQueue()
    waited_for = {each.name for each in instruments if each.type.kind.can_hurt}
    for each in instruments:
        if each.name in waited_for:
            walk = _Walk(each, clock, clock.monotonic_s() + tried_for_s, told)
            threading.Thread(target=walk.run, name=f"safe-{each.name}", daemon=True).start()
    states = {each.name: _state(each, safe=not each.type.kind.can_hurt, says=_HANGS) for each in instruments}
    end_s = clock.monotonic_s() + tried_for_s + LAST_CALL_S
    while waited_for and (left_s := end_s - clock.monotonic_s()) > 0:
        try:
            state, last = told.get(timeout=left_s)
        except queue.Empty:
            break
        states[state.instrument] = state
        if last:
            waited_for.discard(state.instrument)
    return list(states.values())


def seen_in(kind: Kind, signals: Mapping[str, Sequence[float | None]]) -> tuple[bool | None, str]:
    """Return whether a reading shows the safe state (None: it does not tell), and the reading in words."""
    last = {name: value for name, values in signals.items() if values and (value := values[-1]) is not None}
    switches = [name for name, setting in kind.settings.items() if setting.energises and name in last]
    words = [f"{name} {'on' if last[name] else 'off'}" for name in switches]
    words += [human(round(last[name], 1), kind.signals[name]) for name in ("voltage", "temperature") if name in last]
    return (not any(last[name] for name in switches) if switches else None), ", ".join(words)


class _Walk:
    """One instrument's way into its safe state, in its own thread. Tells ``(state, is it the last word?)``."""

    def __init__(
        self, config: InstrumentConfig, clock: Clock, until_s: float, told: queue.SimpleQueue[tuple[SafeState, bool]]
    ) -> None:
        self._config = config
        self._clock = clock
        self._until_s = until_s
        self._told = told

    def run(self) -> None:
        why = self._switch_off()
        if why is not None:
            self._told.put((_state(self._config, safe=False, says=f"{why}; {PULL_ITS_PLUG}"), True))
            return
        # What make_safe returns from has been confirmed. Looking tells how hot it still is; it may hang, or fail.
        self._told.put((_state(self._config, safe=True, says="switched off"), False))
        safe, seen = self._look()
        if safe is False:
            seen = f"it was told to switch off, and shows: {seen}; {PULL_ITS_PLUG}"
        self._told.put((_state(self._config, safe=safe is not False, says=seen or "switched off"), True))

    def _switch_off(self) -> str | None:
        """Switch off, again and again until it is done; return why it could not be done in time."""
        never = threading.Event()
        while True:
            try:
                self._config.driver.make_safe()
            except Exception as wrong:  # noqa: BLE001  whatever a plugin raises, it is tried again
                why = " ".join(str(wrong).split()) or type(wrong).__name__
            else:
                return None
            if self._clock.monotonic_s() + RETRY_S > self._until_s:
                return why
            self._clock.wait(never, RETRY_S)

    def _look(self) -> tuple[bool | None, str]:
        driver = self._config.driver
        try:
            driver.open()
            return seen_in(self._config.type.kind, driver.read().signals)
        except Exception:  # noqa: BLE001  it was switched off; that it cannot be looked at changes nothing
            return None, ""
        finally:
            driver.close()


def _state(config: InstrumentConfig, *, safe: bool, says: str) -> SafeState:
    kind = config.type.kind
    return SafeState(
        instrument=config.name,
        kind=kind.name,
        can_hurt=kind.can_hurt,
        safe=safe,
        says=says if kind.can_hurt else NOTHING_TO_SWITCH_OFF,
    )
