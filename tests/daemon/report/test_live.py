"""The live view of a run, and its news where no terminal is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wakerail.report.live import LiveRun
from wakerail.report.sparkline import RecentSignal, block_chart
from wakerail_kit.events import (
    InstrumentLost,
    InterlockTripped,
    OnsetSeen,
    PromptAnswered,
    PromptRaised,
    RestartRevised,
    RestartSeen,
    RunStarted,
    StepFinished,
    StepStarted,
)
from wakerail_kit.messages import InstrumentState, Prompt
from wakerail_kit.outcome import Outcome

BARS = " ▁▂▃▄▅▆▇█"


@pytest.fixture(name="live")
def _live(event):
    live = LiveRun()
    roles = {"supply": "psu-1", "usb": "usb-1"}
    for data in (
        RunStarted(run="r", sequence="boot-watch", inputs={}, roles=roles, cautions=[], operator="ina", at_s=99.8),
        StepStarted(run="r", number=1, verb="supply", title="Power the board", at_s=100),
        StepFinished(run="r", number=1, verb="supply", title="Power the board", outcome=Outcome.PASSED),
        StepStarted(run="r", number=2, verb="watch", title="Watch the boot", at_s=104, duration_s=60),
    ):
        live.take("", event(data))
    return live


def restart(number):
    at_s = 105 + 4.4 * number
    evidence, says = ["current-collapse"], "after 4.05 s up the current fell"
    return RestartSeen(run="r", at_s=at_s, again_s=at_s + 0.4, number=number, evidence=evidence, says=says)


def test_it_shows_the_steps_the_current_the_time_left_and_the_restarts(live, show, event, frame):
    live.take("", event(OnsetSeen(run="r", at_s=105, level_a=0.09)))
    live.take("", frame(104, [0.0003] * 20 + [0.65] * 160 + [0.412]))
    for number in (1, 2):
        live.take("", event(restart(number)))
    lines = show(live)
    said = "\n".join(lines)
    assert "boot-watch on bench-1" in lines[0]
    assert any("✔ 1  Power the board" in line and line.endswith("Passed") for line in lines)
    assert any("▶ 2  Watch the boot" in line and line.endswith("51 s left") for line in lines)
    assert "412 mA" in said
    assert "3.85 V" in said
    assert "650 mA" in said  # the scale of the chart
    assert "▼ 2 restarts" in said
    assert "1  at   9.6 s, down for 0.40 s   by current-collapse" in said


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40)])
def test_it_never_outgrows_the_terminal(live, show, event, frame, width, height):
    for number in range(3, 30):
        live.take("", event(StepStarted(run="r", number=number, verb="x", title="A step " * 20, at_s=110)))
    live.take("", event(StepStarted(run="r", number=30, verb="watch", title="Watch", at_s=110, duration_s=60)))
    for number in range(1, 40):
        live.take("", event(restart(number)))
    live.take("", frame(111, [0.5] * 100))
    live.take("", Prompt(id="p", bench="bench-1", run="r", step=3, text="Press " * 40, time=""))
    tripped = InterlockTripped(
        instrument="psu-1", interlock="over-current", says="5.1 A is too much " * 9, value=5.1, limit=5, unit="A"
    )
    live.take("", event(tripped, "psu-1"))
    lines = show(live, width=width, height=height)
    assert len(lines) < height
    assert max(len(line) for line in lines) <= width
    assert any("▼ 39 restarts" in line for line in lines)
    assert any("▲ psu-1: 5.1 A" in line for line in lines)
    assert any("☞ Press" in line for line in lines)


def test_a_restart_that_is_told_anew_is_shown_as_it_is_known_now(live, show, event):
    for number in (1, 2):
        live.take("", event(restart(number)))
    live.news()
    sure = RestartRevised(run="r", number=2, at_s=105, probability=0.97, counts=True, says="USB shows it, too")
    none = RestartRevised(run="r", number=1, at_s=105, probability=0.1, counts=False, says="it was a sleep")
    for data in (sure, none):
        live.take("", event(data))
    told = live.news().plain.splitlines()
    assert told[0].endswith("s, now 97 % sure: USB shows it, too")
    assert told[1].endswith("s, which counts no more: it was a sleep")
    lines = show(live)
    assert any("▼ 1 restart" in line for line in lines)
    assert any("97 % sure" in line for line in lines)


def test_a_prompt_goes_when_it_is_answered(live, show, event):
    live.take("", Prompt(id="p", bench="bench-1", run="r", step=2, text="Bridge the pads.", time=""))
    assert any("☞ Bridge the pads." in line for line in show(live))
    live.take("", event(PromptAnswered(run="r", prompt="p", confirmed=True)))
    assert not any("Bridge the pads." in line for line in show(live))


def test_other_instruments_of_the_bench_are_not_mixed_in(live, show, frame):
    live.take("", frame(104, [0.412] * 5))
    live.take("", frame(105, [1.7] * 5, instrument="psu-2"))
    assert any("412 mA" in line for line in show(live))


def test_it_shows_nothing_known_yet(show):
    assert any("no data" in line for line in show(LiveRun()))


def test_the_verdict_ends_it(live, show, verdict):
    live.take("", verdict)
    assert any("✘ Failed   restarting" in line for line in show(live))


def test_a_terminal_without_unicode_gets_plain_signs(live, show, frame):
    live.take("", frame(104, [0.412] * 50))
    lines = show(live, encoding="ascii")
    assert any("> 2  Watch the boot" in line for line in lines)
    assert all(line.isascii() for line in lines)


def test_news_are_told_once_and_frames_are_none(live, event, frame):
    assert live.news().plain.splitlines() == [
        "boot-watch began, supply is psu-1, usb is usb-1",
        "step 1 Passed: Power the board",
        "step 2, 60 s: Watch the boot",
    ]
    live.take("", frame(104, [0.1]))
    assert live.news() is None
    live.take("", event(OnsetSeen(run="r", at_s=105, level_a=0.09)))
    assert live.news().plain == "onset at 5.2 s: it draws 90 mA"
    live.take("", event(restart(1)))
    assert live.news().plain == "restart 1 at 9.6 s: after 4.05 s up the current fell"
    lost = InstrumentLost(instrument="psu-1", state=InstrumentState.UNAVAILABLE, why="no answer for 2 s [port 1]")
    live.take("", event(lost, "psu-1"))
    assert live.news().plain == "psu-1: no answer for 2 s [port 1]"


def test_an_instrument_called_as_its_role_is_not_said_to_be_itself(event):
    live = LiveRun()
    roles = {"supply": "supply", "usb": "usb-1"}
    live.take("", event(RunStarted(run="r", sequence="boot-watch", inputs={}, roles=roles, cautions=[])))
    assert live.news().plain == "boot-watch began, usb is usb-1"


def test_a_prompt_is_told_once(live, event):
    live.news()
    prompt = Prompt(id="p", bench="bench-1", run="r", step=2, text="Bridge the pads.", time="2026-11-25T10:15:00Z")
    live.take("", prompt)
    live.take("", event(PromptRaised(run="r", prompt="p", text="Bridge the pads.")))
    assert live.news().plain == "please: Bridge the pads."


def test_a_prompt_that_was_confirmed_is_not_told_again(live, event):
    live.news()
    text = "Bridge the pads."
    step = {"run": "r", "number": 2, "verb": "prompt", "title": text}
    live.take("", event(StepFinished(**step, outcome=Outcome.PASSED)))
    assert live.news().plain == "step 2: confirmed"
    live.take("", event(StepFinished(**step, outcome=Outcome.ABORTED, says="mara said no")))
    assert live.news().plain == "step 2 Aborted: mara said no"


@given(st.lists(st.tuples(st.floats(0, 120), st.floats(0, 3)), min_size=1, max_size=200), st.integers(4, 200))
def test_the_chart_keeps_the_highest_value_of_its_span(samples, width):
    samples.sort(key=lambda sample: sample[0])
    signal = RecentSignal(span_s=30.0)
    signal.take([at_s for at_s, _ in samples], [value for _, value in samples])
    columns = [value for value in signal.columns(width) if value is not None]
    assert max(columns) == signal.highest
    assert signal.highest >= max(value for at_s, value in samples if at_s > samples[-1][0] - 29)
    assert signal.highest <= max(value for at_s, value in samples if at_s > samples[-1][0] - 31)


@given(st.lists(st.one_of(st.none(), st.floats(0, 5)), min_size=1, max_size=60), st.integers(1, 5))
def test_a_higher_value_has_no_lower_bar(columns, rows):
    chart = block_chart(columns, 5.0, rows, BARS)
    assert [len(line) for line in chart] == [len(columns)] * rows
    heights = [sum(BARS.index(line[place]) for line in chart) for place in range(len(columns))]
    known = sorted((value, height) for value, height in zip(columns, heights, strict=True) if value is not None)
    assert [height for _, height in known] == sorted(height for _, height in known)
    assert all(height > 0 for value, height in known if value > 0)
    assert all(height == 0 for value, height in zip(columns, heights, strict=True) if value is None)


def test_a_value_stands_until_the_next_sample_but_not_through_a_gap():
    signal = RecentSignal(span_s=30.0)
    signal.take([0, 0.5, 1.0, 20, 20.5, 21.0], [1.0] * 6)
    columns = signal.columns(60)
    assert columns.count(None) == 60 - 3 * 2 - 2
