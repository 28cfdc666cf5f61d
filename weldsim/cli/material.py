"""`weldsim material`: curves of a material, printed and drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import UnitsOfText
from weldsim.cli.terminal import show
from weldsim.materials.material import load_material
from weldsim.materials.shelf import list_materials, material_called
from weldsim.plots.material_plot import material_text, plot_material


def command(
    name: Annotated[
        str | None,
        typer.Argument(
            help="Name of a material, or the path of its file; without, they are listed.",
            show_default=False,
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Draw the curves into this file (default: NAME.png).")
    ] = None,
    units: UnitsOfText = "metric",
):
    """Print and plot the property curves of a material with their sources."""
    if name is None:
        for known in list_materials():
            show(f"{known}: {load_material(known).title}")
        return
    near = None if name in list_materials() else material_called(name)
    found = load_material(near or name)
    if near:
        show(f"There is no {name} here; the nearest is {near} ({found.title}).")
    typer.echo(material_text(found, units))
    path = plot or Path(f"{Path(near or name).stem}.png")
    plot_material(found, path, units)
    typer.echo(f"curves drawn in {path}")
