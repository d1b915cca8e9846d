"""Families to plan for: small ones, and random ones for what must hold for all."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import strategies as st

from wakerail.family_plans import load_family_plan
from wakerail.planning.model import Action, BootWay, Cause, CauseSort, FamilyPlan, Watching


@pytest.fixture(scope="session")
def demo(project: Path) -> FamilyPlan:
    """The demo's family, as it is shipped."""
    plan = load_family_plan(project / "config" / "devices" / "fenmoor-t3.yaml")
    assert plan is not None
    return plan


def simple(*weights: float, board: float = 1.0, error: float = 0.0, **more: object) -> FamilyPlan:
    """Return a family of parts a, b, c, ... with these weights and a board; each is unplugged in a minute."""
    names = "abcdefghijklmnopqrstuvwxyz"[: len(weights)]
    return FamilyPlan(
        family="made-up",
        causes=(
            *(Cause(name, CauseSort.PART, weight) for name, weight in zip(names, weights, strict=True)),
            Cause("board", CauseSort.BOARD, board),
        ),
        actions=tuple(Action(name, frozenset({name}), 60.0, 30.0) for name in names),
        ways=(BootWay("the pads"),),
        watching=Watching(60.0, error, error),
        **more,  # type: ignore[arg-type]
    )


@pytest.fixture(name="families", scope="session")
def _families() -> Callable[..., st.SearchStrategy[FamilyPlan]]:
    return families


@pytest.fixture(name="simple", scope="session")
def _simple() -> Callable[..., FamilyPlan]:
    return simple


@st.composite
def families(draw: st.DrawFn, most: int = 5, errors: bool = True) -> FamilyPlan:
    """Return a family with covers, cables over cables, a part that prompts the boot, and pairs."""
    count = draw(st.integers(1, most))
    names = [f"part-{number}" for number in range(count)]
    times = st.sampled_from([20.0, 60.0, 150.0, 400.0])
    actions = [Action("cover", frozenset(), draw(times), draw(times))]
    for number, name in enumerate(names):
        after = draw(st.sets(st.sampled_from(["cover", *names[:number]]), max_size=2))
        actions.append(
            Action(
                name, frozenset({name}), draw(times), draw(times), draw(st.sampled_from([0.0, 0.02])), frozenset(after)
            )
        )
    weights = st.sampled_from([0.3, 1.0, 2.5, 7.0])
    error = st.sampled_from([0.01, 0.05, 0.2]) if errors else st.just(0.0)
    ways = [BootWay("key", frozenset({draw(st.sampled_from(names))}))]
    if draw(st.booleans()):
        ways.append(BootWay("charger", frozenset({draw(st.sampled_from(names))})))
    return FamilyPlan(
        family="drawn",
        causes=(
            *(Cause(name, CauseSort.PART, draw(weights)) for name in names),
            Cause("board", CauseSort.BOARD, draw(weights)),
            Cause("rail", CauseSort.RAIL, draw(weights)),
        ),
        actions=tuple(actions),
        ways=tuple(ways),
        watching=Watching(60.0, draw(error), draw(error)),
        pairs=draw(st.sampled_from([0.0, 0.05, 0.2])),
    )
