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
    UnitsOfText,
    Workers,
    check_grade,
    refuse,
    say,
    say_stopped,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.band_record import write_band
from weldsim.studies.band.band import band
from weldsim.studies.band.records import RUNS, Settings
from weldsim.studies.band.uncertain import posterior_of, uncertain_of
from weldsim.studies.fit.records import FINER
from weldsim.system.signals import exit_code_of
from weldsim.text.band_words import band_lines, source_lines
from weldsim.text.cautions import closing


def command(
    case: CaseFile,
    spread: Annotated[
        list[str] | None,
        typer.Option(help='Standard deviation of a value, KEY="8 %" or KEY="30 K"; repeat.'),
    ] = None,
    exact: Annotated[
        list[str] | None, typer.Option(help="Key that does not scatter here; repeat.")
    ] = None,
    fitted: Annotated[
        Path | None,
        typer.Option(help="Folder of weldsim fit (default: that of the case's [shop] file)."),
    ] = None,
    grade: Annotated[str, typer.Option(help="Of the runs.")] = "coarse",
    finer: Annotated[
        str | None,
        typer.Option(help='Grade of the one run that tells the grade\'s error, or "none" '
                          "(default: the next finer)."),
    ] = None,
    runs: Annotated[
        int, typer.Option(help="How many; those in the folder count.", min=6, max=2000)
    ] = RUNS,
    seed: Annotated[int, typer.Option(help="Of all that is drawn.", min=0)] = 1,
    out: Annotated[
        Path, typer.Option(help="Study folder; one that is there is resumed.")
    ] = Path("band"),
    workers: Workers = None,
    units: UnitsOfText = "metric",
    changes: Changes = None,
):  # fmt: skip
    """The range in which each gauge ends, hot and cold, and what explains the spread."""
    loaded = load_case(case, changes or ())
    check_grade(grade)
    if grade not in FINER:
        refuse(f"--grade {grade!r} is not allowed: write {', '.join(FINER)}")
    finer = finer or FINER[grade]
    if finer not in (*FINER.values(), "none"):
        refuse(f"--finer {finer!r} is not allowed: write {', '.join(FINER.values())}, none")
    uncertain = uncertain_of(
        loaded, dict(_pair(text) for text in spread or ()), exact or (),
        posterior_of(loaded, fitted),
    )  # fmt: skip
    settings = Settings(grade=grade, finer=finer, runs=runs, seed=seed, workers=workers)
    try:
        with ProgressBar() as tell:
            found = band(loaded, uncertain, out, settings, tell)
    except KeyboardInterrupt as stop:
        again = shlex.join(["weldsim", *sys.argv[1:]])
        say_stopped(f"the runs that are done stay: resume with {again}")
        raise typer.Exit(exit_code_of(stop)) from None
    say(band_lines(found), units)
    say(["let scatter:", *source_lines(found)], units)
    written = write_band(found, out, units)
    typer.echo(f"all of it in {', '.join(str(p) for p in written)}")
    say([closing("run")], units)


def _pair(text: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip() or not value.strip():
        refuse(f'--spread {text}: write KEY="8 %"')
    return key.strip(), value.strip()
