"""`weldsim check`: a case in words, and drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import load_case
from weldsim.cli.options import CaseFile, Changes, UnitsOfText, refuse, say
from weldsim.plots.layout import draw_layout
from weldsim.text.cautions import closing
from weldsim.text.describe import describe


def command(
    case: CaseFile,
    changes: Changes = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw the part with its welds in sequence into this PNG file."),
    ] = None,
    cautions: Annotated[
        bool, typer.Option("--cautions", help="All cautions, in place of one line.")
    ] = False,
    units: UnitsOfText = "metric",
):
    """Say in words what would be simulated, without running it."""
    if picture is not None and picture.suffix.lower() != ".png":
        refuse(f"--picture {picture}: ending {picture.suffix!r} is not allowed: write .png")
    loaded = load_case(case, changes or ())
    say(describe(loaded, cautions), units)
    if not cautions:
        say([closing("check")], units)
    if picture is not None:
        draw_layout(loaded, picture)
        typer.echo(f"layout drawn in {picture}")
