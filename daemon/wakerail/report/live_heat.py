"""A heat while it goes: temperature, target, the board by the model, the stage with its countdown, and what to do."""

from __future__ import annotations

from rich.text import Text

from wakerail.report.signs import Signs
from wakerail.report.sparkline import RecentSignal, block_chart
from wakerail_kit.events import (
    EventData,
    HeatEstimated,
    HeatStageStarted,
    HeatStarted,
    PresenceConfirmed,
    StepFinished,
)
from wakerail_kit.messages import Frame
from wakerail_kit.units import human

#: A heat is slow: this much of it is seen at a glance.
SHOWN_S = 600.0
_CHART_ROWS = 4
#: With less than this left, the view asks whether somebody is there.
ASKED_S = 60.0
#: The last stage; the heater is off then.
COOL = "cool"


class LiveHeat:
    """What is known of the heat of one plate."""

    def __init__(self, started: HeatStarted) -> None:
        self._heat = started
        self._stage: HeatStageStarted | None = None
        self._estimate: HeatEstimated | None = None
        self._temperature = RecentSignal(SHOWN_S, slots=200)
        self._heater_on = False
        self._now_s = started.at_s
        self._over = False
        self._present_until_s = started.at_s + started.present_left_s

    @property
    def says(self) -> str:
        """What a person does or knows during this stage; empty once plate and board may be touched."""
        return self._stage.says if self._stage is not None and not self._over else ""

    def presence(self) -> Text:
        """Return for how long a person has confirmed to be there; empty once nothing heats any more."""
        if self._over or (self._stage is not None and self._stage.kind == COOL):
            return Text()
        left_s = max(self._present_until_s - self._now_s, 0.0)
        if left_s > ASKED_S:
            return Text(f"you are there for {clock(left_s)}", style="dim")
        return Text(f"are you there? confirm within {clock(left_s)}", style="bold yellow")

    def take_frame(self, frame: Frame) -> None:
        """Take a frame; one of another instrument is passed over."""
        if frame.instrument != self._heat.instrument:
            return
        self._now_s = frame.t_s[-1]
        self._temperature.take(frame.t_s, frame.signals.get("temperature", [None] * len(frame.t_s)))
        self._heater_on = bool((frame.signals.get("heater") or [None])[-1])

    def take_event(self, data: EventData) -> None:
        """Take one of the run's events."""
        if isinstance(data, HeatStageStarted):
            self._stage, self._estimate = data, None
        elif isinstance(data, HeatEstimated):
            self._estimate = data
            if data.present_left_s is not None:
                self._present_until_s = data.at_s + data.present_left_s
        elif isinstance(data, PresenceConfirmed):
            self._present_until_s = self._now_s + data.left_s
        elif isinstance(data, StepFinished) and data.verb == "heat":
            self._over = True

    def lines(self, signs: Signs, width: int) -> list[Text]:
        """Return the chart with its facts beside it, and the stage with its countdown below."""
        now_c = self._temperature.now
        facts = [
            Text("no reading" if now_c is None else f"{now_c:.1f} °C", style="bold"),
            Text(self._target()),
            Text(self._board()),
            Text("heater on" if self._heater_on else "heater off", style="bold yellow" if self._heater_on else ""),
        ]
        top_c = self._heat.ceiling_c
        chart = block_chart(self._temperature.columns(width - 34), top_c, _CHART_ROWS, signs.bars)
        scale = [human(top_c, "Cel"), "", "", "0 °C"]
        lines = []
        for fact, line, mark in zip(facts, chart, scale, strict=True):
            fact.pad_right(20 - len(fact))
            lines.append(Text.assemble("  ", fact, (line, "red" if self._heater_on else "cyan"), (f" {mark}", "dim")))
        lines.append(Text(f"{'':22}last {human(SHOWN_S / 60, 'min')}", style="dim"))
        lines += self._countdown(signs, width)
        return lines

    def _target(self) -> str:
        if self._stage is None:
            return ""
        below = "below " if self._stage.kind == COOL else ""
        return f"target {below}{human(self._stage.temperature_c, 'Cel')}"

    def _board(self) -> str:
        estimate = self._estimate
        if estimate is None or estimate.board_c is None:
            return ""
        if estimate.board_low_c is None or estimate.board_high_c is None:
            return f"board {estimate.board_c:.0f} °C"
        return f"board {estimate.board_low_c:.0f} to {estimate.board_high_c:.0f} °C"

    def _countdown(self, signs: Signs, width: int) -> list[Text]:
        stage = self._stage
        if stage is None or self._over:
            return []
        words = f"{stage.kind}, {stage.number} of {len(self._heat.stages)}"
        left_s, whole_s = self._left_s(stage)
        if left_s is None:
            return [Text.assemble("  ", (words, "bold"))]
        about = "" if stage.duration_s is not None else "about "
        line = Text.assemble("  ", (words, "bold"), f"   {about}{clock(left_s)} left")
        room = width - 9
        gone = round(room * (1 - left_s / whole_s)) if whole_s else 0
        return [line, Text.assemble("       ", (signs.left * gone, "cyan"), (signs.rule * (room - gone), "dim"))]

    def _left_s(self, stage: HeatStageStarted) -> tuple[float | None, float]:
        """Return how long the stage still takes, None where nobody knows, and how long it takes in all."""
        gone_s = max(self._now_s - stage.at_s, 0.0)
        if stage.duration_s is not None:
            return max(stage.duration_s - gone_s, 0.0), stage.duration_s
        if self._estimate is None or self._estimate.left_s is None:
            return None, 0.0
        left_s = max(self._estimate.left_s - (self._now_s - self._estimate.at_s), 0.0)
        return left_s, left_s + gone_s


def clock(seconds: float) -> str:
    """Return a time that is counted down: ``1:05``."""
    minutes, left = divmod(round(seconds), 60)
    return f"{minutes}:{left:02}"
