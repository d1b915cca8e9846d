"""The melting ranges in config/alloys.yaml against published tables.

Tables give solidus and liquidus for information only; two of them may differ by 2 K.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from wakerail_kit.alloys import load_alloys

ALLOYS = load_alloys(Path(__file__).parents[2] / "config" / "alloys.yaml")
APART_K = 2.0

#: Liquidus temperatures as other tables print them than the one that is shipped (from memory where not said).
ELSEWHERE_C = {
    "SAC305": 219.0,
    "SAC387": 218.0,
    "Sn60Pb40": 190.0,
    "Sn63Pb37": 183.0,  # the liquidus reference of IPC/JEDEC J-STD-020D for Sn-Pb
    "Sn42Bi58": 139.0,
    "Sn42Bi57Ag1": 139.0,
    "Sn96.5Ag3.5": 221.0,
}


@pytest.mark.parametrize(("alloy", "liquidus_c"), ELSEWHERE_C.items())
def test_another_table_says_nearly_the_same(alloy, liquidus_c):
    assert ALLOYS[alloy].liquidus_c == pytest.approx(liquidus_c, abs=APART_K)


def test_the_order_by_liquidus_is_the_trades():
    """It follows from any of the tables."""
    order = ["In52Sn48", "Sn42Bi58", "Sn42Bi57Ag1", "Sn63Pb37", "SAC305", "Sn99.3Cu0.7"]
    for lower, higher in itertools.pairwise(order):
        assert ALLOYS[lower].liquidus_c < ALLOYS[higher].liquidus_c


def test_eutectic_alloys_melt_at_one_temperature_and_no_other_does():
    """Eutectic in alasir.com/reference/solder_alloys and indium.com/blog/solder-paste-alloys; Sn62Pb36Ag2 has one
    value there, too.
    """
    eutectic = {"Sn63Pb37", "Sn62Pb36Ag2", "Sn96.5Ag3.5", "Sn99.3Cu0.7", "Sn42Bi58", "In52Sn48"}
    assert {name for name, alloy in ALLOYS.items() if alloy.solidus_c == alloy.liquidus_c} == eutectic


def test_lead_free_is_taken_for_liquid_where_the_standard_does():
    """J-STD-020D counts the time above 217 degC for lead-free, the solidus of SAC305; its liquidus is 3 K higher."""
    assert ALLOYS["SAC305"].solidus_c == 217.0
