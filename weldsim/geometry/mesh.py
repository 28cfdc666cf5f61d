"""Gmsh meshes with checked names, and the finer lattice the temperature lives on.

Displacement is quadratic on each cell; temperature is linear on the cell's eight children. The
children's points are the lattice of half steps in the cell, so the displacement points (corners
and edge middles of 20-node bricks, or all 10 points of quadratic tetrahedra) are a subset of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from weldsim.errors import MeshError
from weldsim.system.signals import kept_signals


@dataclass(frozen=True)
class Grade:
    """How fine a run is in space and time.

    Attributes
    ----------
    bead_cells : cells across a bead
    travel_cell : cell length along the travel, in bead widths
    through_cells : cells through a wall at the weld
    growth : growth of cell size with distance from the bead, mm per mm
    coarsest : largest cell, in bead widths
    torch_step : travel of the torch in one step, in bead widths
    heat_substeps : heat steps in one mechanics step
    rest_growth : length of a step after the arc as a share of the time since it stopped
    balance : residual force over the size of the cell forces that counts as equilibrium, that of
        `mechanical` when None
    """

    name: str
    bead_cells: int
    travel_cell: float
    through_cells: int
    growth: float
    coarsest: float
    torch_step: float
    heat_substeps: int
    rest_growth: float
    balance: float | None = None


GRADES = {
    # for ranking many schedules
    "sketch": Grade("sketch", 1, 1.20, 1, 1.00, 5.0, 0.90, 1, 0.40, 1e-3),
    "coarse": Grade("coarse", 2, 0.80, 1, 0.60, 3.0, 0.40, 1, 0.30, 1e-4),
    "quick": Grade("quick", 2, 0.50, 1, 0.40, 2.5, 0.25, 2, 0.20),
    "normal": Grade("normal", 4, 0.33, 2, 0.30, 2.0, 0.15, 2, 0.15),
    "fine": Grade("fine", 8, 0.165, 4, 0.15, 1.0, 0.075, 2, 0.075),
}


@dataclass(frozen=True)
class Blocks:
    """A part as eight-cornered blocks with shared corners.

    Attributes
    ----------
    points : ndarray, shape (P, 3) [m]
    blocks : list of (eight point numbers in Gmsh order, region name)
    divisions : (low point, high point) -> (cells, size ratio from low to high)
    faces : frozenset of four point numbers -> boundary name
    volumes : region name -> volume by formula [m3]
    move : points (P, 3) -> where they lie on the real part; blocks may be laid out flat
    tolerance : relative error the volumes may have; curved walls are meshed as chords
    """

    points: np.ndarray
    blocks: list
    divisions: Mapping
    faces: Mapping
    volumes: Mapping[str, float]
    move: Callable | None = None
    tolerance: float = 1e-6


@dataclass(frozen=True)
class Lattice:
    """Half-step lattice of a mesh: heat points and cells, and where the displacement lives.

    Attributes
    ----------
    points : ndarray, shape (Nh, 3) [m]; corners first, then edges, faces, middles
    corner_cells : ndarray, shape (C, nl): lattice points of each cell in the order of `local`
    local : ndarray, shape (nl, 3): reference coordinates of the lattice points of a cell
    heat_cells : ndarray, shape (H, nc): points of each heat cell, child-major in its parent
    heat_parent : ndarray, shape (H,): cell each heat cell belongs to
    children : ndarray, shape (8, nc): children of a cell as local lattice numbers
    displacement_local : local lattice numbers of the displacement points, in local order
    displacement_points : number of lattice points with displacement (they come first)
    """

    points: np.ndarray
    corner_cells: np.ndarray
    local: np.ndarray
    heat_cells: np.ndarray
    heat_parent: np.ndarray
    children: np.ndarray
    displacement_local: np.ndarray
    displacement_points: int

    @property
    def displacement_cells(self) -> np.ndarray:
        """Displacement points of each cell, shape (C, n)."""
        return self.corner_cells[:, self.displacement_local]


@dataclass(frozen=True)
class Part:
    """Mesh of the joint with its names, ready for heat and mechanics.

    Attributes
    ----------
    mesh : skfem.Mesh of the cells the displacement is quadratic on, names attached
    lattice : Lattice
    regions : name -> cell numbers
    boundaries : name -> lattice point numbers of the outer face's points
    volumes : name -> volume by formula [m3]
    """

    mesh: object
    lattice: Lattice
    regions: Mapping[str, np.ndarray]
    boundaries: Mapping[str, np.ndarray]
    volumes: Mapping[str, float] = field(default_factory=dict)

    @property
    def heat_mesh(self):
        """The heat cells as a scikit-fem mesh (for writing and drawing)."""
        import skfem

        kind = skfem.MeshHex1 if self.lattice.heat_cells.shape[1] == 8 else skfem.MeshTet1
        return kind(self.lattice.points.T.copy(), self.lattice.heat_cells.T.astype(np.int64).copy())

    @property
    def heat_parent(self) -> np.ndarray:
        """Cell number of each heat cell, shape (H,)."""
        return self.lattice.heat_parent


def mesh_blocks(model: Blocks):
    """Mesh blocks with Gmsh and give back a scikit-fem mesh with named regions and boundaries.

    Raises
    ------
    MeshError
        If Gmsh fails, a named region or boundary is empty, or a volume is off by over 1e-6.
    """
    from weldsim.system.libraries import import_gmsh

    import_gmsh()
    import gmsh
    import pygmsh

    with kept_signals(), pygmsh.geo.Geometry() as geometry:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.option.setNumber("General.NumThreads", 1)  # same mesh bit for bit
        _add_blocks(geometry, model)
        try:
            # pygmsh applies its queued names and transfinite counts here; the mesh it gives back
            # numbers cell sets by global tag, so ours is read from Gmsh itself.
            geometry.generate_mesh(dim=3, verbose=False)
        except Exception as error:
            raise MeshError(f"Gmsh could not mesh the part: {error}") from error
        mesh = _read_gmsh(gmsh, model.move)
    check_names(mesh, model.volumes, set(model.faces.values()), model.tolerance)
    return mesh


# Gmsh's corner order: bottom loop 0-3, top loop 4-7; edges by direction and the six faces.
_FACES = [(0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (3, 2, 6, 7), (0, 3, 7, 4), (1, 2, 6, 5)]


def _add_blocks(geometry, model: Blocks) -> None:
    """Points, transfinite lines, faces and volumes of all blocks, each built once."""
    points = [geometry.add_point(p) for p in model.points]
    lines, faces, volumes, named = {}, {}, {}, {}

    def line(a, b):
        low, high = min(a, b), max(a, b)
        if (low, high) not in lines:
            cells, ratio = model.divisions[low, high]
            entity = geometry.add_line(points[low], points[high])
            geometry.set_transfinite_curve(entity, cells + 1, "Progression", ratio)
            lines[low, high] = entity
        return lines[low, high] if a < b else -lines[low, high]

    def face(corners):
        key = frozenset(corners)
        if key not in faces:
            loop = [line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
            entity = geometry.add_surface(geometry.add_curve_loop(loop))
            geometry.set_transfinite_surface(entity, "Left", [points[i] for i in corners])
            geometry.set_recombined_surfaces([entity])
            faces[key] = entity
            if key in model.faces:
                named.setdefault(model.faces[key], []).append(entity)
        return faces[key]

    for corners, region in model.blocks:
        shell = geometry.add_surface_loop([face([corners[i] for i in f]) for f in _FACES])
        volume = geometry.add_volume(shell)
        geometry.set_transfinite_volume(volume, [points[i] for i in corners])
        volumes.setdefault(region, []).append(volume)
    for name, entities in {**volumes, **named}.items():
        geometry.add_physical(entities, name)


def _read_gmsh(gmsh, move=None):
    """Current Gmsh model as a scikit-fem mesh with subdomains and boundaries by name.

    Points that `move` brings to one place become one point: that closes a tube laid out flat.
    """
    import skfem
    from skfem.io.meshio import INV_HEX_MAPPING

    tags, xyz, _ = gmsh.model.mesh.getNodes()
    kinds = gmsh.model.mesh.getElementTypes(3)
    if len(kinds) != 1 or kinds[0] not in (4, 5):
        raise MeshError("the mesh must hold one kind of first-order cell, bricks or tetrahedra")
    cell_tags, flat = gmsh.model.mesh.getElementsByType(kinds[0])
    corners = 8 if kinds[0] == 5 else 4
    flat = flat.reshape(-1, corners).astype(np.int64)
    used = np.unique(flat)  # geometry points that no cell uses are dropped
    number = np.full(int(tags.max()) + 1, -1)
    number[used] = np.arange(used.size)
    place = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    place[tags.astype(np.int64)] = np.arange(tags.size)
    points = xyz.reshape(-1, 3)[place[used]]
    if move is not None:
        points, same = _merge_points(move(points))
        number[used] = same[number[used]]
    t = number[flat].T
    if corners == 8:
        t = t[INV_HEX_MAPPING[:8]]
    mesh = (skfem.MeshHex1 if corners == 8 else skfem.MeshTet1)(points.T.copy(), t.copy())

    cell_of = dict(zip(cell_tags.tolist(), range(len(cell_tags)), strict=True))
    facet_of = {tuple(f): i for i, f in enumerate(np.sort(mesh.facets.T, axis=1).tolist())}
    subdomains, boundaries = {}, {}
    for dim, group in gmsh.model.getPhysicalGroups():
        name = gmsh.model.getPhysicalName(dim, group)
        for entity in gmsh.model.getEntitiesForPhysicalGroup(dim, group):
            for kind, found, nodes in zip(*gmsh.model.mesh.getElements(dim, entity), strict=True):
                if dim == 3:
                    subdomains.setdefault(name, []).extend(cell_of[int(i)] for i in found)
                elif dim == 2:
                    size = gmsh.model.mesh.getElementProperties(kind)[3]
                    quads = np.sort(number[nodes.reshape(-1, size).astype(np.int64)], axis=1)
                    boundaries.setdefault(name, []).extend(facet_of[tuple(f)] for f in quads)

    def arrays(found):
        return {k: np.unique(v).astype(np.int32) for k, v in found.items()}

    return mesh.with_subdomains(arrays(subdomains)).with_boundaries(arrays(boundaries))


def _merge_points(points: np.ndarray, slack: float = 1e-8):
    """Points without doubles, and the new number of each old one. [m]"""
    from scipy.spatial import cKDTree

    same = np.arange(len(points))
    for a, b in sorted(cKDTree(points).query_pairs(slack)):
        same[b] = same[a]
    kept, same = np.unique(same, return_inverse=True)
    return points[kept], same


def cell_volumes(mesh) -> np.ndarray:
    """Volume of every cell, shape (C,). [m3]"""
    import skfem

    element = skfem.ElementHex1() if mesh.t.shape[0] == 8 else skfem.ElementTetP1()
    return skfem.Basis(mesh, element, intorder=3).dx.sum(axis=1)


def _check_shapes(mesh) -> None:
    """Raise `MeshError` unless the map of every cell keeps one sign and is nowhere flat.

    The sign itself says nothing: scikit-fem numbers bricks left-handed.
    """
    corners = mesh.elem.refdom.p
    inner = corners.mean(axis=1, keepdims=True) + 0.58 * (
        corners - corners.mean(axis=1, keepdims=True)
    )
    gradient = np.asarray(mesh.mapping().DF(inner))  # (3, 3, C, Q)
    determinant = np.linalg.det(np.moveaxis(gradient, (0, 1), (2, 3)))
    if not np.any(determinant):
        raise MeshError(f"{len(determinant)} cells of the mesh are turned inside out or flat")
    size = np.abs(determinant).max()
    sign = np.sign(np.median(determinant))
    bad = np.any(sign * determinant <= 1e-9 * size, axis=1)
    if np.any(bad):
        raise MeshError(f"{int(bad.sum())} cells of the mesh are turned inside out or flat")


def check_names(
    mesh, volumes: Mapping[str, float], boundaries: set[str], tolerance: float = 1e-6
) -> None:
    """Raise `MeshError` if a region or boundary is missing or empty, or a volume is wrong."""
    found = mesh.subdomains or {}
    _check_shapes(mesh)
    sizes = cell_volumes(mesh)
    for name, expected in volumes.items():
        if name not in found or len(found[name]) == 0:
            raise MeshError(f"region {name} of the mesh is empty")
        measured = sizes[found[name]].sum()
        if abs(measured - expected) > tolerance * expected:
            raise MeshError(
                f"region {name}: the mesh holds {measured:.6g} m3, the formula {expected:.6g} m3"
            )
    for name in boundaries:
        if name not in (mesh.boundaries or {}) or len(mesh.boundaries[name]) == 0:
            raise MeshError(f"boundary {name} of the mesh is empty")


def build_lattice(mesh) -> Lattice:
    """Half-step lattice of a scikit-fem mesh of bricks (27 points) or tetrahedra (10 points)."""
    corners = mesh.t.shape[0]
    reference = np.round(mesh.elem.refdom.p.T).astype(int)  # (corners, 3) of zeros and ones
    if corners == 8:
        steps = [s for s in product((0, 1, 2), repeat=3)]
        members = [
            [
                c
                for c in range(8)
                if all(s in (1, 2 * r) for s, r in zip(step, reference[c], strict=True))
            ]
            for step in steps
        ]
    else:
        members = [[a] for a in range(4)] + [[a, b] for a in range(4) for b in range(a + 1, 4)]
    members.sort(key=len)
    local = np.array([reference[m].mean(axis=0) for m in members])
    number, points = _number_lattice(mesh, members)
    children = _brick_children(local) if corners == 8 else _tetrahedron_children(members)
    cells = number[:, children].reshape(-1, children.shape[1])
    parent = np.repeat(np.arange(number.shape[0]), children.shape[0])
    keep = np.array([i for i, m in enumerate(members) if len(m) <= 2])
    return Lattice(
        points=points,
        corner_cells=number,
        local=local,
        heat_cells=cells.astype(np.int32),
        heat_parent=parent,
        children=children,
        displacement_local=keep,
        displacement_points=int(number[:, keep].max()) + 1,
    )


def _number_lattice(mesh, members):
    """Global numbers (C, nl) and coordinates of lattice points, one number per set of corners."""
    count = mesh.t.shape[1]
    number = np.empty((count, len(members)), dtype=np.int64)
    points = [mesh.p.T]
    start = mesh.p.shape[1]
    for size in sorted({len(m) for m in members}):
        place = [i for i, m in enumerate(members) if len(m) == size]
        keys = np.stack([np.sort(mesh.t[members[i]], axis=0).T for i in place], axis=1)
        flat = keys.reshape(-1, size)
        if size == 1:
            number[:, place] = keys[:, :, 0]
            continue
        unique, inverse = np.unique(flat, axis=0, return_inverse=True)
        number[:, place] = start + inverse.reshape(count, len(place))
        points.append(mesh.p.T[unique].mean(axis=1))
        start += unique.shape[0]
    return number, np.concatenate(points)


def _brick_children(local: np.ndarray) -> np.ndarray:
    """Eight children of a brick, corners in scikit-fem's order, as local lattice numbers."""
    import skfem

    corner = skfem.MeshHex1().elem.refdom.p.T
    find = {tuple(np.round(2 * p).astype(int)): i for i, p in enumerate(local)}
    return np.array(
        [
            [find[tuple((np.array(o) + np.round(c)).astype(int))] for c in corner]
            for o in product((0, 1), repeat=3)
        ]
    )


