"""The supply's driver keeps every promise of its kind, over a real socket."""

from __future__ import annotations

import pytest

from wakerail_kit.conformance import CHECKS


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_contract(check, rig):
    check(rig)
