"""`weldsim target`: the sheet a light spot is filmed on."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText, refuse
from weldsim.measurements.target_sheet import PAPERS
from weldsim.plots.target_sheet_print import SAFETY, SCALES, print_target
from weldsim.units import parse


def command(
    out: Annotated[Path, typer.Option(help="PDF file to write.")] = Path("target.pdf"),
    paper: Annotated[str, typer.Option(help=f"Size of paper: {', '.join(PAPERS)}.")] = "A4",
    distance: Annotated[
        str | None, typer.Option(help='From the part to the target, such as "5 m"; printed on it.')
    ] = None,
    units: UnitsOfText = "metric",
):
    """Print the target for a light spot, with marks that a film of it is measured by."""
    if paper not in PAPERS:
        refuse(f"--paper {paper!r} is not allowed: write {', '.join(PAPERS)}")
    if out.suffix.lower() != ".pdf":
        refuse(f"--out {out}: ending {out.suffix!r} is not allowed: write a name ending in .pdf")
    metres = None
    if distance is not None:
        try:
            metres = parse(distance, "length")
        except ValueError as error:
            refuse(f"--distance {error}")
        if not 0.1 <= metres <= 1000.0:
            refuse(f"--distance {distance}: allowed: 0.1 m to 1000 m")
    print_target(out, PAPERS[paper], metres, units)
    sheet, scale = PAPERS[paper].sheet, SCALES[units]
    typer.echo(f"{out}: marks {scale.length(sheet.width)} by {scale.length(sheet.height)} apart")
    rule = f"{scale.rule:g} {scale.unit}"
    typer.echo(f"Print at 100 % and measure the rule at its foot: it must be {rule}.")
    typer.echo(f"Caution: {SAFETY[0]}")
