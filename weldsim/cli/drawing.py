"""Pictures and report of a run, as `run` and `show` make them."""

from __future__ import annotations

from pathlib import Path

import typer

from weldsim.cli.progress import ProgressBar
from weldsim.plots.pictures import show_run
from weldsim.report.report import write_report
from weldsim.runs.reading import read_run
from weldsim.text.quantities import Units


def draw_all(folder: Path, units: Units = "metric") -> None:
    """Draw all pictures of a run and write its report; say where they are."""
    read_run(folder)  # refuses what is no run before the heavy libraries load
    with ProgressBar() as tell:
        made = show_run(folder, tell)
    for note in made.notes:
        typer.echo(note)
    page = write_report(folder, units=units)
    typer.echo(f"{len(made.paths)} pictures in {Path(folder) / 'pictures'}, report: {page}")
