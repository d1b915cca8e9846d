"""What was found, in words that a customer understands; each sentence says only what a run or a person has said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from wakerail.jobs import Job
from wakerail.journal.job_words import time_spent
from wakerail.planning.telling import listed, percent
from wakerail.report.job.material import Material, RunSeen
from wakerail_kit.job_events import Resolution
from wakerail_kit.messages import Verdict
from wakerail_kit.outcome import Finding, Outcome

_STAYED = "It started, and stayed on for the {watched} that it was watched."
_BOOTS = {
    Finding.NO_DRAW: "It did nothing when it was switched on: it took no power at all.",
    Finding.STANDING_DRAW: "It took power before it was even switched on: something on its board leaks.",
    Finding.HARD_SHORT: "Its board has a short circuit, so that nothing can start.",
    Finding.STALLED: "It began to start, and got stuck before it was up.",
    Finding.RUNNING: _STAYED,
}
_RESOLUTIONS = {
    Resolution.REPAIRED: "The device is repaired.",
    Resolution.NO_FAULT_FOUND: "No fault was found.",
    Resolution.NOT_REPAIRED: "The device was not repaired.",
}
_HEATS = {
    "separate": "Its stacked boards were parted on a heated plate",
    "rejoin": "Its stacked boards were joined again on a heated plate",
}


def found_in_plain_words(material: Material, causes: Sequence[str]) -> list[str]:
    """Return what was found, a paragraph each. ``causes`` are what was at fault, as a person calls it."""
    job = material.job
    said = [_boots(material)]
    said += [_port(material.runs), _heat(material.runs)]
    said += [_cause(job, causes), _functions(material.runs)]
    said.append(_end(job))
    return [paragraph for paragraph in said if paragraph]


def _boots(material: Material) -> str:
    before, after = material.before, material.after
    if before is None or before.verdict is None or before.boot is None:
        return "It has not been watched starting yet."
    if not before.shows_fault:
        return f"When it was tried on the bench, the fault did not show. {boot(before.verdict, before.boot)}"
    said = f"When it was tried on the bench: {_lower(boot(before.verdict, before.boot))}"
    if after is None or after.verdict is None or after.boot is None:
        return f"{said} Its start has not been watched again since."
    off = unplugged(material.job, after.summary.run)
    without = f", with {listed([name.replace('-', ' ') for name in off])} off," if off else ""
    return f"{said} When it was tried last{without or ':'} {_lower(boot(after.verdict, after.boot))}"


def boot(verdict: Verdict, came_to: Finding) -> str:
    """Return what a boot that was watched came to, in a sentence for a customer."""
    if came_to is not Finding.RESTARTING:
        return _BOOTS[came_to].format(watched=watched(verdict))
    found = {one.name: one.value for one in verdict.measurements}
    count, every_s = found.get("restarts"), found.get("restart-interval")
    said = "It started, switched itself off again and started over"
    if count:
        said += f", {'once' if count == 1 else f'{count:.0f} times'} in {watched(verdict)}"
    return said + (f", about every {spoken(every_s)}." if every_s else ".")


def watched(verdict: Verdict) -> str:
    """Return how long a boot was watched."""
    lasted = [step.duration_s for step in verdict.steps if step.verb == "watch" and step.duration_s]
    return spoken(max(lasted)) if lasted else "time"


def spoken(time_s: float) -> str:
    """Return a time as one says it: ``3.2 seconds``, ``25 seconds``, ``5 minutes``."""
    if time_s < 100:
        shown = f"{time_s:.1f}".removesuffix(".0") if time_s < 10 else f"{time_s:.0f}"
        return f"{shown} second" + ("" if shown == "1" else "s")
    minutes = f"{time_s / 60:.1f}".removesuffix(".0") if time_s < 600 else f"{time_s / 60:.0f}"
    return f"{minutes} minutes"


def unplugged(job: Job, run: str) -> list[str]:
    """Return what had been undone by hand while a run of the isolation went on: covers and parts."""
    return next((one.done for one in job.observations if one.run == run), [])


def _port(runs: Sequence[RunSeen]) -> str:
    checks = [run.verdict for run in runs if run.verdict is not None and run.verdict.sequence.name == "port-check"]
    judged = [one for one in checks if one.outcome in {Outcome.PASSED, Outcome.FAILED}]
    if not judged:
        return ""
    failed_first = any(step.outcome is Outcome.FAILED for step in judged[0].steps)
    if judged[-1].outcome is Outcome.FAILED:
        return "Its charge port has a fault."
    return "Its charge port had a fault at first, and is sound now." if failed_first else "Its charge port is sound."


def _heat(runs: Sequence[RunSeen]) -> str:
    said = []
    for run in runs:
        if run.verdict is None or not run.heated or run.verdict.sequence.name not in _HEATS:
            continue
        kept = {
            Outcome.PASSED: "within the limits for its solder and parts",
            Outcome.FAILED: "and not all limits for its solder and parts were kept; see the technician's detail",
        }.get(run.verdict.outcome, "but this was broken off")
        said.append(f"{_HEATS[run.verdict.sequence.name]}, {kept}.")
    return " ".join(dict.fromkeys(said))


def _functions(runs: Sequence[RunSeen]) -> str:
    """Return what a person found when they tried the functions, the newest answer to each question."""
    answers = {asked: choice for run in runs for asked, choice, _ in run.answers if choice in {"yes", "no"}}
    wrong = [asked for asked, choice in answers.items() if choice == "no"]
    if not answers:
        return ""
    if not wrong:
        return (
            f"All {len(answers)} functions that were tried work." if len(answers) > 1 else "The function tried works."
        )
    return f"Of {len(answers)} functions that were tried, not all work. The answer was no to: {' '.join(wrong)}"


def _cause(job: Job, causes: Sequence[str]) -> str:
    if causes:
        named = listed(list(causes))
        sure = f" ({percent(job.ended.probability)} sure)" if job.ended is not None and not job.closed else ""
        return f"At fault: {named}{sure}."
    if job.closed is not None and job.closed.resolution is Resolution.NO_FAULT_FOUND:
        return ""
    if job.closed is not None or job.ended is not None:
        return "What exactly was at fault was not found."
    return "What is at fault is not known yet."


def _end(job: Job) -> str:
    if job.closed is None:
        return "The work is not finished; this is what is known so far."
    return _RESOLUTIONS[job.closed.resolution] + (f" {_sentence(job.closed.says)}" if job.closed.says else "")


def cause_titles(material: Material, titles: Mapping[str, str]) -> list[str]:
    """Return what was at fault as a person calls it: as the closing names it, else as the isolation ended."""
    job = material.job
    named = job.closed.causes if job.closed is not None else (job.ended.causes if job.ended is not None else [])
    return [titles.get(name, name.replace("-", " ")) for name in named]


def minutes_in_words(spent_s: float) -> str:
    """Return a time of work in words, a dash for none."""
    return time_spent(spent_s) if spent_s else "–"


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
