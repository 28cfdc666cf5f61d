"""Open land between pieces: pairs of points that face each other across it and may touch."""

from __future__ import annotations

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.part import Part
from weldsim.materials.material import Material
from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.contact import Contact

CONTACT_DEPTH = 0.5e-3  # m; faces that touch are as stiff as a wall this thick
ROOM_TEMPERATURE = 293.15  # K, at which the stiffness of that wall is taken


def land_contact(case: Case, part: Part, weight: Floats, material: Material) -> Contact | None:
    """Pairs of points that face each other across open land.

    Parameters
    ----------
    case : Case
        Its part may state how wide the land stands open.
    part : Part
        Mesh with regions of land.
    weight : ndarray, shape (C, Q)
        Volumes at the quadrature points of the mechanics. [m3]
    material : Material
        Gives the stiffness with which they touch.

    Returns
    -------
    Contact or None
        None without a land.
    """
    lattice, cells = part.lattice, part.lattice.displacement_cells
    kinds = {region: region.split()[0] for region in part.regions}
    land = [np.asarray(m) for r, m in part.regions.items() if kinds[r] in ("land", "root")]
    if not land:
        return None
    fused = [np.asarray(m) for r, m in part.regions.items() if kinds[r] == "fill"]
    between = cells[np.concatenate([*land, *fused])]
    piece = _pieces(lattice.displacement_points, cells[part.regions["part"]])
    pairs = _facing(lattice.points, between, piece)
    if pairs is None:
        return None
    below, above = pairs
    apart = lattice.points[above] - lattice.points[below]
    height = np.linalg.norm(apart, axis=1)
    stated = getattr(case.part, "root_gap", None)
    gap = height if stated is None else np.full(len(height), stated)
    area = weight[np.concatenate(land)].sum() / height.mean()
    young = np.interp(ROOM_TEMPERATURE, *material.table("youngs_modulus"))
    stiffness = np.full(len(height), young * area / len(height) / CONTACT_DEPTH)
    return Contact(below, above, apart / height[:, None], gap, stiffness)


def _facing(points: Floats, between: Integers, piece: Integers) -> tuple[Integers, Integers] | None:
    """Pairs of points of a layer's cells on two pieces, each with the nearest on the other side.

    Two posts on one chord both border the layer, but no cell of it lies between them.
    """
    from scipy.spatial import cKDTree

    below, above = [], []
    layer, borders = np.unique(between), piece[between]
    for one in range(piece.max() + 1):
        for two in range(one + 1, piece.max() + 1):
            if not ((borders == one).any(axis=1) & (borders == two).any(axis=1)).any():
                continue
            faces = [layer[piece[layer] == k] for k in (one, two)]
            near, at = cKDTree(points[faces[0]]).query(points[faces[1]])
            close = near <= 1.5 * near.min()  # beyond it lies the filler beside the land
            below.append(faces[0][at[close]])
            above.append(faces[1][close])
    return (np.concatenate(below), np.concatenate(above)) if below else None


def _pieces(count: int, cells: Integers) -> Integers:
    """Number of the separate piece each displacement point belongs to, -1 for none, (N,)."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    links = np.repeat(cells[:, :1], cells.shape[1] - 1, axis=1).ravel()
    graph = coo_matrix((np.ones(links.size), (links, cells[:, 1:].ravel())), (count, count))
    label = connected_components(graph, directed=False)[1]
    out = np.full(count, -1)
    body = np.unique(cells)
    out[body] = np.unique(label[body], return_inverse=True)[1]
    return out
