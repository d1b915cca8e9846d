"""``wakerail plan explain`` as a person and a program use it."""

import json
import sys

import pytest

from wakerail.cli import main
from wakerail.cli.isolating import Jig, Said, understood
from wakerail_kit.messages import Prompt


@pytest.fixture(name="explain")
def _explain(monkeypatch, capsys):
    def explain(*args, expect=0):
        """Run the whole command line for the demo's family; return what it wrote to stdout and stderr."""
        monkeypatch.setattr(sys, "argv", ["wakerail", "plan", "explain", "--family", "fenmoor-t3", *args])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert (ended.value.code or 0) == expect, err
        return out, err

    return explain


def test_it_ranks_the_causes_and_says_what_is_next_and_why(explain):
    out, _ = explain("--seen", "restart every 3 s", "--seen", "restart without scanner, speaker sure 90 %")
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert lines[0] == "fenmoor-t3: what is at fault, from 2 observations"
    assert lines[1].startswith("the main board 2")
    told = " ".join(lines[lines.index("Next") + 1 :])
    assert "likely" in told
    assert " min, " in told
    assert "To a confirmed cause: about" in told


def test_json_has_the_same_for_programs(explain):
    answer = json.loads(explain("--json")[0])
    assert answer["ranked"][0] == {"cause": "main-board", "share": pytest.approx(0.18, abs=0.01)}
    assert sum(one["share"] for one in answer["ranked"]) == pytest.approx(1.0)
    assert answer["next"]["kind"] == "try"
    assert answer["next"]["to_do"][0] == "back-cover"


def test_it_says_the_end(explain):
    seen = ["restart every 3 s", *["clean without scanner"] * 3, "restart every 3 s"]
    out, _ = explain(*(word for text in seen for word in ("--seen", text)))
    assert "The scanner, 98 % sure: the fault left with it and came back with it." in " ".join(out.split())


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        ("clean without radio-module", "--seen 1: radio-module cannot be done now: first display"),
        ("clean without scaner", "--seen 1: 'scaner' is no action of fenmoor-t3; did you mean 'scanner'?"),
        ("fast-lop", "--seen 1: 'fast-lop' is nothing that can be seen; did you mean 'fast-loop'?"),
        (
            "clean without keypad,port-board",
            "--seen 1: with back-cover, board-shield, keypad, port-board nothing is left",
        ),
        ("restart every 3 V", "--seen 1: 'restart every 3 V': '3 V' is not a time"),
        ("clean sure 130 %", "--seen 1: a certainty of -0.3 cannot be"),
    ],
)
def test_a_mistake_is_one_line(explain, seen, says):
    out, err = explain("--seen", seen, expect=2)
    assert out == ""
    assert says in err
    assert err.count("\n") == 1


def test_a_family_without_a_plan_is_refused(explain):
    assert "'fenmoor-t2' has no plan; did you mean 'fenmoor-t3'?" in explain("--family", "fenmoor-t2", expect=2)[1]


@pytest.mark.parametrize(
    ("typed", "said"),
    [("\n", "done"), ("yes\n", "done"), ("n\n", "n"), ("No\n", "n"), ("undo\n", "undo"), ("w\n", "w"), ("why\n", "w")],
)
def test_what_is_answered_to_a_question(typed, said):
    assert understood(typed).value == said


async def test_a_jig_agrees_and_is_no_person():
    jig = Jig()
    assert await jig.do("Unplug the scanner", None, undo=False) is Said.DONE
    prompt = Prompt(id="p", bench="b", run="r", step=1, text="Bridge the pads.", time="2026-11-26T09:00:00Z")
    assert (jig.prompts(prompt).confirmed, jig.prompts(prompt).person) == (True, False)


def test_either_a_family_or_a_job_is_explained(explain):
    assert "either the --family and what was --seen, or the --job" in explain("--job", "t-1", expect=2)[1]
