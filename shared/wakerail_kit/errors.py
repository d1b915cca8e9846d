"""Errors by what the caller should do about them; each message is one clear line for a person."""

from __future__ import annotations


class WakerailError(Exception):
    """Root of every error that Wakerail raises on purpose. ``str()`` is one line for a person."""


class ConfigInvalid(WakerailError):
    """A file, option or request is wrong: do not retry, correct it.

    ``problems`` holds one line for each mistake found, with file, line and key where they are known.
    """

    def __init__(self, *problems: str) -> None:
        self.problems: tuple[str, ...] = problems
        super().__init__("\n".join(problems))


class DeviceUnavailable(WakerailError):
    """The instrument cannot be reached or has gone away: retry later."""


class DeviceRefused(WakerailError):
    """The instrument or an interlock said no: do not retry the same command."""


class OutOfSync(WakerailError):
    """An answer was late, lost or garbled: the physical state is unknown.

    Treat the instrument as energised; close, reopen, identify and read its settings back before use.
    """


class ContractViolation(WakerailError):
    """A plugin or caller broke the kit's contract: a programmer must mend it."""
