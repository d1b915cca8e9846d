"""Every message has words for a person."""

from __future__ import annotations

import pytest

from wakerail.journal import Tone, describe
from wakerail.journal.lines import line_of
from wakerail_kit import events, job_events
from wakerail_kit.events import EVENT_TYPES, make_event
from wakerail_kit.messages import Event, Identity
from wakerail_kit.outcome import Finding, Outcome


def test_every_type_of_event_has_words_of_its_own():
    fallback = line_of.dispatch(object)
    assert [data.__name__ for data in EVENT_TYPES.values() if line_of.dispatch(data) is fallback] == []


@pytest.mark.parametrize(
    ("data", "who", "says", "tone"),
    [
        (
            events.InstrumentConnected(
                instrument="supply", identity=Identity(text="x", maker="Larkfield", model="PS-3", serial="7")
            ),
            "supply",
            "connected: Larkfield PS-3; serial 7",
            Tone.GOOD,
        ),
        (
            events.InstrumentConnected(instrument="supply", identity=Identity(text="PLATE V2")),
            "supply",
            "connected: PLATE V2",
            Tone.GOOD,
        ),
        (
            events.SettingApplied(instrument="supply", setting="output", value=1.0, unit="1"),
            "supply",
            "output on",
            Tone.PLAIN,
        ),
        (
            events.SettingApplied(instrument="supply", setting="limit", value=0.5, unit="A"),
            "supply",
            "limit 500 mA",
            Tone.QUIET,
        ),
        (
            events.MadeSafe(instrument="plate", reached=False, why="no answer"),
            "plate",
            "could not be made safe, treat it as energised: no answer",
            Tone.BAD,
        ),
        (
            events.RestartSeen(run="r", at_s=1, again_s=2, number=2, evidence=[], says="it fell"),
            "device",
            "restart 2: it fell",
            Tone.BAD,
        ),
        (
            events.RestartRevised(run="r", number=2, at_s=1, probability=0.2, counts=False, says="it was a sleep"),
            "device",
            "restart 2 anew: it was a sleep, which counts no more",
            Tone.CAUTION,
        ),
        (events.StagesRead(run="r", count=3, stages=[]), "device", "went through 3 stages", Tone.QUIET),
        (
            events.StepFinished(
                run="r",
                number=2,
                verb="measure",
                title="Mean",
                outcome=Outcome.FAILED,
                finding=Finding.STANDING_DRAW,
                says="9 mA, at most 5 mA",
            ),
            "step 2",
            "Failed, standing-draw: 9 mA, at most 5 mA",
            Tone.BAD,
        ),
        (
            events.PortTested(
                instrument="port",
                passed=False,
                raw="",
                lines=[
                    events.LineResult(line="cc1", passed=True),
                    events.LineResult(line="cc2", passed=False, says="open"),
                ],
            ),
            "port",
            "port tested: cc2 open",
            Tone.BAD,
        ),
        (
            job_events.JobOpened(
                job="t-114", family="fenmoor-t3", intake=job_events.Intake(symptom="restarts"), operator="mara"
            ),
            "job t-114",
            "opened: fenmoor-t3, restarts; by mara",
            Tone.PLAIN,
        ),
        (
            job_events.JobNoted(job="t-114", stage=job_events.JobStage.BOARD, text="", spent_s=5400.0),
            "job t-114",
            "took 1 h 30 min",
            Tone.PLAIN,
        ),
        (
            job_events.JobClosed(
                job="t-114", resolution=job_events.Resolution.REPAIRED, causes=["scanner"], says="replaced"
            ),
            "job t-114",
            "closed: repaired; at fault: scanner; replaced",
            Tone.GOOD,
        ),
        (
            job_events.JobFileKept(
                job="t-114", stage=job_events.JobStage.BOARD, sha256="", name="", media_type="", size_bytes=0
            ),
            "job t-114",
            "file kept: (forgotten)",
            Tone.QUIET,
        ),
        (job_events.IsolationUndone(job="t-114", number=3), "job t-114", "observation 3 counts no more", Tone.CAUTION),
    ],
)
def test_events_in_words(clock, data, who, says, tone):
    assert describe(make_event(data, clock=clock, bench="bench-1", owner="supply")) == (who, says, tone)


def test_cautions_are_joined_without_a_stop_before_the_semicolon(clock):
    cautions = ["Battery out.", "Fumes: extract them."]
    data = events.RunStarted(run="r", sequence="rail-check", inputs={}, roles={}, cautions=cautions)
    line = describe(make_event(data, clock=clock, bench="bench-1", owner="sequence"))
    assert line.says == "rail-check started; Battery out; Fumes: extract them."


def test_prompts_and_verdicts_in_words(samples):
    assert describe(samples.prompt()) == ("step 3", "Bridge the pads.", Tone.ASKING)
    says = "boot-watch: Failed, restarting: it restarts every 9.5 s"
    assert describe(samples.verdict()) == ("verdict", says, Tone.BAD)


@pytest.mark.parametrize("kind", ["wakerail.sang-a-song.v1", "wakerail.restart-seen.v1", "org.example.other"])
def test_an_event_of_another_version_is_shown_as_it_is(kind):
    event = Event(id="1", source="/wakerail/bench-1/supply", type=kind, time="2026-11-25T09:00:00Z", data={"key": "C"})
    line = describe(event)
    assert line.who == "supply"
    assert '{"key":"C"}' in line.says


def test_what_an_instrument_sends_cannot_upset_a_terminal(clock):
    data = events.InstrumentLost(instrument="supply", state="unavailable", why="said \x1b[2J\x07 and\nmore")
    says = describe(make_event(data, clock=clock, bench="bench-1", owner="supply")).says
    assert says.isprintable()
    assert says.endswith("and more")
