"""What the model of plate and board says of a heat while it lasts: the board, what is left, why a plate is slow."""

from __future__ import annotations

from scipy.optimize import brentq

from wakerail.analysis.thermal.board import Between, Board, BoardEstimate, BoardEstimator
from wakerail.analysis.thermal.plate_model import PlateModel
from wakerail.analysis.thermal.plate_watch import Misbehaviour, PlateWatch, command_of
from wakerail.sequences.heating.trace import HeatTrace
from wakerail_kit.heat_profiles import BoardOnPlate, HeatProfile, Stage, StageKind
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human

#: A plate that would settle less than this above a temperature comes to it late or never.
_BARELY_K = 5.0
#: A temperature with its interval, as a standard uncertainty: the ranges are taken for even (JCGM 100, the GUM, 4.3.7).
_EVEN = 3.0**0.5
_FAR_C = 2000.0
_WARM_C, _USUAL_ROOM_C = 40.0, 25.0  # a plate this warm at first is not at the room's temperature


class Reckoning:
    """Follows one heat. Without a board in the profile nothing is said of one."""

    def __init__(self, profile: HeatProfile) -> None:
        self._liquidus_c = profile.alloy.liquidus_c
        self._plate = PlateWatch()
        self._known = profile.board
        self._board: BoardEstimator | None = None
        self._peak: BoardEstimate | None = None
        self._liquid_s = 0.0
        self._before_s: float | None = None

    @property
    def misbehaviour(self) -> Misbehaviour | None:
        """How the plate left what its model foretold, None while it did not."""
        return self._plate.misbehaviour

    def take(self, trace: HeatTrace, count: int) -> None:
        """Take the newest ``count`` samples of a trace."""
        for back in range(count, 0, -1):
            t_s, plate_c = trace.t_s[-back], trace.firm_c[-back]
            if plate_c is None:
                continue
            self._plate.take(t_s, plate_c, command_of(trace.heating[-back], trace.setpoint_c[-back], plate_c))
            if self._known is not None:
                if self._board is None:
                    room_c = plate_c if plate_c <= _WARM_C else _USUAL_ROOM_C
                    self._board = BoardEstimator(_board(self._known), room_c=room_c, start_c=room_c)
                self._follow_board(t_s, self._board.take(t_s, plate_c))

    def _follow_board(self, t_s: float, board: BoardEstimate | None) -> None:
        if board is None:
            return
        if self._peak is None or board.likely_c > self._peak.likely_c:
            self._peak = board
        if self._before_s is not None and board.likely_c >= self._liquidus_c:
            self._liquid_s += t_s - self._before_s
        self._before_s = t_s

    def board(self) -> BoardEstimate | None:
        """Return where the board is now, None if nobody knows."""
        return None if self._board is None else self._board.newest

    def left_s(self, stage: Stage) -> float | None:
        """Return about how long a ramp or a cool-down still takes, None where the model cannot tell."""
        if stage.kind not in {StageKind.RAMP, StageKind.COOL}:
            return None
        command = 1.0 if stage.kind is StageKind.RAMP else 0.0
        time = self._plate.time_to(stage.temperature_c, command=command)
        return None if time is None else time.likely_s

    def why_slow(self, target_c: float) -> str:
        """Return what the model makes of a plate that does not come to a temperature; empty if it cannot tell."""
        plate = self._plate.plate
        if plate is None:
            return "It hardly warmed at all: look whether it heats, and whether its sensor sits in it."
        settles_c = _settles_c(plate.model)
        if settles_c < target_c + _BARELY_K:
            return (
                f"By its model it settles near {human(round(settles_c), 'Cel')} with full heat: too little power for "
                "what lies on it, or a part of its heater is gone."
            )
        return (
            "By its model it would get there, but not in this time: give the ramp longer, or take less onto the plate."
        )

    def measurements(self) -> tuple[Measurement, ...]:
        """Return what the model says of the board, with its uncertainty; nothing judges it."""
        if self._peak is None:
            return ()
        half_k = 0.5 * (self._peak.high_c - self._peak.low_c)
        return (
            Measurement(
                name="board peak, by the model",
                value=round(self._peak.likely_c, 1),
                unit="Cel",
                uncertainty=round(half_k / _EVEN, 1),
                outcome=Outcome.PASSED,
            ),
            Measurement(
                name="board above liquidus, by the model",
                value=round(self._liquid_s, 1),
                unit="s",
                outcome=Outcome.PASSED,
            ),
        )


def _settles_c(model: PlateModel) -> float:
    """Return where a plate ends up with full heat, at most ``_FAR_C``."""
    short_k_per_s = model.heat_rate_k_per_s - model.loss_k_per_s(_FAR_C)
    if short_k_per_s >= 0:
        return _FAR_C
    return float(brentq(lambda c: model.heat_rate_k_per_s - model.loss_k_per_s(c), model.room_c, _FAR_C))


def _board(known: BoardOnPlate) -> Board:
    return Board(
        capacity_j_per_k=Between(*known.capacity_j_per_k),
        contact_w_per_k=Between(*known.contact_w_per_k),
        loss_w_per_k=Between(*known.loss_w_per_k),
        source=known.source,
    )
