"""The plan section of a family's file: every mistake is one line with its place."""

import pytest

from wakerail.family_plans import load_family_plan, load_family_plans
from wakerail_kit.errors import ConfigInvalid

SOUND = """\
family: toy
plan:
  watch: {time: 1 min, miss: 2 %, false: 1 %}
  causes:
    - {cause: board, sort: board, weight: 2}
    - {cause: eye, sort: part, weight: 1}
    - {cause: ear, sort: part, weight: 1}
  actions:
    - {action: lid, time: 1 min, back: 1 min}
    - {action: eye, disconnects: eye, time: 1 min, back: 1 min, after: lid}
    - {action: ear, disconnects: ear, time: 1 min, back: 1 min, after: [lid, eye]}
  boot-by:
    - {way: the key}
"""


def load(tmp_path, text):
    file = tmp_path / "toy.yaml"
    file.write_text(text)
    return load_family_plan(file)


def test_a_sound_one_is_read(tmp_path):
    plan = load(tmp_path, SOUND)
    assert plan.needs["ear"] == {"lid", "eye", "ear"}
    assert plan.watching.miss == 0.02
    assert plan.removable == {"eye", "ear"}
    assert load_family_plans(tmp_path) == {"toy": plan}


def test_a_family_without_a_plan_has_none(tmp_path):
    assert load(tmp_path, "family: toy\n") is None


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("  boot-by:\n    - {way: the key}\n", "", "3: plan.boot-by: is missing: without a way to prompt the boot"),
        ("{way: the key}", "{way: the key, through: nose}", "13: plan.boot-by[0].through: 'nose' is no cause here"),
        ("{way: the key}", "{way: the key, through: eye}", "10: plan.actions[1].action: eye leaves no way to prompt"),
        ("{action: lid,", "{action: lid, after: ear,", "8: plan.actions: their order goes in a circle: lid after ear"),
        ("after: lid}", "after: lit}", "10: plan.actions[1].after: 'lit' is no action here; did you mean 'lid'?"),
        (", after: lid}", "}", None),
        (
            "    - {action: lid, time",
            "    - {action: base, time: 1 s, back: 1 s}\n    - {action: lid, time",
            "9: plan.actions[0].action: base disconnects nothing and no action comes after it",
        ),
        ("disconnects: eye,", "disconnects: board,", "plan.actions[1].disconnects: board is of the sort 'board'"),
        ("disconnects: ear,", "disconnects: eye,", "7: plan.causes[2].cause: ear is a part, and no action disconnects"),
        ("sort: board,", "sort: rail,", "4: plan.causes: none is of the sort 'board'"),
        ("sort: board,", "sort: bord,", "5: plan.causes[0].sort: 'bord' is not known; did you mean 'board'?"),
        ("cause: ear, sort: part, weight: 1", "cause: eye, sort: part, weight: 1", "'eye' is there twice"),
        ("cause: ear, sort: part, weight: 1", "cause: ear, sort: part, weight: 0", "7: plan.causes[2].weight: 0 says"),
        ("miss: 2 %", "miss: 60 %", "3: plan.watch.miss: 0.6 is too high; at most 0.5"),
        ("  boot-by:", "  bootby: 1\n  boot-by:", "plan.bootby: unknown key"),
        (
            "  boot-by:",
            "  missing:\n    - {without: eye, says: x, restarts: {from: 9 s, to: 8 s}}\n  boot-by:",
            "plan.missing[0].restarts.to: is not above 'from'",
        ),
        (
            "  boot-by:",
            "  checks:\n    - {check: port-check, time: 1 s, fails: {eey: 9 %}, otherwise: 1 %}\n  boot-by:",
            "plan.checks[0].fails.eey: is no cause here; did you mean 'eye'?",
        ),
    ],
)
def test_each_mistake_is_a_line(tmp_path, old, new, says):
    assert old in SOUND
    if says is None:
        assert load(tmp_path, SOUND.replace(old, new)) is not None
        return
    with pytest.raises(ConfigInvalid) as refused:
        load(tmp_path, SOUND.replace(old, new))
    assert any(says in problem for problem in refused.value.problems), refused.value.problems
