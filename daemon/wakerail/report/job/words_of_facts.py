"""What the facts of a report are called where they are printed: outcomes, measurements, identities, likelihoods."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from wakerail.planning.telling import percent
from wakerail.report.job.blocks import Cell, Shares, Tone, Toned
from wakerail.report.signs import UNICODE
from wakerail.report.words import difference, limits
from wakerail_kit.job_report import InstrumentReported, IsolationReported, RunReported
from wakerail_kit.messages import Measurement
from wakerail_kit.outcome import Outcome
from wakerail_kit.units import human

_TONES = {Outcome.PASSED: Tone.GOOD, Outcome.FAILED: Tone.BAD}
_MOST_SHARES = 4
#: Causes less likely than this are not told one by one.
_FAINT = 0.005


def came_to(run: RunReported) -> str:
    """Return what a run came to."""
    if run.verdict is None:
        return "cut off" if run.cut_off else "under way"
    return f"{run.verdict.outcome}, {run.verdict.finding}"


def outcome_words(outcome: Outcome, more: str = "") -> Toned:
    """Return an outcome as sign and word."""
    return Toned(f"{UNICODE.of(outcome)} {outcome}{more}", _TONES.get(outcome, Tone.OPEN))


def measurement_cells(one: Measurement, numbers: Mapping[str, int]) -> tuple[Cell, ...]:
    """Return a measurement as a row; ``numbers`` are those of the sources of limits."""
    value = "no value" if one.value is None else human(one.value, one.unit)
    if one.value is not None and one.uncertainty:
        value += f" ± {human(*difference(one.uncertainty, one.unit))}"
    source = f" [{numbers[one.source]}]" if one.source else ""
    return one.name, value, limits(one) + source, outcome_words(one.outcome)


def identity_cell(one: InstrumentReported) -> Cell:
    """Return who an instrument says it is."""
    identity = one.identity
    if identity is None:
        return Toned("did not say", Tone.QUIET)
    serial = f"serial {identity.serial}" if identity.serial else ""
    firmware = f"firmware {identity.firmware}" if identity.firmware else ""
    return ", ".join(filter(None, (f"{identity.maker} {identity.model}".strip() or identity.text, serial, firmware)))


def shares_of(isolation: IsolationReported, title: str, shares: Mapping[str, float]) -> Shares | None:
    """Return the likeliest causes by their titles, and the others together; None where nothing is known."""
    if not shares:
        return None
    ranked = sorted(shares.items(), key=lambda pair: (-pair[1], pair[0]))
    told = [(isolation.titles.get(cause, cause), share) for cause, share in ranked[:_MOST_SHARES] if share >= _FAINT]
    rest = sum(shares.values()) - sum(share for _, share in told)
    if rest >= _FAINT:
        told.append(("all others", rest))
    return Shares(title, told)


def share_words(rows: Iterable[tuple[str, float]]) -> list[tuple[str, str, float]]:
    """Return shares as name, percent and share."""
    return [(name, percent(share), share) for name, share in rows]
