"""The metal of a case: its curves as a picture, and in numbers with their sources; worker tasks."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from weldsim.materials.material import load_material
from weldsim.page.worker_process import Tell
from weldsim.plots.material_plot import material_text, plot_material
from weldsim.text.quantities import Units


def picture(name: str, units: Units, tell: Tell | None = None) -> bytes:
    """Curves of a material with the ranges they are published for.

    Parameters
    ----------
    name : str
        Of a material, or the path of its file.
    units : {"metric", "us"}
        Of the axes.
    tell : callable, optional
        Not used.

    Returns
    -------
    bytes
        SVG.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder) / "curves.svg"
        plot_material(load_material(name), path, units)
        return path.read_bytes()


def numbers(name: str, units: Units, tell: Tell | None = None) -> list[str]:
    """Curves at round temperatures, fixed values, sources and what is left out.

    Parameters
    ----------
    name : str
        Of a material, or the path of its file.
    units : {"metric", "us"}
        Of the table.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of str
        Title, and the text.
    """
    found = load_material(name)
    return [found.title, material_text(found, units)]
