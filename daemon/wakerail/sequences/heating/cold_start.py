"""Before anybody puts their hands on a plate: its sensor can be believed, and it is cool."""

from __future__ import annotations

from wakerail.sequences.access import InstrumentAccess
from wakerail.sequences.arrivals import Listener
from wakerail.sequences.endings import RunEnded, interlock
from wakerail.sequences.heating.trace import HeatTrace
from wakerail.sequences.steps.action import StepContext
from wakerail_kit.errors import DeviceUnavailable
from wakerail_kit.messages import Frame
from wakerail_kit.units import human

#: So long without a believable temperature is too long to go on waiting for one.
BLIND_LIMIT_S = 10.0


async def first_believed_c(context: StepContext, listener: Listener, trace: HeatTrace, plate: str) -> float:
    """Take frames into a trace until its sensor can be believed; return what it says then.

    Raises DeviceUnavailable if it cannot be within ``BLIND_LIMIT_S``.
    """
    begun_s = context.bench.clock.monotonic_s()
    while trace.believed_c is None:
        if trace.now_s - begun_s > BLIND_LIMIT_S:
            raise DeviceUnavailable(f"{plate}: its sensor gives no temperature that can be believed")
        arrival = await listener.next()
        if isinstance(arrival, Frame):
            trace.take(arrival, lambda _: None)
    return trace.believed_c


async def require_cool(context: StepContext, plate: InstrumentAccess, touch_c: float) -> None:
    """Raise RunEnded if a plate is still hot: what comes first is done on it by hand."""
    with context.arrivals.listen(plate) as listener:
        at_c = await first_believed_c(context, listener, HeatTrace(), plate.name)
    if at_c > touch_c:
        at, touch = human(round(at_c, 1), "Cel"), human(touch_c, "Cel")
        says = f"nothing was done: {plate.name} is still hot, {at}; wait until it is below {touch}, then start again"
        raise RunEnded(interlock(says))
