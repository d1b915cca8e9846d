"""From a trip to a person's reset nothing that heats gets through, whatever the plate says and whoever asks."""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from wakerail.bench.interlocks import Keeper, Presence, Samples, keeper_for
from wakerail_kit.kinds import HEAT_SOURCE

LIMITS = {"temperature": 260.0}
TEMPERATURES = st.one_of(
    st.none(), st.floats(-250, 1500), st.sampled_from([0.0, 25.0, 230.0, 512.0, 1023.75]), st.floats(20, 250)
)

SETPOINTS = st.sampled_from([None, 25.0, 230.0, 300.0])


def reading(t_s: float, at_c: float | None, setpoint_c: float | None = 25.0, heater: float | None = 0.0) -> Samples:
    return Samples([t_s], {"temperature": [at_c], "setpoint": [setpoint_c], "heater": [heater]})


def settled(presence: Presence | None = None) -> Keeper:
    """A keeper of a plate that was made safe and whose sensor has been read for a second, 30 times."""
    keeper = keeper_for(HEAT_SOURCE, LIMITS, presence or Presence(180.0))
    keeper.commanded("heater", False, 0.0)
    for step in range(30):
        assert keeper.judge(reading(0.03 * step, 25.0)) is None
    return keeper


class Lane:
    """What the host's lane does with its keeper, to a plate that is nothing but a heater switch."""

    def __init__(self) -> None:
        self.presence = Presence(180.0)
        self.keeper = keeper_for(HEAT_SOURCE, LIMITS, self.presence)
        self.now_s = 0.0
        self.heater = False
        self.sent_on_while_tripped = 0
        self.keeper.commanded("heater", False, 0.0)

    def ask(self, setting: str, value: float | bool) -> None:
        if setting == "heater" and not value:
            self.heater = False
        elif self.keeper.refusal(setting, value, self.now_s) is not None:
            return
        elif setting == "heater":
            self.sent_on_while_tripped += self.keeper.trip is not None
            self.heater = True
        self.keeper.commanded(setting, value, self.now_s)

    def act(self, trip: object) -> None:
        if trip is not None:
            self.heater = False
            self.keeper.commanded("heater", False, self.now_s)


class AnyFramesAndCommands(RuleBasedStateMachine):
    """Frames, commands, losses, lapses and resets in any order."""

    @initialize()
    def begin(self) -> None:
        self.lane = Lane()

    @rule(
        at_c=TEMPERATURES,
        setpoint_c=st.sampled_from([None, 25.0, 230.0, 300.0]),
        heater=st.sampled_from([0.0, 1.0, None]),
    )
    def read(self, at_c: float | None, setpoint_c: float | None, heater: float | None) -> None:
        self.lane.now_s += 0.1
        self.lane.act(self.lane.keeper.judge(reading(self.lane.now_s, at_c, setpoint_c, heater)))

    @rule()
    def read_a_healthy_second(self) -> None:
        for _ in range(12):
            self.lane.now_s += 0.1
            heater = float(self.lane.heater)
            self.lane.act(self.lane.keeper.judge(reading(self.lane.now_s, 25.0, 230.0, heater)))

    @rule(on=st.booleans())
    def switch(self, on: bool) -> None:
        self.lane.ask("heater", on)

    @rule(to_c=st.floats(0, 400))
    def set(self, to_c: float) -> None:
        self.lane.ask("temperature", to_c)

    @rule(pause_s=st.sampled_from([0.5, 3.0, 200.0]))
    def pass_time(self, pause_s: float) -> None:
        self.lane.now_s += pause_s
        self.lane.act(self.lane.keeper.check(self.lane.now_s))

    @rule()
    def lose_the_link(self) -> None:
        self.lane.act(self.lane.keeper.lost(self.lane.now_s, "no answer"))

    @rule()
    def confirm_presence(self) -> None:
        self.lane.presence.confirm(self.lane.now_s)

    @rule()
    def reset(self) -> None:
        self.lane.keeper.reset(self.lane.now_s)

    @invariant()
    def nothing_heats_from_a_trip_until_a_reset(self) -> None:
        if not hasattr(self, "lane"):
            return
        assert self.lane.sent_on_while_tripped == 0
        if self.lane.keeper.trip is not None:
            assert not self.lane.heater
            assert self.lane.keeper.refusal("heater", True, self.lane.now_s)
            assert self.lane.keeper.refusal("temperature", 30.0, self.lane.now_s)


AnyFramesAndCommands.TestCase.settings = settings(max_examples=60, stateful_step_count=40, deadline=None)
TestAnyFramesAndCommands = AnyFramesAndCommands.TestCase


def test_no_heat_before_the_sensor_is_believed_nor_without_a_person() -> None:
    presence = Presence(180.0)
    assert "needs a person" in (settled(presence).refusal("heater", True, 1.0) or "")
    presence.confirm(1.0)
    fresh = keeper_for(HEAT_SOURCE, LIMITS, presence)
    assert "can be believed" in (fresh.refusal("heater", True, 1.0) or "")
    assert settled(presence).refusal("heater", True, 1.0) is None
    assert settled(presence).refusal("heater", False, 1.0) is None


@pytest.mark.parametrize(
    ("at_c", "interlock"),
    [
        (None, "sensor-open"),
        (0.0, "sensor-rail"),
        (1023.75, "sensor-rail"),
        (64.0, "sensor-jump"),
        (32.0, "sensor-false-reading"),
    ],
)
def test_a_reading_that_cannot_be_believed_cuts_the_heat_in_itself(at_c: float | None, interlock: str) -> None:
    presence = Presence(180.0)
    presence.confirm(1.0)
    keeper = settled(presence)
    keeper.commanded("temperature", 230.0, 1.0)
    keeper.commanded("heater", True, 1.0)
    trip = keeper.judge(reading(1.1, at_c, 230.0, 1.0))
    assert trip is not None
    assert trip.interlock == interlock
    assert keeper.trip is trip


def test_the_same_reading_without_heat_only_bars_it() -> None:
    presence = Presence(180.0)
    presence.confirm(1.0)
    keeper = settled(presence)
    assert keeper.judge(reading(1.1, 512.0)) is None
    assert keeper.refusal("heater", True, 1.1)


def test_a_link_lost_while_heating_trips_and_while_cold_does_not() -> None:
    keeper = settled()
    assert keeper.lost(1.0, "no answer") is None
    keeper.commanded("heater", True, 1.0)
    trip = keeper.lost(1.1, "no answer")
    assert trip is not None
    assert trip.interlock == "lost-communication"


def test_the_first_trip_stands_and_alarms_after_it_do_not_replace_it() -> None:
    keeper = settled()
    keeper.commanded("heater", True, 1.0)
    first = keeper.judge(reading(1.1, None, 25.0, 1.0))
    keeper.commanded("heater", False, 1.1)
    alarms = [trip for step in range(400) if (trip := keeper.judge(reading(1.2 + 0.1 * step, None))) is not None]
    assert [alarm.interlock for alarm in alarms] == ["not-cooling"]
    assert "PULL ITS PLUG" in alarms[0].says
    assert keeper.trip is first
