"""What a user's own mesh must be, and the words about it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from weldsim.errors import MeshError
from weldsim.geometry.mesh_checks import cell_volumes, check_names
from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import mm
from weldsim.joints.own_parts.refusal import NotAllowed

if TYPE_CHECKING:
    import skfem

CELLS = {8: "bricks", 4: "tetrahedra"}  # by their corners


def check_whole(mesh: skfem.Mesh) -> None:
    """Refuse a mesh that lacks base metal, is flat somewhere, or falls into loose pieces.

    Raises
    ------
    NotAllowed
        With what is wrong.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    if "part" not in mesh.subdomains:
        raise NotAllowed("file", "no volume is named part, allowed: the base metal by that name")
    try:
        check_names(mesh, {}, set())
    except MeshError as error:
        raise NotAllowed("file", f"{error}, allowed: sound cells only") from None
    first, count = mesh.t[:1].repeat(len(mesh.t) - 1, axis=0).ravel(), mesh.p.shape[1]
    links = coo_matrix((np.ones(first.size), (first, mesh.t[1:].ravel())), (count, count))
    pieces = connected_components(links, directed=False)[0]
    if pieces > 1:
        raise NotAllowed(
            "file", f"the metal is in {pieces} pieces that share no points, allowed: one piece, "
            "filler and land included"
        )  # fmt: skip


def region_volumes(mesh: skfem.Mesh) -> dict[str, float]:
    """Volume of each region as meshed. [m3]"""
    size = cell_volumes(mesh)
    return {name: float(size[cells].sum()) for name, cells in mesh.subdomains.items()}


def described(file: str, lines: Mapping[str, SeamLine], mesh: skfem.Mesh) -> str:
    """File, cells, seams and faces in words."""
    seams = ", ".join(f"{n} {mm(s.length)}" for n, s in lines.items())
    named = ", ".join(mesh.boundaries or {}) or "none"
    count, many = mesh.t.shape[1], CELLS[mesh.t.shape[0]]
    return f"{Path(file).name}, {count} {many}; seams: {seams}; faces: {named}"
