"""Recorded current traces go through the simulated supply, over its socket, to a verdict and its picture."""

from __future__ import annotations

import asyncio

import pytest


def write_trace(file, stages, spacing_s):
    """Write a trace of ``(current_a, duration_s)`` stages."""
    lines, at_s = ["t_s,current_a"], 0.0
    for level_a, duration_s in stages:
        for sample in range(round(duration_s / spacing_s)):
            lines.append(f"{at_s:.4f},{level_a * (1.02 if sample % 7 == 3 else 1.0):.5f}")
            at_s += spacing_s
    file.write_text("\n".join(lines) + "\n")


BOOT = [(0.09, 0.3), (0.26, 0.6), (0.65, 0.6)]
OFF = (0.0003, 0.4)


async def test_made_up_recordings(shop):
    restarting, clean = shop.branch("r"), shop.branch("c")
    write_trace(restarting.folder / "trace.csv", [OFF, *BOOT, OFF, *BOOT, OFF, *BOOT, (0.3, 0.5)], 0.01)
    write_trace(clean.folder / "trace.csv", [OFF, *BOOT, (0.19, 4.0)], 0.01)
    (restarts_code, restarts), (clean_code, runs) = await asyncio.gather(
        restarting.command("replay", "trace.csv", "--json", "--out", "out"),
        clean.command("replay", "trace.csv", "--json"),
    )
    verdict = shop.verdict(restarts)
    assert (restarts_code, verdict.outcome, verdict.finding) == (1, "Failed", "restarting")
    seen = [evidence for evidence in verdict.evidence if evidence.type == "wakerail.restart-seen.v1"]
    assert len(seen) == 2
    out = restarting.folder / "out"
    assert (out / "verdict.json").stat().st_size > 0
    assert (out / "trace.svg").read_text().startswith("<?xml")
    assert (out / "trace.png").read_bytes().startswith(b"\x89PNG")

    verdict = shop.verdict(runs)
    assert clean_code == 3  # up for too short a time to call it running, and no restart
    assert (verdict.outcome, verdict.finding) == ("Inconclusive", "too-little-data")


@pytest.mark.parametrize(
    ("recording", "code", "finding", "restarts"),
    [
        # the truth of each is in the README beside the recordings
        ("mcu_reset_once_a", 1, "restarting", 1),
        ("mcu_radio_duty_cycle_no_restart", 3, "too-little-data", 0),
        ("sdr_cold_boot_quarter_second", 3, "too-little-data", 0),
    ],
)
async def test_real_recordings(shop, reference, recording, code, finding, restarts):
    ended, replay = await shop.command("replay", str(reference / "data" / "current" / f"{recording}.csv"), "--json")
    verdict = shop.verdict(replay)
    assert (ended, verdict.finding) == (code, finding), verdict.reason
    assert len([one for one in verdict.evidence if one.type == "wakerail.restart-seen.v1"]) == restarts
