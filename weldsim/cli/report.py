"""`weldsim report`: one page about a run, or about several side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText, refuse
from weldsim.report.report import write_report
from weldsim.runs.reading import read_run

ENDINGS = (".html", ".htm")


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
    if out is not None and out.suffix.lower() not in ENDINGS:
        refuse(f"--out {out}: ending {out.suffix!r} is not allowed: write a name ending in .html")
    for number, run_dir in enumerate(runs):
        if run_dir.resolve() in [r.resolve() for r in runs[:number]]:
            refuse(f"{run_dir}: is named twice, allowed: each run once")
        read_run(run_dir)
    page = write_report(runs if len(runs) > 1 else runs[0], out, units, band or ())
    typer.echo(f"report: {page}")
