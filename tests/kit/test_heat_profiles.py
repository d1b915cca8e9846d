"""Alloys and heat profiles as data: what is shipped is sound, and each mistake is one line with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail_kit.alloys import load_alloys
from wakerail_kit.errors import ConfigInvalid
from wakerail_kit.families import load_families, load_family
from wakerail_kit.heat_profiles import FIGURES, HIGHEST_TOUCH_C, StageKind

CONFIG = Path(__file__).parents[2] / "config"
ALLOYS = load_alloys(CONFIG / "alloys.yaml")

FAMILY = """\
family: f
nominal: 3.8 V
profiles:
  - profile: part
    alloy: SAC305
    ceiling: 245 degC
    stages:
      - {ramp: 230 degC, within: 6 min}
      - {hold: 2 min}
      - {cool: 48 degC, source: s}
    limits: {peak: {max: 245 degC, source: s}}
"""


def problems(tmp_path: Path, *changes: tuple[str, str]) -> list[str]:
    text = FAMILY
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (tmp_path / "f.yaml").write_text(text)
    with pytest.raises(ConfigInvalid) as refused:
        load_family(tmp_path / "f.yaml", ALLOYS)
    return [problem.split("f.yaml:")[1] for problem in refused.value.problems]


def test_the_shipped_profiles_are_sound_and_every_limit_has_its_source():
    families = load_families(CONFIG / "devices", ALLOYS)
    profiles = [profile for family in families for profile in family.profiles.values()]
    assert {"separate", "rejoin"} <= {profile.name for profile in profiles}
    for profile in profiles:
        assert profile.refusal(profile.hold.temperature_c) == ""
        assert profile.limits.keys() | {"soak"} == FIGURES.keys()
        assert profile.touch_source
        assert all(limit.source for limit in profile.limits.values())
        assert profile.touch_c <= HIGHEST_TOUCH_C
        assert profile.stages[-1].kind is StageKind.COOL


def test_a_profile_is_read_as_it_is_written(tmp_path):
    soaked = FAMILY.replace(
        "      - {ramp", "      - {ramp: 170 degC, within: 4 min}\n      - {soak: 60 s}\n      - {ramp"
    )
    (tmp_path / "f.yaml").write_text(soaked)
    profile = load_family(tmp_path / "f.yaml", ALLOYS).profiles["part"]
    assert [(stage.kind.value, stage.temperature_c, stage.time_s) for stage in profile.stages] == [
        ("ramp", 170.0, 240.0),
        ("soak", 170.0, 60.0),
        ("ramp", 230.0, 360.0),
        ("hold", 230.0, 120.0),
        ("cool", 48.0, None),
    ]
    assert profile.hold.temperature_c == 230.0
    assert profile.board is None


@pytest.mark.parametrize(
    ("temperature_c", "why"),
    [
        (219.9, "219.9 °C cannot melt SAC305: its liquidus is 220 °C"),
        (220.0, ""),
        (245.0, ""),
        (245.1, "245.1 °C is above the ceiling of profile 'part', 245 °C"),
    ],
)
def test_a_set_point_that_cannot_melt_or_is_above_the_ceiling_is_refused(tmp_path, temperature_c, why):
    (tmp_path / "f.yaml").write_text(FAMILY)
    assert load_family(tmp_path / "f.yaml", ALLOYS).profiles["part"].refusal(temperature_c) == why


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("SAC305", "SAC30", "5: profiles[0].alloy: 'SAC30' is not in alloys.yaml; did you mean 'SAC305'?"),
        (
            "ramp: 230",
            "ramp: 210",
            "9: profiles[0].stages[1].hold: 210 °C cannot melt SAC305: its liquidus is 220 °C; ramp higher before it",
        ),
        (
            "ramp: 230",
            "ramp: 250",
            "8: profiles[0].stages[0].ramp: 250 °C is above the ceiling of profile 'part', 245 °C",
        ),
        ("2 min", "2", "9: profiles[0].stages[1].hold: '2' has no unit; write it like '60 s'"),
        ("2 min", "2 h", "9: profiles[0].stages[1].hold: 7200 s is too high; at most 1800 s"),
        ("48 degC", "80 degC", "10: profiles[0].stages[2].cool: 80 °C is too high; at most 60 °C"),
        (
            "      - {cool: 48 degC, source: s}\n",
            "",
            "7: profiles[0].stages: must end with one hold and one cool, like '{hold: 2 min}' and '{cool: 48 degC}'",
        ),
        (
            "      - {hold",
            "      - {ramp: 225 degC, within: 60 s}\n      - {hold",
            "9: profiles[0].stages[1].ramp: goes down from 230 °C; a ramp heats, only the last stage cools",
        ),
        (
            "{hold: 2 min}",
            "{held: 2 min}",
            "9: profiles[0].stages[1]: is no stage; it has one of ramp, soak, hold, cool, like '{hold: 2 min}'",
        ),
        (", within: 6 min", "", "8: profiles[0].stages[0].within: is missing; write it like '60 s'"),
        ("max: 245 degC, ", "", "11: profiles[0].limits.peak: limits nothing; give min, max or both"),
        ("245 degC, source: s", "245 degC, source: ''", "11: profiles[0].limits.peak.source: is empty"),
        ("245 degC, source: s", "245 degC", "11: profiles[0].limits.peak.source: is missing"),
        (
            "{peak:",
            "{soak: {from: 200 degC, to: 150 degC, max: 1 min, source: s}, peak:",
            "11: profiles[0].limits.soak.to: is not above 'from', 200 °C",
        ),
        (
            "    stages:",
            (
                "    board: {capacity: {min: 9 J/K, max: 16 J/K}, contact: {min: 6 W/K, max: 1 W/K}, "
                "loss: {min: 1 W/K, max: 2 W/K}, source: s}\n    stages:"
            ),
            "7: profiles[0].board.contact.min: 6 W/K is above max, 1 W/K",
        ),
        ("peak:", "peek:", "11: profiles[0].limits.peek: unknown key; did you mean 'peak'?"),
    ],
)
def test_a_mistake_is_one_line_with_its_place(tmp_path, old, new, says):
    found = problems(tmp_path, (old, new))
    assert found[0].startswith(says)
    assert len(found) == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "{alloy: X, solidus: 220 degC, liquidus: 210 degC, source: s}",
            "1: alloys[0].liquidus: is below the solidus, 220 °C; perhaps the two are exchanged",
        ),
        ("{alloy: X, solidus: 217 degC, source: s}", "1: alloys[0].liquidus: is missing; write it like '230 degC'"),
        ("{alloy: X, solidus: 1 degC, liquidus: 2 degC}", "1: alloys[0].source: is missing"),
    ],
)
def test_a_mistake_in_the_alloys_is_one_line(tmp_path, text, says):
    (tmp_path / "alloys.yaml").write_text(f"alloys: [{text}]\n")
    with pytest.raises(ConfigInvalid, match=r"alloys\.yaml") as refused:
        load_alloys(tmp_path / "alloys.yaml")
    assert [problem.split("alloys.yaml:")[1] for problem in refused.value.problems] == [says]
