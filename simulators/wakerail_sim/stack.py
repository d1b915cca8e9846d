"""The device's two stacked boards and the solder between them, as a lump of heat capacity that may lie on the plate.

    C dT/dt = k_contact (T_plate - T) - (T - T_room) / R        (lumped-capacity heat balance)

While the solder is liquid the upper board can be lifted; what lies on liquid solder is joined once that is solid again.
What came between the boards stays there until they are apart and somebody cleans them.
"""

from __future__ import annotations

from enum import StrEnum

from wakerail_kit.alloys import Alloy
from wakerail_kit.errors import ConfigInvalid
from wakerail_sim.plate import ROOM_C

CAPACITY_J_PER_K = 12.0
CONTACT_W_PER_K = 3.0
LOSS_W_PER_K = 0.05
#: Above this nobody touches a board, nor brings flammable cleaner near it.
TOUCH_C = 48.0
#: Faults that sit between the boards.
BETWEEN = ("corroded-joint", "bridged-layers")


class Boards(StrEnum):
    """How the upper board is on the lower one."""

    JOINED = "joined"
    LIQUID = "liquid"
    LOOSE = "loose"
    APART = "apart"


class Stack:
    """Boards joined by ``solder``; None: the device has one board, and nothing of this can be done to it.

    ``between`` are the faults that sit between the boards. What hands do raises ConfigInvalid where it cannot be done.
    """

    def __init__(self, solder: Alloy | None, between: set[str]) -> None:
        self._solder = solder
        self.between = between
        self.boards = Boards.JOINED
        self.clamped = False
        self.temperature_c = ROOM_C

    def move_on(self, plate_c: float, step_s: float) -> None:
        """Follow the plate, or the room, for one step; solder melts and becomes solid."""
        warming_w = CONTACT_W_PER_K * (plate_c - self.temperature_c) if self.clamped else 0.0
        losing_w = LOSS_W_PER_K * (self.temperature_c - ROOM_C)
        self.temperature_c += (warming_w - losing_w) * step_s / CAPACITY_J_PER_K
        if self._solder is None or self.boards is Boards.APART:
            return
        if self.temperature_c >= self._solder.liquidus_c:
            self.boards = Boards.LIQUID
        elif self.temperature_c <= self._solder.solidus_c and self.boards is Boards.LIQUID:
            self.boards = Boards.JOINED

    def clamp(self) -> None:
        """Clamp the boards, or the lower one alone, on the plate."""
        self._must(not self.clamped, "the boards are on the plate already")
        self.clamped = True

    def take_off(self) -> None:
        """Take the boards off the plate."""
        self._must(self.clamped, "the boards are not on the plate")
        self._must_be_cool()
        self.clamped = False

    def lift(self) -> None:
        """Lift the upper board off the lower one."""
        self._must(self.boards is not Boards.APART, "the boards are apart already")
        says = f"the solder holds the upper board: it is solid at {self.temperature_c:.0f} degC"
        self._must(self.boards is not Boards.JOINED, says)
        self.boards = Boards.APART

    def set_upper(self) -> None:
        """Set the upper board on the lower one."""
        self._must(self.boards is Boards.APART, "the upper board is on the lower one already")
        self.boards = Boards.LOOSE

    def clean(self) -> None:
        """Clean the pads of both boards."""
        self._must(self.boards is Boards.APART, "no brush gets between the boards as long as they are together")
        self._must_be_cool()
        self.between.clear()

    def _must_be_cool(self) -> None:
        says = f"still hot, {self.temperature_c:.0f} degC: touch nothing, and keep flammable cleaner away"
        self._must(self.temperature_c <= TOUCH_C, says)

    def _must(self, fits: bool, says: str) -> None:
        if self._solder is None:
            raise ConfigInvalid("this device has no stacked boards")
        if not fits:
            raise ConfigInvalid(says)
