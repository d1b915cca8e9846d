"""The limits of the shipped heat profiles against the standards that they name.

Lead-free column of IPC/JEDEC J-STD-020D, Table 5-2, as quoted in makers' data sheets; its profile is for classifying
parts, and a board's must stay inside it. Touch limits: IEC 62368-1, Table 38, TS1, and ISO 13732-1 (both from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from wakerail_kit.alloys import load_alloys
from wakerail_kit.families import load_families

CONFIG = Path(__file__).parents[2] / "config"
PROFILES = [
    profile
    for family in load_families(CONFIG / "devices", load_alloys(CONFIG / "alloys.yaml"))
    for profile in family.profiles.values()
]
#: Highest values: ramp-up and ramp-down in K/s, 25 degC to peak in s, lowest classification temperature in degC.
J_STD_020D = {"ramp-up": 3.0, "ramp-down": 6.0, "to-peak": 480.0, "peak": 245.0}


@pytest.mark.parametrize("profile", PROFILES, ids=lambda profile: profile.name)
def test_what_names_the_standard_is_no_wider_than_the_standard(profile):
    for figure, highest in J_STD_020D.items():
        limit = profile.limits[figure]
        assert "J-STD-020D" in limit.source
        assert limit.high is not None
        assert limit.high <= highest
    others = {limit.source for figure, limit in profile.limits.items() if figure not in J_STD_020D}
    assert all(source.startswith("common practice, no source") for source in others)


@pytest.mark.parametrize("profile", PROFILES, ids=lambda profile: profile.name)
def test_a_board_may_be_handled_for_minutes_when_the_page_says_so(profile):
    """TS1, any material held longer than a minute, and ISO 13732-1, ten minutes: 48 degC."""
    assert profile.touch_c <= 48.0


@pytest.mark.parametrize("profile", PROFILES, ids=lambda profile: profile.name)
def test_the_plate_is_set_above_the_liquidus_as_paste_makers_advise_and_below_what_parts_stand(profile):
    """IPC-7530A and paste makers' practice: a peak 15 to 30 K above liquidus (from memory); here the plate, not the
    board, so 10 K and more; a lead-free plate for separating at 230 degC is common practice, no source."""
    over_k = profile.hold.temperature_c - profile.alloy.liquidus_c
    assert 10.0 <= over_k <= 30.0
    assert profile.hold.temperature_c < J_STD_020D["peak"]
