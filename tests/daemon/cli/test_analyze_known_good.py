"""``wakerail analyze`` beside the known-good boots of the journal."""

from __future__ import annotations

import json
import sys

import pytest

from wakerail.cli import main
from wakerail.journal import JournalReader, export


@pytest.fixture(name="run")
def _run(monkeypatch, capsys, watches):
    def run(*args, expect=0):
        """Run the whole command line on the journal; return what it wrote to stdout and stderr."""
        monkeypatch.setattr(sys, "argv", ["wakerail", "analyze", *map(str, args), "--journal", str(watches.path)])
        monkeypatch.setenv("COLUMNS", "200")
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert (ended.value.code or 0) == expect, err
        return out, err

    return run


async def test_a_run_is_compared_with_the_passed_runs_of_its_family_by_itself(watches, run):
    for _ in range(3):
        await watches.add()
    odd = await watches.add(later_a=0.14)
    told = json.loads(run(odd, "--json")[0])["known_good"]
    assert (told["references"], told["like"]) == (3, False)
    assert told["until_s"] == pytest.approx(10.0, abs=0.6)
    assert told["difference_a"] == pytest.approx(0.14, rel=0.1)
    out, _ = run(odd)
    assert f"{told['says'].removesuffix('.')} (known from 3 boots)." in out


async def test_a_run_like_the_others_is_said_to_be(watches, run):
    for _ in range(4):
        await watches.add()
    assert json.loads(run("last", "--json")[0])["known_good"]["like"] is True


async def test_too_few_references_are_said(watches, run):
    for _ in range(2):
        await watches.add()
    told = json.loads(run("last", "--json")[0])["known_good"]
    assert told == {
        "references": 1,
        "like": None,
        "until_s": None,
        "difference_a": None,
        "says": "Only 1 known-good boot; at least 3 are needed to compare.",
    }
    assert told["says"] in run("last")[0]


async def test_the_first_of_its_family_is_said_to_be(watches, run):
    first = await watches.add()
    told = json.loads(run(first, "--json")[0])["known_good"]
    assert (told["references"], told["like"]) == (0, None)
    assert "No known-good boot yet; at least 3 are needed to compare." in run(first)[0]


async def test_a_device_of_no_known_family_is_compared_with_nothing(watches, run):
    stranger = await watches.add(family="")
    assert json.loads(run(stranger, "--json")[0])["known_good"] is None
    assert "known-good" not in run(stranger)[0]


async def test_a_run_is_read_with_how_its_job_restarted_before(watches, run):
    """The run lasts 28 s from its onset: two of three loops of 9 s, none of 40 s. What came later is not before."""
    await watches.add(job="T-114", restarts_s=(9.0, 18.0, 27.0))
    clean = await watches.add(job="T-114")
    await watches.add(job="T-114", restarts_s=(40.0, 80.0, 120.0))
    later, other = await watches.add(job="T-114"), await watches.add(job="T-115")
    told = json.loads(run(clean, "--json")[0])
    assert told["finding"] == "running"
    assert "Before, it restarted about every 9 s; now 3 such intervals went by without a restart" in told["says"]
    assert "One clean boot" not in told["says"]
    told = json.loads(run(later, "--json")[0])
    assert (told["finding"], told["outcome"]) == ("too-little-data", "Inconclusive")
    assert "about every 40 s; a window of 27.9 s is shorter than that and says nothing." in told["says"]
    assert "One clean boot shows only" in json.loads(run(other, "--json")[0])["says"]


async def test_a_file_is_compared_with_runs_named_by_hand(watches, run, tmp_path):
    for _ in range(3):
        await watches.add(family="")
    odd = await watches.add(later_a=0.14)
    file = tmp_path / "odd.csv"
    with JournalReader(watches.path) as reader:
        export(reader, file, run=odd, frames=True)
    assert json.loads(run(file, "--json")[0])["known_good"] is None
    likes = [word for name in [*watches.runs[:3], watches.runs[0]] for word in ("--like", name)]
    told = json.loads(run(file, *likes, "--json")[0])["known_good"]
    assert (told["references"], told["like"]) == (3, False)
    assert told["difference_a"] == pytest.approx(0.14, rel=0.1)


async def test_a_trace_of_power_is_not_compared_with_currents(watches, run, tmp_path):
    good = await watches.add()
    file = tmp_path / "power.csv"
    rows = "".join(f"{at / 20:.2f},{0.3 + 0.01 * (at % 3):.3f}\n" for at in range(400))
    file.write_text(f"time (s),power (W)\n{rows}", encoding="utf-8")
    out, err = run(file, "--like", good, expect=2)
    assert out == ""
    assert err.splitlines()[-1].endswith("power.csv holds power, and the runs of the journal hold currents")


async def test_a_wrong_reference_is_one_line_and_exit_code_2(watches, run):
    good, silent = await watches.add(), await watches.add(onset=False)
    for like, says in (
        ("gone", "no run 'gone'"),
        (good, "is the run that is to be compared; name others"),
        (silent, "saw no boot begin; name a boot-watch that passed"),
    ):
        out, err = run(good, "--like", like, expect=2)
        assert out == ""
        assert says in err.splitlines()[-1]
