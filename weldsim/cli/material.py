"""`weldsim material`: curves of a material, printed and drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText, refuse
from weldsim.cli.terminal import show
from weldsim.materials.material import load_material
from weldsim.materials.shelf import list_materials, material_called
from weldsim.plots.material_plot import material_text, plot_material

ENDINGS = (".png", ".svg", ".pdf")


def command(
    name: Annotated[
        str | None,
        typer.Argument(
            help="Name of a material, or the path of its file; without, they are listed.",
            show_default=False,
        ),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(help="File to draw the curves into, .png, .svg or .pdf (default: NAME.png)."),
    ] = None,
    units: UnitsOfText = "metric",
):
    """Print and plot the property curves of a material with their sources."""
    if name is None:
        for known in list_materials():
            show(f"{known}: {load_material(known).title}")
        return
    if plot is not None and plot.suffix not in ENDINGS:
        refuse(f"--plot {plot}: ending {plot.suffix!r} is not allowed: write {', '.join(ENDINGS)}")
    near = None if name in list_materials() else material_called(name)
    found = load_material(near or name)
    if near:
        show(f"There is no {name} here; the nearest is {near} ({found.title}).")
    path = plot or Path(f"{Path(near or name).stem}.png")
    try:
        plot_material(found, path, units)
    except OSError as error:
        refuse(f"{path}: could not be written: {error.strerror}")
    typer.echo(material_text(found, units))
    typer.echo(f"curves drawn in {path}")
