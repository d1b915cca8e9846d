"""How a run ended: the outcome, in the words of the IEEE 1671 family, and beside it a finding of our own.

The full enumeration of the standard was not to be seen, so no conformance is claimed.
"""

from __future__ import annotations

from enum import StrEnum


class Outcome(StrEnum):
    """What a step, a measurement or a whole sequence concludes."""

    PASSED = "Passed"
    FAILED = "Failed"
    INCONCLUSIVE = "Inconclusive"
    ABORTED = "Aborted"


class Finding(StrEnum):
    """What was found, as a short code; each sequence names those it can give."""

    # of the boot watch
    NO_DRAW = "no-draw"
    STANDING_DRAW = "standing-draw"
    HARD_SHORT = "hard-short"
    SUPPLY_LIMITED = "supply-limited"
    STALLED = "stalled"
    RESTARTING = "restarting"
    RUNNING = "running"
    # of the rail check and the port check
    RAIL_QUIET = "rail-quiet"
    PORT_CLEAR = "port-clear"
    PORT_FAULT = "port-fault"
    # of a line survey
    LINES_GOOD = "lines-good"
    LINE_SHORTED = "line-shorted"
    LINES_BRIDGED = "lines-bridged"
    LINE_LOW = "line-low"
    LINE_OPEN = "line-open"
    LINE_HIGH = "line-high"
    # of an injection
    NO_SHORT = "no-short"
    SHORT_CLEARED = "short-cleared"
    SHORT_STAYS = "short-stays"
    # of a proof
    PROVED = "proved"
    NOT_ENUMERATED = "not-enumerated"
    CHARGE_FAULT = "charge-fault"
    FUNCTION_FAILED = "function-failed"
    # of a heat
    PROFILE_KEPT = "profile-kept"
    PROFILE_MISSED = "profile-missed"
    # of any sequence
    CHECKS_PASSED = "checks-passed"
    CHECK_FAILED = "check-failed"
    TOO_LITTLE_DATA = "too-little-data"
    # not about the device at all
    BENCH_FAULT = "bench-fault"
    INTERLOCK = "interlock"
    STOPPED = "stopped"
