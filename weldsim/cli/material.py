"""`weldsim material`: curves of a material, printed and drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.materials.material import load_material
from weldsim.plots.material_plot import material_text, plot_material


def command(
    name: Annotated[str, typer.Argument(help="Name of a material, or the path of its file.")],
    plot: Annotated[Path | None, typer.Option(help="Draw the curves into this file.")] = None,
):
    """Print and plot the property curves of a material with their sources."""
    found = load_material(name)
    typer.echo(material_text(found))
    path = plot or Path(f"{Path(name).stem}.png")
    plot_material(found, path)
    typer.echo(f"curves drawn in {path}")
