"""Small bodies, loads and constant materials for the mechanical checks. Any consistent units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.geometry.lattice import build_lattice
from weldsim.physics.equilibrium import accept, solve_equilibrium
from weldsim.physics.mechanics_model import ELEMENTS, MechanicsModel
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.rigid_motion import minimal_supports


@dataclass(frozen=True)
class Body:
    """A mesh bound to its mechanics; `at` are the quadrature points, shape (C, Q, 3)."""

    mesh: object
    model: MechanicsModel
    local: np.ndarray
    at: np.ndarray

    @property
    def points(self) -> np.ndarray:
        return self.model.points

    @property
    def volume(self) -> np.ndarray:
        return self.model.weight

    def on(self, axis: int, value: float) -> np.ndarray:
        """Mask (N,) of the points on a plane."""
        span = np.ptp(self.points, axis=0).max()
        return np.abs(self.points[:, axis] - value) < 1e-9 * span

    def nearest(self, point) -> int:
        return int(np.argmin(np.linalg.norm(self.points - np.asarray(point), axis=1)))

    def free(self) -> np.ndarray:
        """Supports that stop rigid motion only."""
        return minimal_supports(self.points)

    def virgin(self) -> InternalVariables:
        return InternalVariables.virgin(*self.model.shape_counts)

    def still(self) -> np.ndarray:
        return np.zeros_like(self.points)


def body_of(mesh, element: str = "brick20") -> Body:
    """Bind a scikit-fem mesh to an element."""
    lattice = build_lattice(mesh)
    use = lattice.displacement_local
    count = lattice.displacement_points
    if element == "brick8":
        use = np.flatnonzero(np.all(lattice.local % 1 == 0, axis=1))
        count = mesh.p.shape[1]
    cells, local = lattice.corner_cells[:, use], lattice.local[use]
    model = MechanicsModel.of(mesh, cells, local, lattice.points[:count], element, threads=1)
    at = np.moveaxis(mesh.mapping().F(model.quadrature.T), 0, -1)
    return Body(mesh, model, local, at)


def box(xs, ys, zs, element: str = "brick20") -> Body:
    """A block on a grid of plane coordinates; numbers mean that many equal cells of size one."""
    import skfem

    grid = [np.arange(s + 1.0) if np.isscalar(s) else np.asarray(s, float) for s in (xs, ys, zs)]
    kind = skfem.MeshTet if element == "tet10" else skfem.MeshHex
    return body_of(kind.init_tensor(*grid), element)


def mapped(mesh, move, element: str = "brick20") -> Body:
    """A body whose corners (3, P) are sent to `move(p)`."""
    return body_of(type(mesh)(np.ascontiguousarray(move(mesh.p)), mesh.t.copy()), element)


def quarter_ring(inner, outer, radial=8, around=8, depth=None, element="brick20") -> Body:
    """A quarter of a ring about z between x = 0 and y = 0, cells growing with radius, one deep."""
    import skfem

    r = np.geomspace(inner, outer, radial + 1)
    angle = np.linspace(0, np.pi / 2, around + 1)
    z = np.array([0.0, depth or inner / 5])
    kind = skfem.MeshTet if element == "tet10" else skfem.MeshHex
    flat = kind.init_tensor(r, angle, z)

    def bend(p):
        return np.array([p[0] * np.cos(p[1]), p[0] * np.sin(p[1]), p[2]])

    return mapped(flat, bend, element)


def elastic(body: Body, modulus=210e3, poisson=0.3, thermal=0.0, yield_stress=np.inf,
            isotropic=0.0, kinematic=0.0) -> Properties:  # fmt: skip
    """Properties from numbers or arrays that broadcast to (C, Q)."""
    shape = body.model.shape_counts

    def full(value):
        return np.ascontiguousarray(np.broadcast_to(np.asarray(value, float), shape))

    modulus, poisson = full(modulus), full(poisson)
    return Properties(
        modulus / (3 * (1 - 2 * poisson)),
        modulus / (2 * (1 + poisson)),
        full(yield_stress),
        full(isotropic),
        full(kinematic),
        full(thermal),
    )


def inherent(body: Body, strain, axis: int) -> InternalVariables:
    """Memory with an imposed stress-free strain (C, Q) along one axis."""
    internal_variables = body.virgin()
    reference = internal_variables.reference_strain.copy()
    reference[:, :, axis] = strain
    return InternalVariables(
        internal_variables.plastic_strain, internal_variables.equivalent_plastic_strain, reference
    )


def solve(
    body: Body, properties, fixed, u=None, internal_variables=None, prescribed=None, load=None
):
    """Equilibrium from rest unless told otherwise."""
    u = body.still() if u is None else u
    internal_variables = body.virgin() if internal_variables is None else internal_variables
    return solve_equilibrium(body.model, u, properties, internal_variables, fixed, prescribed, load)


def follow(body: Body, steps, fixed, u=None, internal_variables=None):
    """Equilibrium through a list of properties; yields (found, memory) after every step."""
    u = body.still() if u is None else u
    internal_variables = body.virgin() if internal_variables is None else internal_variables
    none = np.zeros(body.model.shape_counts, dtype=bool)
    for properties in steps:
        found = solve_equilibrium(body.model, u, properties, internal_variables, fixed)
        internal_variables, _ = accept(body.model, found, properties, internal_variables, none)
        u = found.displacement
        yield found, internal_variables


def surface_load(body: Body, facets, traction) -> np.ndarray:
    """Nodal forces (N, 3) of a traction (3,) or, given a number, a pressure on facets."""
    import skfem

    kind = getattr(skfem, ELEMENTS[body.model.element][0])()
    basis = skfem.FacetBasis(body.mesh, kind, facets=facets, intorder=4)
    seat = [int(np.argmin(np.abs(kind.doflocs - p).sum(axis=1))) for p in body.local]
    if np.ndim(traction) == 0:
        push = -float(traction) * np.asarray(basis.normals)
    else:
        push = np.broadcast_to(np.asarray(traction, float)[:, None, None], basis.normals.shape)
    cells = body.model.cells[np.asarray(basis.tind)]
    out = body.still()
    for k, a in enumerate(seat):
        value = np.asarray(basis.basis[a][0]) * basis.dx
        np.add.at(out, cells[:, k], np.einsum("fq,ifq->fi", value, push))
    return out


def facets_where(body: Body, test) -> np.ndarray:
    """Outer facets whose corner points all pass `test(points (3, ...))`."""
    outer = body.mesh.boundary_facets()
    return outer[np.all(test(body.mesh.p[:, body.mesh.facets[:, outer]]), axis=0)]


def mises(stress) -> np.ndarray:
    """Equivalent stress of (..., 6)."""
    mean = stress[..., :3].mean(axis=-1, keepdims=True)
    normal = ((stress[..., :3] - mean) ** 2).sum(axis=-1)
    return np.sqrt(1.5 * (normal + 2 * (stress[..., 3:] ** 2).sum(axis=-1)))


def rigid_part(points, displacement) -> np.ndarray:
    """The small rigid motion that fits a displacement best, at the points."""
    x, y, z = (points - points.mean(axis=0)).T
    o = np.zeros_like(x)
    i = np.ones_like(x)
    modes = np.array(
        [[i, o, o], [o, i, o], [o, o, i], [-y, x, o], [o, -z, y], [z, o, -x]]
    )  # (6, 3, N)
    flat = modes.transpose(0, 2, 1).reshape(6, -1).T
    return (flat @ np.linalg.lstsq(flat, displacement.ravel(), rcond=None)[0]).reshape(-1, 3)


def curvature(points, displacement, along=0, across=2, where=slice(None)) -> float:
    """Second derivative of the displacement `across` along an axis, from a parabola."""
    return 2 * np.polyfit(points[where][:, along], displacement[where][:, across], 2)[0]
