"""An isolation as a tree: after each observation the shares, and what they would be had it gone the other way."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from wakerail.planning.course import Course, words
from wakerail.planning.observations import BootWatched, CheckSeen, Observation
from wakerail_kit.errors import ConfigInvalid


@dataclass(frozen=True, slots=True)
class Branch:
    """One observation: what it was, the shares of the causes after it, and those of the way that was not taken.

    ``other_says`` and ``other`` are None for a sign, which has no other way, and where the other way could not be.
    """

    says: str
    shares: Mapping[str, float]
    other_says: str | None = None
    other: Mapping[str, float] | None = None


def branches(course: Course) -> tuple[Branch, ...]:
    """Return the branches of a course in their order. Raises ConfigInvalid as ``Course.belief`` does."""
    found = []
    for number, observation in enumerate(course.observations):
        before = replace(course, observations=course.observations[:number])
        branch = Branch(words(course.plan, observation), before.seen(observation).belief.share)
        other = _other(observation)
        if other is not None:
            with contextlib.suppress(ConfigInvalid):  # it could not have gone that way
                instead = before.seen(other).belief.share
                branch = replace(branch, other_says=words(course.plan, other), other=instead)
        found.append(branch)
    return tuple(found)


def _other(observation: Observation) -> Observation | None:
    """Return the observation that would have been had it gone the other way."""
    if isinstance(observation, BootWatched):
        return replace(observation, shown=1.0 - observation.shown, interval_s=None)
    if isinstance(observation, CheckSeen):
        return replace(observation, failed=1.0 - observation.failed)
    return None
