"""Which metal is there and which is laid by what: filler, tacks, and the open land between pieces.

Bound once to a mesh. Filler is told by the names of the mesh's regions (`joints.common.Filler`),
its order by how far along its seam it lies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldsim.joints.kit import Filler
from weldsim.joints.registry import joint_kind
from weldsim.physics.mechanics import Contact

CONTACT_DEPTH = 0.5e-3  # m; faces that touch are as stiff as a wall this thick


@dataclass(frozen=True)
class Activation:
    """When each heat cell joins. Shapes: H heat cells, W welds.

    Attributes
    ----------
    weld : (R, H) numbers of the welds that may lay a cell, W for none; a row for each, since seams
        meet and a seam welds over its tacks
    place : (R, H) how far along that weld it lies; -inf for metal that is there from the start,
        inf for land that stays open [m]
    base_points : for each weld, lattice points where its bead sits on metal that is there
    middle_points : for each weld, the one of them nearest to its middle
    riders, carriers : lattice points of filler alone, and the points of the part they are drawn on
    """

    weld: np.ndarray
    place: np.ndarray
    base_points: list
    middle_points: list
    riders: np.ndarray
    carriers: np.ndarray

    @classmethod
    def of(cls, case, part, seams) -> Activation:
        """Bind the welds of a case to its mesh."""
        lattice, parent = part.lattice, part.heat_parent
        middles = lattice.points[lattice.heat_cells].mean(axis=1)
        count = len(parent)
        base = np.isin(parent, part.regions["part"])
        for tack in case.tacks:
            if not tack.arc:
                base[tacked(case, part, middles, tack)] = True
        owned = [activated_by(case, part, middles, w) for w in case.welds]
        weld, place = _order(case, part, seams, owned, count)
        place[:, base] = -np.inf
        body = np.unique(lattice.heat_cells[base])
        feet, amid = [], []
        for spec, cells, seam in zip(case.welds, owned, seams, strict=True):
            foot = np.intersect1d(np.unique(lattice.heat_cells[cells]), body)
            if foot.size == 0:  # heat without filler, or a bead on beads
                away = seam_distance(seam, lattice.points[body])
                foot = body[away <= max(spec.half_width, away.min() * 1.001)]
            feet.append(foot)
            off = np.linalg.norm(lattice.points[foot] - seam.middle, axis=1)
            amid.append(int(foot[np.argmin(off)]))
        return cls(weld, place, feet, amid, *_riders(lattice, base, body))

    def passed(self, reached) -> np.ndarray:
        """Cells of the part and of filler that lies before `reached` (W,) [m], (H,) bool."""
        return (self.place <= np.append(reached, -np.inf)[self.weld]).any(axis=0)


def _order(case, part, seams, owned, count):
    """Welds that lay each cell and the places along them, rows filled from the top."""
    active = sum((np.bincount(c, minlength=count) for c in owned), np.zeros(count, dtype=int))
    rows = max(1, int(active.max(initial=0)))
    weld = np.full((rows, count), len(case.welds))
    place = np.full((rows, count), np.inf)
    filled = np.zeros(count, dtype=np.int64)
    mesh = part.mesh
    middle = mesh.p[:, mesh.t].mean(axis=1).T[part.heat_parent]  # children join with their cell
    for i, (cells, seam) in enumerate(zip(owned, seams, strict=True)):
        weld[filled[cells], cells] = i
        # an end that overhangs, such as a mitre, is laid with the end itself
        along = seam.local(middle[cells])[0]
        place[filled[cells], cells] = np.clip(along, 0.0, seam.length)
        filled[cells] += 1
    return weld, place


def _riders(lattice, base, body):
    from scipy.spatial import cKDTree

    loose = np.setdiff1d(np.unique(lattice.heat_cells[~base]), body)
    if not loose.size:
        return loose, loose
    return loose, body[cKDTree(lattice.points[body]).query(lattice.points[loose])[1]]


def filler_of(case, part, middles, seam: str, number: int | None = None) -> np.ndarray:
    """Heat cells of a seam's filler: of a pass, or of all; of a root what it fuses."""
    module = joint_kind(case.part.kind)
    cells = [np.empty(0, dtype=np.int64)]
    for region, members in part.regions.items():
        filler = Filler.of(region)
        if not filler or seam not in filler.seams or filler.number != (number or filler.number):
            continue
        found = np.flatnonzero(np.isin(part.heat_parent, members))
        if filler.partly:
            found = found[module.fused(case.part, seam, middles[found])]
        cells.append(found)
    return np.concatenate(cells)


