"""`weldsim sheet`: the bench sheet of a run or a study, to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText, refuse, say
from weldsim.report.bench_figure import write_sheet
from weldsim.report.bench_sheet import sheet_of_run
from weldsim.report.plan_sheet import sheet_of_plan
from weldsim.runs.reading import PICTURES, read_run
from weldsim.text.cautions import closing


def command(
    folder: Annotated[
        Path,
        typer.Argument(help="Run folder, or study folder of weldsim plan.", show_default=False),
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="PDF file to write (default: bench_sheet.pdf in the folder)."),
    ] = None,
    units: UnitsOfText = "metric",
):
    """Print a bench sheet: which weld when, its travel, what the gauges should read; with boxes."""
    if out is not None and out.suffix.lower() != ".pdf":
        refuse(f"--out {out}: ending {out.suffix!r} is not allowed: write a name ending in .pdf")
    study = (folder / "plan.json").exists()
    sheet = sheet_of_plan(folder) if study else sheet_of_run(read_run(folder))
    drawing = folder / ("recommended.png" if study else f"{PICTURES}/layout.png")
    place = out or folder / "bench_sheet.pdf"
    path = write_sheet(sheet, place, drawing if drawing.exists() else None, units)
    typer.echo(f"bench sheet: {path}")
    say([closing("plan")], units)
