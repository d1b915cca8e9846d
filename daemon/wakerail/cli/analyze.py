"""``wakerail analyze``: read a boot from a recording, a run of the journal or a USB log, as a live watch would."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from wakerail.cli.options import AsJson, Config, place
from wakerail_kit.errors import ConfigInvalid

if TYPE_CHECKING:
    from wakerail.analysis.cadence import CadenceRow
    from wakerail.analysis.known_good import Comparison
    from wakerail.journal import JournalReader
    from wakerail.recordings.headings import Wishes
    from wakerail.recordings.reading import Analysis
    from wakerail.recordings.samples import Recording


def analyze(
    target: Annotated[
        str | None,
        typer.Argument(metavar="[FILE|RUN|last]", help="A CSV or Parquet file, or a run of the journal."),
    ] = None,
    time: Annotated[
        str | None, typer.Option("--time", metavar="COL", help="The column of time: its heading, or number from 1.")
    ] = None,
    current: Annotated[
        str | None, typer.Option("--current", metavar="COL", help="The column of current, or of power.")
    ] = None,
    voltage: Annotated[str | None, typer.Option("--voltage", metavar="COL", help="The column of voltage.")] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", metavar="mA", help="The unit of the current's or power's numbers.")
    ] = None,
    rate: Annotated[
        float | None, typer.Option("--rate", metavar="HZ", help="Samples a second, for a file without time.")
    ] = None,
    usb: Annotated[
        Path | None, typer.Option("--usb", metavar="FILE", help="What USB saw: alone, or on the trace's scale of time.")
    ] = None,
    standing: Annotated[
        str | None, typer.Option("--standing", metavar="0.3mA", help="What the device draws when it is off.")
    ] = None,
    like: Annotated[
        list[str] | None,
        typer.Option("--like", metavar="RUN", help="A run with a known-good boot to compare with; repeat it."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="OUT.svg|png", help="Draw the trace with what was found.")
    ] = None,
    as_json: AsJson = False,
    journal: Annotated[
        str | None, typer.Option("--journal", metavar="PATH", help="The journal, if not the configuration's.")
    ] = None,
    config: Config = None,
) -> None:
    """Read a boot from a recording: stages, restarts, cadence, and what they mean.

    Exit code: 0 if it could be read, whatever was found; 2 if something typed or written must be corrected.
    """
    if target is None and usb is None:
        raise ConfigInvalid("name a file, a run or 'last', or a USB log with --usb FILE")
    if plot is not None and plot.suffix not in {".svg", ".png"}:
        raise ConfigInvalid(f"--plot {plot}: a picture is drawn as .svg or .png")
    if plot is not None and target is None:
        raise ConfigInvalid("--plot: a USB log alone has no trace to draw")
    if like and target is None:
        raise ConfigInvalid("--like: a USB log alone has no current to compare")
    from wakerail.recordings.headings import Wishes  # noqa: PLC0415  numpy is slow to load
    from wakerail.recordings.reading import analyse  # noqa: PLC0415
    from wakerail.report.answer import answer_json, answer_text  # noqa: PLC0415

    wishes = Wishes(time=time, current=current, voltage=voltage, unit=unit, rate_hz=rate)
    said = Console(stderr=True, highlight=False, markup=False, soft_wrap=True, quiet=as_json)
    with _opened(target, wishes, journal, config) as recording, _progress(recording, quiet=as_json) as step:
        analysis = analyse(recording, usb, standing, tell=said.print, step=step)
    known_good = None if target is None else _known_good(analysis, target, wishes, like or [], journal, config)
    if plot is not None:
        _draw(analysis, target or "", plot)
    if as_json:
        typer.echo(answer_json(analysis, _trade(analysis), known_good))
    else:
        Console(highlight=False).print(answer_text(analysis, _trade(analysis), known_good))


@contextmanager
def _opened(target: str | None, wishes: Wishes, journal: str | None, config: Path | None) -> Iterator[Recording | None]:
    """Open what is named: a file if there is one of that name, else a run."""
    if target is None:
        yield None
        return
    file = Path(target)
    if file.is_dir():
        raise ConfigInvalid(f"{target}: is a folder; name a file")
    if file.exists() and not file.is_file():
        raise ConfigInvalid(f"{target}: is no file that can be read twice; save the recording in one first")
    if file.exists():
        from wakerail.recordings.files import open_file  # noqa: PLC0415

        yield open_file(file, wishes)
        return
    if file.suffix or len(file.parts) > 1:
        raise ConfigInvalid(f"{target}: no such file")
    from wakerail.recordings.cadences import cadence_before_run  # noqa: PLC0415
    from wakerail.recordings.runs import open_run  # noqa: PLC0415

    with _journal(journal, config) as reader:
        recording = open_run(reader, target)
        recording.known = replace(recording.known, cadence_before=cadence_before_run(reader, target))
        yield recording


def _journal(journal: str | None, config: Path | None) -> JournalReader:
    from wakerail.journal import JournalReader  # noqa: PLC0415

    if journal is not None:
        return JournalReader(journal)
    bench = place(config)
    return JournalReader(bench.journal, bench=bench.name)


def _known_good(
    analysis: Analysis, target: str, wishes: Wishes, like: list[str], journal: str | None, config: Path | None
) -> Comparison | None:
    """Compare with the runs that are named, or with those of the same device family that the journal has.

    None where there is nothing to compare with. The recording is read again, and only its boot is kept.
    """
    from wakerail.analysis.known_good import boot_since, compare, make_known_good  # noqa: PLC0415
    from wakerail.recordings.references import boot_of_run, family_of, known_good_boots  # noqa: PLC0415

    is_file, onset_s = Path(target).exists(), analysis.reading.onset_s
    if is_file and not like:
        return None
    with _journal(journal, config) as reader:
        run = None if is_file else reader.run(target)
        if like:
            names = dict.fromkeys(reader.find_run(which) for which in like)
            if run is not None and run.run in names:
                raise ConfigInvalid(f"--like {run.run}: is the run that is to be compared; name others")
            if analysis.unit != "A":
                raise ConfigInvalid(f"--like: {target} holds power, and the runs of the journal hold currents")
            references = [boot_of_run(reader, name) for name in names]
        else:
            family = None if run is None else family_of(reader, run.run)
            if run is None or family is None:
                return None
            references = known_good_boots(reader, family, run.sequence, run.run)
    with _opened(target, wishes, journal, config) as recording:
        parts = ((piece.t_s, piece.current_a) for piece in recording.pieces) if recording is not None else ()
        boot = None if onset_s is None else boot_since(parts, onset_s)
    return compare(boot, make_known_good(references))


@contextmanager
def _progress(recording: Recording | None, *, quiet: bool) -> Iterator[Callable[[], None]]:
    """Show on a terminal how far a recording is read."""
    console = Console(stderr=True)
    if recording is None or quiet or not console.is_terminal:
        yield lambda: None
        return
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TimeRemainingColumn  # noqa: PLC0415

    with Progress(BarColumn(), TaskProgressColumn(), TimeRemainingColumn(), console=console, transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda: bar.update(task, completed=recording.share())


def _trade(analysis: Analysis) -> CadenceRow | None:
    """Return what the trade reads from the cadence, where there is one."""
    from wakerail.analysis.cadence import reading_of  # noqa: PLC0415
    from wakerail.cadence_table import load_cadence_table  # noqa: PLC0415
    from wakerail.config import shipped  # noqa: PLC0415

    cadence = analysis.reading.cadence
    return None if cadence is None else reading_of(cadence, load_cadence_table(shipped("cadence.yaml")))


def _draw(analysis: Analysis, source: str, out: Path) -> None:
    import numpy as np  # noqa: PLC0415

    from wakerail.report.picture import draw_trace  # noqa: PLC0415

    reading = analysis.reading
    times_s, current_a = analysis.current.line()
    volts_at_s, volts = analysis.voltage.line()
    try:
        draw_trace(
            times_s,
            current_a,
            voltage_v=np.interp(times_s, volts_at_s, volts) if volts.size else None,
            restarts=[(restart.at_s, restart.again_s) for restart in reading.restarts],
            probabilities=[restart.probability for restart in reading.restarts],
            stages=[(stage.start_s, stage.end_s, stage.mean_a) for stage in reading.stages],
            onset_s=reading.onset_s,
            prompt_s=analysis.prompted_s,
            unit=analysis.unit,
            title=f"{Path(source).name}: {reading.outcome}, {reading.finding}",
            subtitle=reading.says,
            out=out,
        )
    except OSError as wrong:
        raise ConfigInvalid(f"--plot {out}: cannot be written: {wrong.strerror or wrong}") from None
