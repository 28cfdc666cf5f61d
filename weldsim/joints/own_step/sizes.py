"""Sizes of cells of a STEP part: fine at its seams, growing away from them. Runs where Gmsh does.

The sizes are those of `weldsim.joints.kit.near_seams`, as Gmsh's fields.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from weldsim.joints.cell_limit import MOST_CELLS
from weldsim.joints.kit import THIN
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.own_step.job import StepJob

AROUND = 12  # cells around a whole turn of a curved face


def set_sizes(gmsh: Any, curves: Mapping[str, np.ndarray], job: StepJob) -> None:
    """Tell Gmsh how large cells may be.

    Parameters
    ----------
    gmsh : module
        With the solids.
    curves : Mapping
        Name of a seam -> places, shape (M, 3). [m]
    job : StepJob
        Widths of the beads and the grade.

    Raises
    ------
    NotAllowed
        If a seam has no width, or so small a one that its cells are too many.
    """
    missing = next((name for name, path in job.seams.items() if path.width is None), None)
    if missing:
        raise NotAllowed(
            "width", f'missing for seam {missing}, allowed: "5 mm" here or in '
            f"[part.seams.{missing}]"
        )  # fmt: skip
    check_count(curves, job)
    number = gmsh.option.setNumber
    for key in ("ExtendFromBoundary", "FromPoints"):
        number(f"Mesh.MeshSize{key}", 0)
    number("Mesh.MeshSizeFromCurvature", AROUND)
    field, every = gmsh.model.mesh.field, []
    for name, places in curves.items():
        width = (job.seams[name].width or 0.0) / job.unit
        fine, coarse = job.travel_cell * width, 2 * THIN * job.coarsest * width
        at = field.add("Distance")
        field.setNumbers(at, "PointsList", _loose_points(gmsh, places / job.unit, fine / 4))
        size = field.add("Threshold")
        for key, value in (
            ("InField", at), ("SizeMin", fine), ("SizeMax", coarse), ("DistMin", width),
            ("DistMax", width + (coarse - fine) / (THIN * job.growth)),
        ):  # fmt: skip
            field.setNumber(size, key, value)
        every.append(size)
    least = field.add("Min")
    field.setNumbers(least, "FieldsList", every)
    field.setAsBackgroundMesh(least)


def check_count(curves: Mapping[str, np.ndarray], job: StepJob) -> None:
    """Refuse seams whose cells would be too many, before any is made.

    Counted are those that lie within a bead's width of a seam, half a cylinder of regular
    tetrahedra; there are more beyond.

    Parameters
    ----------
    curves : Mapping
        Name of a seam -> places, shape (M, 3). [m]
    job : StepJob
        Widths of the beads and the grade.

    Raises
    ------
    NotAllowed
        Naming the seam with the most.
    """
    length = {n: float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for n, p in curves.items()}
    volume = job.travel_cell**3 / (6 * np.sqrt(2))  # of a tetrahedron, edges over the width
    cells = {n: size / (job.seams[n].width or np.inf) * np.pi / 2 / volume
             for n, size in length.items()}  # fmt: skip
    total = sum(cells.values())
    if total > MOST_CELLS:
        worst = max(cells, key=lambda name: cells[name])
        raise NotAllowed(
            "width", f"{1e3 * (job.seams[worst].width or 0.0):.3g} mm of seam {worst} makes more "
            f"than {total:.0f} cells, allowed: up to {MOST_CELLS}; a wider seam or a coarser grade"
        )  # fmt: skip


def _loose_points(gmsh: Any, places: np.ndarray, step: float) -> list[int]:
    """Points along a chain that belong to no solid, from which distances are taken."""
    out = []
    for a, b in zip(places[:-1], places[1:], strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
        out += [gmsh.model.occ.addPoint(*(a + (b - a) * i / count)) for i in range(count)]
    out.append(gmsh.model.occ.addPoint(*places[-1]))
    gmsh.model.occ.synchronize()
    return out
