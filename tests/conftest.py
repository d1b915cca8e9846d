"""What all tests share: services that may be absent, and the folder of reference material."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import hypothesis
import pytest
import structlog

# How long an example takes says nothing of what is right; it depends on what else the machine does. Where services are
# required, as in CI, the examples are the same in each run, so that a change is judged by what it changes; everywhere
# else each run looks for new ones.
hypothesis.settings.register_profile(
    "untimed",
    deadline=None,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
    derandomize=os.environ.get("WAKERAIL_REQUIRE_SERVICES") == "1",
)
hypothesis.settings.load_profile("untimed")

PROGRAM_OF_SERVICE = {"mosquitto": "mosquitto", "umockdev": "umockdev-run", "chromium": "chromium"}


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose service is absent, saying why; in CI its absence is a failure."""
    for marker in item.iter_markers("needs"):
        (service,) = marker.args
        if shutil.which(PROGRAM_OF_SERVICE[service], path=os.environ["PATH"] + ":/usr/sbin") is None:
            do_without(f"{service} is not installed on this machine")


def do_without(why: str) -> NoReturn:
    """Skip a test for want of a service; fail it where the services are required, as in CI."""
    if os.environ.get("WAKERAIL_REQUIRE_SERVICES") == "1":
        pytest.fail(f"{why}, and here it is required")
    pytest.skip(why)


@pytest.fixture(scope="session", name="do_without")
def _do_without() -> Callable[[str], NoReturn]:
    """What a fixture calls that finds its service absent."""
    return do_without


@pytest.fixture(autouse=True)
def _logging_as_it_was() -> Iterator[None]:
    """Undo what a program run inside a test has set: its logging would go to that test's closed output."""
    yield
    structlog.reset_defaults()


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's own folder."""
    return Path(__file__).parents[1]


@pytest.fixture(scope="session")
def reference(project: Path) -> Path:
    """The reference material beside the project; tests that use it skip where it is absent."""
    folder = project.parent / "shared"
    if not (folder / "check-values.md").exists():
        pytest.skip("the reference material ../shared is not here")
    return folder
