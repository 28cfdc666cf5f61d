"""`weldsim report`: one page about a run, or about several side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText
from weldsim.report.report import write_report
from weldsim.runs.reading import read_run


def command(
    runs: Annotated[list[Path], typer.Argument(help="Run folders; several are compared.")],
    out: Annotated[
        Path | None, typer.Option(help="File to write (default: report.html of the first run).")
    ] = None,
    band: Annotated[
        list[Path] | None,
        typer.Option(help="Folder of weldsim band, drawn on the plots of runs of its job; repeat "
                          '(default: the folder "band" in that of a run).'),
    ] = None,
    units: UnitsOfText = "metric",
):  # fmt: skip
    """Write one page that says what came out; several runs stand side by side."""
    for run_dir in runs:
        read_run(run_dir)
    page = write_report(runs if len(runs) > 1 else runs[0], out, units, band or ())
    typer.echo(f"report: {page}")
