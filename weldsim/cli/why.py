"""`weldsim why`: which weld moved each gauge."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import Case, load_case
from weldsim.cli.options import (
    GRADES_SAID,
    Changes,
    Device,
    UnitsOfText,
    check_grade,
    refuse,
    say,
    say_stopped,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.attribution_report import write_crossover, write_why
from weldsim.runs.reading import read_run
from weldsim.studies.heat_sweep import crossover as sweep_heats
from weldsim.studies.kept_runs import KeptRuns
from weldsim.system.device import ask_for_device
from weldsim.system.signals import exit_code_of
from weldsim.text.cautions import closing
from weldsim.text.grade_words import grade_line
from weldsim.text.heat_sweep_words import crossover_words


def command(
    run_dir: Annotated[
        Path,
        typer.Argument(metavar="run", help="Run folder; with --crossover the case file of a bar."),
    ],
    replay: Annotated[
        bool,
        typer.Option(help="Run it again to tell heating from cooling; without, by place alone."),
    ] = True,
    crossover: Annotated[
        bool,
        typer.Option(
            "--crossover", help="Run a bar at several heats: along the travel against the side."
        ),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder of the crossover chart; runs in it are used again "
            "(default: runs/crossover)."
        ),
    ] = None,
    changes: Changes = None,
    grade: Annotated[
        str | None,
        typer.Option(help=f"{GRADES_SAID} (default: quick; a run has its own)."),
    ] = None,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """Say which weld, and which part of it, moved each gauge."""
    ask_for_device(device)
    check_grade(grade)
    if crossover:
        case = load_case(run_dir, changes or ())
        _heats(case, grade or "quick", out or Path("runs") / "crossover", units)
        return
    if changes or out:
        refuse("why: --set and --out go with --crossover")
    own = read_run(run_dir).grade
    if grade not in (None, own):
        refuse(
            f"why: --grade {grade}: the run in {run_dir} is of grade {own}, allowed: its own; run "
            f"its case with weldsim run --grade {grade} and ask why of that"
        )
    with ProgressBar() as tell:
        path = write_why(run_dir, replay, tell)
    record = json.loads(path.read_text(encoding="utf-8"))
    for line in record["in_words_us" if units == "us" else "in_words"]:
        typer.echo(line)
    typer.echo(grade_line(own))
    typer.echo(f"all of it in {path}")
    say([closing("why")], units)


def _heats(case: Case, grade: str, folder: Path, units: UnitsOfText) -> None:
    """Run a bar at several heats into a folder, and say what came of it."""
    kept = KeptRuns(folder / "runs")
    try:
        with ProgressBar() as tell:
            found = sweep_heats(case, grade=grade, progress=tell, kept=kept)
    except KeyboardInterrupt as stop:
        say_stopped("what is computed stays: resume with the same command")
        raise typer.Exit(exit_code_of(stop)) from None
    say([crossover_words(found), grade_line(grade)], units)
    typer.echo(f"chart beside {write_crossover(found, folder)}; its runs in {kept.folder}")
    say([closing("why")], units)
