"""A part on a table: points of the face that lies on it, with the stiffness of their share."""

from __future__ import annotations

import numpy as np

from weldsim.errors import CaseError
from weldsim.materials.material import Material
from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.table import Table
from weldsim.simulation.clamping import FLAT, Clamping
from weldsim.simulation.land import CONTACT_DEPTH, ROOM_TEMPERATURE


def on_table(
    clamping: Clamping, heat_mesh: HeatMesh, mechanics: MechanicsModel, material: Material
) -> MechanicsModel | None:
    """The mechanics of a part that lies on the table among its clamps.

    Parameters
    ----------
    clamping : Clamping
        The clamps on the mesh.
    heat_mesh : HeatMesh
        Its facets say which area each point stands for.
    mechanics : MechanicsModel
        Without the table.
    material : Material
        The table is as stiff as the faces of open land are.

    Returns
    -------
    MechanicsModel or None
        None without a table.

    Raises
    ------
    CaseError
        If the face on it is not flat.
    """
    found = [i for i, c in enumerate(clamping.clamps) if c.kind == "table"]
    if not found:
        return None
    name = clamping.clamps[found[0]].name
    face = clamping.lattice_points[found[0]]
    area, normal = _shares(heat_mesh, face)
    points = clamping.points_of(name)
    places = clamping.points[points]
    if np.ptp(places @ normal) > FLAT or np.linalg.norm(normal) < 0.999:
        raise CaseError(f"[[clamp]] {name} at: what lies on a table is flat, allowed: a flat face")
    young = np.interp(ROOM_TEMPERATURE, *material.table("youngs_modulus"))
    # points in the middle of a face have heat but no displacement: the others stand for their area
    own = area[points] * area.sum() / area[points].sum()
    return mechanics.resting(Table(points, normal, young * own / CONTACT_DEPTH))


def _shares(mesh: HeatMesh, face: Integers) -> tuple[Floats, Floats]:
    """Area of each lattice point of a face (Nh,) [m2], and the mean direction into the part."""
    on = np.zeros(mesh.points.shape[0], dtype=bool)
    on[face] = True
    outer = (mesh.facet_cells[1] < 0) & on[mesh.facet_nodes].all(axis=1)
    nodes = mesh.facet_nodes[outer]
    share = np.broadcast_to(mesh.facet_share[outer][:, None], nodes.shape)
    area = np.bincount(nodes.ravel(), share.ravel(), minlength=on.size).astype(float)
    corners = mesh.points[nodes]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    cells = mesh.cells[mesh.facet_cells[0, outer]]
    inward = mesh.points[cells].mean(axis=1) - corners.mean(axis=1)
    normal *= np.sign((normal * inward).sum(axis=1))[:, None]
    return area, normal.mean(axis=0)
