"""The joint kind ``mesh``: a Gmsh mesh file with named volumes, faces and seams.

Physical volumes: `part` (base metal), `fill 1 NAME` or `fill NAME` (filler of a pass on a seam)
and `land` (open, meshed but never fused). Physical curves are seams, physical surfaces are faces
for clamps and pointers. Seams may also be written in the case, as places. The file is read with
meshio, so that a case can be checked without Gmsh; of cells of second order only corners are used.

Names of faces keep their spaces, those of seams do not (see `own_parts.names`).
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import JointSection
from weldsim.joints.own_mesh.reading import OwnMesh, read_mesh
from weldsim.joints.own_parts.checks import described, region_volumes
from weldsim.joints.own_parts.keys import SCALES, SeamKeys, beside_case, complaint, file_stamp
from weldsim.joints.own_parts.keys import tables as named_tables
from weldsim.joints.own_parts.names import check_seam_names, seam_name
from weldsim.joints.own_parts.outer_faces import middle_of
from weldsim.joints.own_parts.seam_lines import (
    SeamSettings,
    check_stated_seams,
    seam_lines_along,
)
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Size

if TYPE_CHECKING:
    import skfem

LABEL = "own mesh"


class Part(JointSection):
    """Keys of ``[part]``."""

    file: str
    scale: Literal["mm", "m"] = "mm"  # unit of the file's coordinates
    width: Size | None = None  # of the bead's face, unless a seam says its own
    depth: Size | None = None
    seams: named_tables(SeamKeys) = {}


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence): the first thing that stops the reading."""
    return complaint(lambda: seam_lines(part))


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """Seams by name, of the file and of the case."""
    seams = tuple(sorted(part.seams.items()))
    return _lines(part.file, file_stamp(part.file), part.scale, part.width, part.depth, seams)


def faces(part: Part) -> tuple[str, ...]:
    """Names of the physical surfaces."""
    return tuple(found_in(part).mesh.boundaries or {})


def place(part: Part, name: str) -> np.ndarray:
    """Middle of a named face, shape (3,). [m]"""
    return middle_of(found_in(part).mesh, name, "this mesh")


def mesh(case: Any, grade: Grade) -> tuple[skfem.Mesh, dict[str, float]]:
    """The user's mesh as it is, and the volumes of its regions; no grade makes it finer. [m3]"""
    found = found_in(case.part).mesh
    return found, region_volumes(found)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return f"{LABEL} {described(part.file, seam_lines(part), found_in(part).mesh)}"


def found_in(part: Part) -> OwnMesh:
    """Mesh and curves of the part's file, read once."""
    names = tuple(sorted(seam_name(n) for n in part.seams))
    return _read(part.file, file_stamp(part.file), part.scale, names)


@lru_cache(maxsize=4)
def _read(file: str, when: tuple, scale: str, written: tuple[str, ...]) -> OwnMesh:
    return read_mesh(file, SCALES[scale], written)


@lru_cache(maxsize=4)
def _lines(
    file: str, when: tuple, scale: str, width: float | None, depth: float | None, seams: tuple
) -> dict[str, SeamLine]:
    settings = SeamSettings(width, depth, dict(seams))
    check_seam_names(settings.seams)
    found = _read(file, when, scale, tuple(sorted(seam_name(n) for n in settings.seams)))
    check_stated_seams(settings, found.curves)
    written = {
        seam_name(n): np.array(k.points) for n, k in settings.seams.items() if k.points is not None
    }
    return seam_lines_along(settings, found.mesh, {**found.curves, **written})


KIND = JointKind(  # what to clamp, and where tacks and pointers sit, is for the case to say
    label=LABEL,
    part_section=Part,
    words=words,
    faces=faces,
    place=place,
    seam_lines=seam_lines,
    mesh_of_file=mesh,
    check=check,
    resolve=beside_case,
    needs_file=True,
)