def _tetrahedron_children(members) -> np.ndarray:
    """Eight children of a tetrahedron: four at the corners, four around the inner diagonal."""
    find = {tuple(m): i for i, m in enumerate(members)}

    def mid(a, b):
        return find[(a,) if a == b else tuple(sorted((a, b)))]

    at_corners = [[mid(a, b) for b in range(4)] for a in range(4)]
    d = (mid(0, 2), mid(1, 3))  # the diagonal shared by the inner four
    ring = [mid(0, 1), mid(1, 2), mid(2, 3), mid(0, 3)]
    inner = [[d[0], d[1], ring[i], ring[(i + 1) % 4]] for i in range(4)]
    return np.array(at_corners + inner)


def boundary_points(mesh, lattice: Lattice, facets: np.ndarray) -> np.ndarray:
    """Lattice points lying on the given facets of the mesh."""
    out = []
    for facet in facets:
        cell = mesh.f2t[0, facet]
        on = np.isin(mesh.t[:, cell], mesh.facets[:, facet])
        corner_local = mesh.elem.refdom.p.T[on]
        # a lattice point is on the facet if it agrees with the facet's fixed reference plane
        if mesh.t.shape[0] == 8:
            fixed = np.ptp(corner_local, axis=0) == 0
            hit = np.all(lattice.local[:, fixed] == corner_local[0, fixed], axis=1)
        else:
            off = np.flatnonzero(~on)[0]
            bary = np.column_stack([1 - lattice.local.sum(axis=1), lattice.local])
            order = [int(np.argmax(np.r_[1 - p.sum(), p])) for p in mesh.elem.refdom.p.T]
            hit = bary[:, order[off]] == 0
        out.append(lattice.corner_cells[cell, hit])
    return np.unique(np.concatenate(out)) if out else np.empty(0, dtype=np.int64)


def part_from_mesh(mesh, volumes: Mapping[str, float]) -> Part:
    """Attach lattice, regions and boundary points to a named mesh."""
    lattice = build_lattice(mesh)
    boundaries = {
        name: boundary_points(mesh, lattice, facets)
        for name, facets in (mesh.boundaries or {}).items()
    }
    return Part(mesh, lattice, dict(mesh.subdomains or {}), boundaries, dict(volumes))


def build_part(case, grade: str | None = None) -> Part:
    """Mesh the joint of a case at a grade (the case's own when left out)."""
    from weldsim.joints.registry import blocks_of, joint_module, lean_of

    level, module = GRADES[grade or case.solve.grade], joint_module(case.part.kind)
    if hasattr(module, "mesh"):
        mesh, volumes = module.mesh(case, level)
    else:
        model = blocks_of(case, level)
        mesh, volumes = mesh_blocks(model), model.volumes
    if any(case.preset):
        from dataclasses import replace

        mesh = replace(mesh, doflocs=mesh.p + lean_of(case, mesh.p.T).T)
    return part_from_mesh(mesh, volumes)
