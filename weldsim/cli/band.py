"""`weldsim band`: between what each gauge ends, and what explains it."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import load_case
from weldsim.cli.options import (
    CaseFile,
    Changes,
    Cluster,
    UnitsOfText,
    Workers,
    check_grade,
    refuse,
    say,
    say_stopped,
)
from weldsim.cli.progress import ProgressBar
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADE_USE
from weldsim.report.band_record import write_band
from weldsim.report.banded import band_settings
from weldsim.studies.band.band import band
from weldsim.studies.band.records import RUNS
from weldsim.studies.band.uncertain import posterior_of, uncertain_of
from weldsim.studies.fit.records import FINER
from weldsim.system.signals import exit_code_of
from weldsim.text.band_words import band_lines, source_lines
from weldsim.text.cautions import closing
from weldsim.text.grade_words import grade_line

_GRADES = "; ".join(f"{g}: {GRADE_USE[g]}" for g in FINER)


def command(
    case: CaseFile,
    spread: Annotated[
        list[str] | None,
        typer.Option(help='Standard deviation of a value, KEY="8 %", "30 K" or "0.3 mm"; repeat.'),
    ] = None,
    exact: Annotated[
        list[str] | None, typer.Option(help="Key that does not scatter here; repeat.")
    ] = None,
    fitted: Annotated[
        Path | None,
        typer.Option(help="Folder of weldsim fit (default: that of the case's [shop] file)."),
    ] = None,
    grade: Annotated[
        str,
        typer.Option(help=f"How fine the runs are: {_GRADES}."),
    ] = "coarse",
    finer: Annotated[
        str | None,
        typer.Option(help='Grade of the one run that tells the grade\'s error, or "none" '
                          "(default: the next finer)."),
    ] = None,
    runs: Annotated[
        int, typer.Option(help="Runs in all, those in the folder counted.", min=6, max=2000)
    ] = RUNS,
    seed: Annotated[int, typer.Option(help="Number that the random draws start from.", min=0)] = 1,
    out: Annotated[
        Path, typer.Option(help="Study folder; one that is there is resumed.")
    ] = Path("band"),
    workers: Workers = None,
    cluster: Cluster = None,
    units: UnitsOfText = "metric",
    changes: Changes = None,
):  # fmt: skip
    """The range in which each gauge ends, hot and cold, and what explains the spread."""
    loaded = load_case(case, changes or ())
    check_grade(grade)
    try:
        settings = band_settings(grade, finer, runs, seed, workers, cluster)
    except CaseError as error:
        refuse(f"--{error}")
    uncertain = uncertain_of(
        loaded, dict(_pair(text) for text in spread or ()), exact or (),
        posterior_of(loaded, fitted),
    )  # fmt: skip
    try:
        with ProgressBar() as tell:
            found = band(loaded, uncertain, out, settings, tell)
    except KeyboardInterrupt as stop:
        again = shlex.join(["weldsim", *sys.argv[1:]])
        say_stopped(f"the runs that are done stay: resume with {again}")
        raise typer.Exit(exit_code_of(stop)) from None
    say(band_lines(found), units)
    say(["let scatter:", *source_lines(found)], units)
    again = [] if settings.finer == "none" else [settings.finer]
    say([grade_line(settings.grade, *again)], units)
    written = write_band(found, out, units)
    typer.echo(f"all of it in {', '.join(str(p) for p in written)}")
    typer.echo(f"on the report of a run of this job: weldsim report RUN --band {out}")
    say([closing("run")], units)


def _pair(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip() or not value.strip():
        refuse(f'--spread {text}: is not allowed: write KEY="8 %"')
    return key.strip(), value.strip()
