"""The joint kind ``step``: a STEP file of solids, meshed with tetrahedra.

Solids whose name begins with `fill` are filler (`fill 1 NAME` or `fill NAME`), one named `land`
is open, all others are base metal; where they touch they are one. Without filler solids a weld
only heats. Seams are places or edges, faces are named in the file or in the case. Edges and faces
go by their names in the file or by their number, such as "edge 12", as Gmsh counts them.

Gmsh's OpenCASCADE kernel turns the file's own length unit into mm.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any, Literal

import numpy as np
from pydantic import BeforeValidator

from weldsim.geometry.gmsh_reading import named_mesh
from weldsim.geometry.grades import GRADES, Grade
from weldsim.geometry.mesh_checks import check_names
from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import JointSection
from weldsim.joints.own_parts.checks import check_whole, described
from weldsim.joints.own_parts.keys import SCALES, beside_case, complaint, file_stamp
from weldsim.joints.own_parts.keys import SeamKeys as PlacedSeamKeys
from weldsim.joints.own_parts.keys import tables as named_tables
from weldsim.joints.own_parts.names import check_seam_names, seam_name
from weldsim.joints.own_parts.outer_faces import middle_of
from weldsim.joints.own_parts.seam_lines import SeamSettings, seam_lines_along
from weldsim.joints.own_step.job import FaceChoice, SeamPath, StepJob
from weldsim.joints.own_step.process import mesh_in_child
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Axis, Section, Size

if TYPE_CHECKING:
    import skfem

LABEL = "own STEP part"
TOLERANCE = 0.03  # of volumes: curved faces are meshed as flat ones
ROUGH = "coarse"  # grade of the mesh that seams and faces are found on


def _listed(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


Names = Annotated[tuple[str, ...], BeforeValidator(_listed)]


class SeamKeys(PlacedSeamKeys):
    """A seam: places, or edges end to end."""

    edges: Names | None = None


class FaceKeys(Section):
    """A face: the outermost flat one in a direction, or faces of the file."""

    plane: Axis | None = None
    faces: Names | None = None


class Part(JointSection):
    """Keys of ``[part]``."""

    file: str
    scale: Literal["mm", "m"] = "mm"  # what a unit of the imported solids is
    width: Size | None = None  # of the bead's face, unless a seam says its own
    depth: Size | None = None
    seams: named_tables(SeamKeys) = {}
    faces: named_tables(FaceKeys) = {}


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence): the first thing that stops the reading."""
    return complaint(lambda: seam_lines(part))


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """Seams by name, as the case has them."""
    return _lines(*_identity(part), part.depth)


def faces(part: Part) -> tuple[str, ...]:
    """Names of faces, of the file and of the case."""
    return tuple(_rough(part)[0].boundaries or {})


def place(part: Part, name: str) -> np.ndarray:
    """Middle of a named face, shape (3,). [m]"""
    return middle_of(_rough(part)[0], name, "this part")


def mesh(case: Any, grade: Grade) -> tuple[skfem.Mesh, dict[str, float]]:
    """Tetrahedra with regions and boundaries, and the volumes of the drawn solids. [m3]

    Raises
    ------
    MeshError
        If Gmsh cannot mesh the solids, or the mesh does not fill them.
    """
    found, _, volumes = _built(*_identity(case.part), grade)
    return found, volumes


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    found = described(part.file, seam_lines(part), _rough(part)[0])
    return f"{LABEL} {found} (found on a coarse mesh)"


def _identity(part: Part) -> tuple:
    seams, named = (tuple(sorted(table.items())) for table in (part.seams, part.faces))
    return part.file, file_stamp(part.file), part.scale, part.width, seams, named


def _rough(part: Part) -> tuple[skfem.Mesh, dict[str, np.ndarray], dict[str, float]]:
    return _built(*_identity(part), GRADES[ROUGH])


@lru_cache(maxsize=4)
def _lines(
    file: str,
    when: tuple,
    scale: str,
    width: float | None,
    seams: tuple,
    named: tuple,
    depth: float | None,
) -> dict[str, SeamLine]:
    found, curves, _ = _built(file, when, scale, width, seams, named, GRADES[ROUGH])
    return seam_lines_along(SeamSettings(width, depth, dict(seams)), found, curves)


@lru_cache(maxsize=4)
def _built(
    file: str,
    when: tuple,
    scale: str,
    width: float | None,
    seams: tuple,
    named: tuple,
    grade: Grade,
) -> tuple[skfem.Mesh, dict[str, np.ndarray], dict[str, float]]:
    """Mesh of the part at a grade, curves of its seams, and volumes of its regions. [m, m3]"""
    check_seam_names(dict(seams))
    paths = {
        seam_name(n): SeamPath(
            k.points and [list(p) for p in k.points], k.edges and list(k.edges), k.width or width
        )
        for n, k in seams
    }
    choices = {n: FaceChoice(k.plane, k.faces and list(k.faces)) for n, k in named}
    job = StepJob(
        file, SCALES[scale], paths, choices, grade.travel_cell, grade.coarsest, grade.growth
    )
    found = mesh_in_child(job)
    mesh = named_mesh(found.cells)
    check_whole(mesh)
    check_names(mesh, found.volumes, set(mesh.boundaries or {}), TOLERANCE)
    return mesh, found.curves, found.volumes


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
