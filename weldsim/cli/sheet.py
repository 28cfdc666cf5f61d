"""`weldsim sheet`: the bench sheet of a run or a study, to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import RunDir, UnitsOfText, say
from weldsim.report.bench_sheet import sheet_of_run
from weldsim.report.bench_figure import write_sheet
from weldsim.report.drawings import drawing_of
from weldsim.runs.reading import read_run
from weldsim.text.cautions import closing


def command(
    run_dir: RunDir,
    out: Annotated[
        Path | None,
        typer.Option(help="PDF file to write, default: bench_sheet.pdf in the folder."),
    ] = None,
    units: UnitsOfText = "metric",
):
    """Print a bench sheet: what to weld, which way, what the gauges should read; boxes to fill."""
    record = read_run(run_dir)
    sheet = sheet_of_run(record)
    path = write_sheet(sheet, out or record.path / "bench_sheet.pdf", drawing_of(record), units)
    typer.echo(f"bench sheet: {path}")
    say([closing("plan")], units)
