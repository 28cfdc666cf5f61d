"""`weldsim show`: pictures, animation and report of a run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.drawing import draw_all
from weldsim.cli.options import RunDir, UnitsOfText, refuse
from weldsim.plots.print_figures import FIGURES, draw


def command(
    run_dir: RunDir,
    figure: Annotated[
        str | None,
        typer.Option(help=f"One picture for print in place of all: {', '.join(FIGURES)}."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="File of that picture, .svg, .pdf or .png (default: pictures/NAME.pdf of the run)."
        ),
    ] = None,
    units: UnitsOfText = "metric",
):
    """Draw the pictures, the animation and the report of a run."""
    if figure is None:
        if out is not None:
            refuse("show: --out goes with --figure NAME")
        draw_all(run_dir, units)
        return
    path = out or Path(run_dir) / "pictures" / f"{figure}.pdf"
    typer.echo(f"drawn in {draw(figure, run_dir, path, units=units)}")
