"""`weldsim plan`: schedules compared and ranked."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import (
    GRADES_SAID,
    Changes,
    Cluster,
    Device,
    UnitsOfText,
    Workers,
    at_grade,
    say,
    say_stopped,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.plan_record import write_plan
from weldsim.report.plan_report import write_pages
from weldsim.studies.plan.odds import with_spread
from weldsim.studies.plan.ranking import rank
from weldsim.studies.plan.shop_spread import read_spread
from weldsim.studies.plan.space import load_plan
from weldsim.system.device import ask_for_device
from weldsim.system.signals import exit_code_of
from weldsim.text.cautions import closing
from weldsim.text.grade_words import grade_line
from weldsim.text.plan_words import grades_of, plan_lines


def command(
    case: Annotated[Path, typer.Argument(help="Case file with a [plan] section.")],
    out: Annotated[Path, typer.Option(help="Study folder; one that is there is resumed.")],
    changes: Changes = None,
    grade: Annotated[
        str | None, typer.Option(help=f"{GRADES_SAID} (default: as [plan] says).")
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
    confirm: Annotated[bool, typer.Option(help="Run the best few again at a finer grade.")] = True,
    band: Annotated[
        Path | None,
        typer.Option(help="Folder of weldsim band of this job: odds count the shop's spread."),
    ] = None,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """Compare sequences and settings, and say which one to weld."""
    ask_for_device(device)
    loaded = load_plan(case, at_grade(changes, grade, "plan"))
    spread = None if band is None else read_spread(loaded, band)
    try:
        with ProgressBar() as tell:
            found = rank(
                loaded, out, workers, cluster, tell, confirm,
                lambda growing: write_plan(growing, out),
            )  # fmt: skip
    except KeyboardInterrupt as stop:
        again = ["weldsim", "plan", str(case), "--out", str(out)]
        again += [part for change in changes or () for part in ("--set", change)]
        again += [] if grade is None else ["--grade", grade]
        again += [] if band is None else ["--band", str(band)]
        again += [] if confirm else ["--no-confirm"]
        say_stopped(f"what is computed stays: resume with {shlex.join(again)}")
        raise typer.Exit(exit_code_of(stop)) from None
    if spread is not None:
        found = with_spread(found, spread)
    path = write_plan(found, out)
    pages = write_pages(found, out, units)
    say([*plan_lines(found), grade_line(*grades_of(found))], units)
    typer.echo(f"{found.count} sequences in {path}; " + ", ".join(str(p) for p in pages))
    say([closing("plan")], units)
