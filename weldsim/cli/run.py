"""`weldsim run`: a case into a run folder."""

from __future__ import annotations

import sys
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import load_case
from weldsim.cli.drawing import draw_all
from weldsim.cli.options import (
    Changes,
    Device,
    Grade,
    UnitsOfText,
    at_grade,
    refuse,
    say,
    say_stopped,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.comparison import verdicts
from weldsim.runs.folder import RunFolder
from weldsim.runs.reading import read_run
from weldsim.runs.runner import RunOptions, resume_case, run_case
from weldsim.system.device import ask_for_device
from weldsim.system.signals import exit_code_of
from weldsim.text.cautions import beside, closing
from weldsim.text.grade_words import grade_line
from weldsim.text.quantities import Units, words
from weldsim.text.words import final_words


def command(
    case: Annotated[Path | None, typer.Argument(help="Case file (TOML).")] = None,
    out: Annotated[Path | None, typer.Option(help="Run folder (default: runs/DATE_TITLE).")] = None,
    changes: Changes = None,
    grade: Grade = None,
    resume: Annotated[Path | None, typer.Option(help="Resume a stopped run folder.")] = None,
    error_estimate: Annotated[
        bool | None,
        typer.Option(
            "--error-estimate/--no-error-estimate",
            help="A second run, one grade coarser, that gives the estimated error "
            "(default: as the case says; none at sketch and coarse).",
        ),
    ] = None,
    pictures: Annotated[bool, typer.Option(help="Draw pictures and report afterwards.")] = True,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """Compute a case into a run folder."""
    ask_for_device(device)
    if (case is None) == (resume is None):
        refuse("run: give either a case file, or --resume with a stopped run folder")
    if resume is not None and (changes or out or grade):
        refuse("run: --resume takes the case as it was: leave out --set, --grade and --out")
    loaded = None if case is None else load_case(case, at_grade(changes, grade))
    if out is not None:
        RunFolder.refuse_used(out)
    try:
        with ProgressBar() as tell:
            options = RunOptions(error_estimate=error_estimate, progress=tell, notice=_notice)
            if resume is not None:
                folder = resume_case(resume, options)
            else:
                folder = run_case(loaded, out, options)
    except KeyboardInterrupt as stop:
        # a dated folder is made below the command line, which tells its name with the stop
        where = resume or getattr(stop, "run_folder", None)
        again = f"resume with: weldsim run --resume {where}" if where else "nothing is written yet"
        if where and RunFolder.open(where).status == "complete":  # the second run was stopped
            _say_result(where, units)
        say_stopped(again)
        raise typer.Exit(exit_code_of(stop)) from None
    _say_result(folder, units)
    if pictures:
        draw_all(folder, units)
    say([closing("run")], units)


def _notice(text: str) -> None:
    with suppress(OSError):  # the terminal may be gone
        print(text, file=sys.stderr, flush=True)


def _say_result(folder: Path, units: Units) -> None:
    record = read_run(folder)
    say(final_words(record), units)
    say(
        (
            words("{}, tolerance {}: {}", v["gauge"], v["tolerance"], beside(v["verdict"]))
            for v in verdicts(record)
        ),
        units,
    )
    say([grade_line(record.grade)], units)
    typer.echo(f"run folder: {folder}")
