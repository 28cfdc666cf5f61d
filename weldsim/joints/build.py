"""From a case to its meshed part."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from weldsim.geometry.grades import GRADES, Grade
from weldsim.geometry.part import Part, part_from_mesh
from weldsim.joints.registry import kind_of_case, lean_of


def build_part(case: Any, grade: str | Grade | None = None) -> Part:
    """Mesh the joint of a case.

    Parameters
    ----------
    case : weldsim.case.load.Case
    grade : str or Grade, optional
        Name of one of `GRADES`, or a grade of your own; the case's own when left out.

    Returns
    -------
    Part
        Standing as the case's preset has it.

    Raises
    ------
    MeshError
        If the joint cannot be meshed, or the mesh is not what the geometry says.
    """
    level = grade if isinstance(grade, Grade) else GRADES[grade or case.solve.grade]
    mesh, volumes = kind_of_case(case).mesh(case, level)
    if any(case.preset):
        mesh = replace(mesh, doflocs=mesh.p + lean_of(case, mesh.p.T).T)
    return part_from_mesh(mesh, volumes)
