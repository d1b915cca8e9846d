"""A heat as a technician runs it: from the command line over MQTT, the daemon and a serial line to the plate and back.

The plate heats in real time, so the board's solder melts at a hand's warmth here.
"""

from __future__ import annotations

import json

from wakerail.bus import BusClient
from wakerail.journal import JournalReader
from wakerail_kit.events import CoolingAsked, PresenceConfirmed, PromptAnswered, read_event
from wakerail_kit.messages import Event, RunSequence
from wakerail_kit.outcome import Finding, Outcome

ALLOYS = "alloys: [{alloy: lukewarm, solidus: 30 degC, liquidus: 33 degC, source: made for this test}]\n"
FAMILY = """\
family: lukewarm
nominal: 3.8 V
profiles:
  - profile: separate
    alloy: lukewarm
    ceiling: 50 degC
    stages:
      - {ramp: 36 degC, within: 60 s}
      - {hold: 30 s}
      - {cool: 35.5 degC, source: made for this test}
    limits:
      peak: {max: 50 degC, source: made for this test}
"""
PROMPT = "(Enter when done"
KEYS = "(Enter: you are there; c and Enter: cool now)"


def events_of(bench, data):
    with JournalReader(str(bench.journal)) as reader:
        found = [entry.message for entry in reader.messages() if isinstance(entry.message, Event)]
    return [seen for each in found if (seen := read_event(each, data)) is not None]


async def test_a_stacked_board_is_separated_from_the_command_line(shop):
    (shop.folder / "alloys.yaml").write_text(ALLOYS)
    (shop.folder / "devices").mkdir()
    (shop.folder / "devices" / "lukewarm.yaml").write_text(FAMILY)
    async with shop.bench() as bench:
        async with BusClient(bench.url, "shop") as client:
            answer = await client.ask("run", RunSequence(sequence="separate", family="lukewarm"))
        assert not answer.ok
        assert answer.says == "separate heats, and heat needs a person; name the operator"
        out = shop.folder / "out"
        run = await bench.run("separate", "--family", "lukewarm", "--operator", "ilse", "--out", str(out))
        for count, answer in enumerate(("", "", "note label kept", ""), 1):
            await run.says(PROMPT, times=count)
            assert "heater=off" in await bench.hands("state")
            await run.type(f"{answer}\n")
        await run.says(KEYS)
        await run.type("\n")  # somebody is there
        await run.says("hold at 36 °C for 30 s: Lift the upper board")
        assert "heater=on" in await bench.hands("state")
        await run.type("c\n")  # the boards are apart
        await run.says("cool to 35.5 °C")
        assert "heater=off" in await bench.hands("state")
        await run.says(PROMPT, times=5)
        await run.type("\n")
        code = await run.ends()
        verdict = shop.verdict(run)
        assert (code, verdict.outcome, verdict.finding) == (0, Outcome.PASSED, Finding.PROFILE_KEPT), verdict.reason
        assert "cooled early by ilse, during the hold" in verdict.reason
        assert verdict.inputs["family"] == "lukewarm"
        assert any(each.says == "Noted: label kept" for each in verdict.evidence)
        assert bench.kept_verdicts() == [verdict]
        assert [each.operator for each in events_of(bench, CoolingAsked)] == ["ilse"]
        answered = len(events_of(bench, PromptAnswered))
        assert len(events_of(bench, PresenceConfirmed)) == answered + 1  # each prompt, and the Enter while it heated
        assert json.loads((out / "verdict.json").read_text())["id"] == verdict.id
        assert (out / "heat.png").read_bytes().startswith(b"\x89PNG")
        assert not (out / "trace.png").exists()  # the supply on this bench was not used