def _whole(case, seam: str):
    """Line of a seam, and the whole of it as a seam: places are counted on it, not on a pass."""
    line = joint_kind(case.part.kind).seam_lines(case.part)[seam]
    return line, replace(line, offsets=()).cut(0.0, line.length, 1)


def activated_by(case, part, middles, weld) -> np.ndarray:
    """Heat cells of filler that a weld lays."""
    if weld.tack >= 0:
        return tacked(case, part, middles, case.tacks[weld.tack])
    if not weld.filler:
        return np.empty(0, dtype=np.int64)
    cells, along = along_seam(case, part, middles, weld.seam, weld.number)
    line, _ = _whole(case, weld.seam)
    low = -np.inf if weld.begin <= 1e-9 else weld.begin
    high = np.inf if weld.finish >= line.length - 1e-9 else weld.finish
    return cells[(along >= low - 1e-9) & (along < high - 1e-9)]


def along_seam(case, part, middles, seam: str, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Heat cells of a pass's filler, and how far along the seam their middles lie. [m]"""
    cells, (_, whole) = filler_of(case, part, middles, seam, number), _whole(case, seam)
    return cells, whole.local(middles[cells])[0]


def tacked(case, part, middles, tack) -> np.ndarray:
    """Heat cells of a tack: filler as near to the root as the tack is large, over its length."""
    line, whole = _whole(case, tack.seam)
    cells = filler_of(case, part, middles, tack.seam)
    along, across, inward = whole.local(middles[cells])
    on = (along >= tack.begin - 1e-9) & (along <= tack.finish + 1e-9)
    cells, across, inward = cells[on], across[on], inward[on]
    deep = np.hypot(across, inward - line.to_root)
    return cells[deep <= max(tack.size, 1.001 * deep.min(initial=np.inf))]


def seam_distance(seam, points) -> np.ndarray:
    """Distance of points (P, 3) from a seam, (P,). [m]"""
    along, across, depth = seam.local(points)
    past = np.maximum(np.maximum(-along, along - seam.length), 0)
    return np.sqrt(past**2 + across**2 + depth**2)


def land_contact(case, part, weight, material) -> Contact | None:
    """Pairs of points that face each other across the land and may touch; None without a land.

    Parameters
    ----------
    weight : ndarray, shape (C, Q)
        Volumes at the quadrature points of the mechanics. [m3]
    """
    from scipy.spatial import cKDTree

    lattice, cells = part.lattice, part.lattice.displacement_cells
    kinds = {region: region.split()[0] for region in part.regions}
    land = [np.asarray(m) for r, m in part.regions.items() if kinds[r] in ("land", "root")]
    if not land:
        return None
    fused = [np.asarray(m) for r, m in part.regions.items() if kinds[r] == "fill"]
    layer = np.unique(cells[np.concatenate([*land, *fused])])
    piece = _pieces(lattice.displacement_points, cells[part.regions["part"]])
    points, below, above = lattice.points, [], []
    for one in range(piece.max() + 1):
        for two in range(one + 1, piece.max() + 1):
            faces = [layer[piece[layer] == k] for k in (one, two)]
            if not all(f.size for f in faces):
                continue
            near, at = cKDTree(points[faces[0]]).query(points[faces[1]])
            close = near <= 1.5 * near.min()  # beyond it lies the filler beside the land
            below.append(faces[0][at[close]])
            above.append(faces[1][close])
    if not below:
        return None
    below, above = np.concatenate(below), np.concatenate(above)
    apart = points[above] - points[below]
    height = np.linalg.norm(apart, axis=1)
    stated = getattr(case.part, "root_gap", None)
    gap = height if stated is None else np.full(len(height), stated)
    area = weight[np.concatenate(land)].sum() / height.mean()
    young = np.interp(293.15, *material.table("youngs_modulus"))
    stiffness = np.full(len(height), young * area / len(height) / CONTACT_DEPTH)
    return Contact(below, above, apart / height[:, None], gap, stiffness)


def _pieces(count: int, cells) -> np.ndarray:
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
