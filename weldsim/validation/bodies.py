"""Small bodies of 20-node bricks with one metal, and steps through temperatures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.geometry.lattice import build_lattice
from weldsim.physics.equilibrium import Equilibrium, accept, solve_equilibrium
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.plasticity import InternalVariables, Properties


@dataclass(frozen=True)
class Body:
    """A mesh bound to its mechanics.

    Attributes
    ----------
    mesh : skfem mesh
        Bricks.
    model : MechanicsModel
        Of them.
    at : ndarray, shape (C, Q, 3)
        Quadrature points. [m]
    """

    mesh: object
    model: MechanicsModel
    at: np.ndarray

    @property
    def points(self) -> np.ndarray:
        """Displacement points, (N, 3). [m]"""
        return self.model.points

    def on(self, axis: int, value: float) -> np.ndarray:
        """Mask (N,) of the points on a plane across an axis."""
        span = np.ptp(self.points, axis=0).max()
        return np.abs(self.points[:, axis] - value) < 1e-9 * span

    def virgin(self) -> InternalVariables:
        """Metal that nothing has happened to."""
        return InternalVariables.virgin(*self.model.shape_counts)


def bricks(mesh) -> Body:
    """20-node bricks on a scikit-fem mesh of hexahedra."""
    lattice = build_lattice(mesh)
    use = lattice.displacement_local
    points = lattice.points[: lattice.displacement_points]
    model = MechanicsModel.of(
        mesh, lattice.corner_cells[:, use], lattice.local[use], points, "brick20", threads=1
    )
    return Body(mesh, model, np.moveaxis(mesh.mapping().F(model.quadrature.T), 0, -1))


def box(x, y, z) -> Body:
    """A block with these grid lines. [m]"""
    import skfem

    return bricks(skfem.MeshHex1.init_tensor(*(np.asarray(a, float) for a in (x, y, z))))


def constant(body: Body, modulus: float, poisson: float, thermal, yield_stress) -> Properties:
    """Properties from numbers, or arrays that broadcast to (C, Q), without hardening. [Pa, 1]"""
    shape = body.model.shape_counts

    def full(value):
        return np.ascontiguousarray(np.broadcast_to(np.asarray(value, float), shape))

    modulus = full(modulus)
    return Properties(
        modulus / (3 * (1 - 2 * poisson)), modulus / (2 * (1 + poisson)), full(yield_stress),
        full(0.0), full(0.0), full(thermal),
    )  # fmt: skip


def step(
    body: Body, u: np.ndarray, memory: InternalVariables, law: Properties, fixed: np.ndarray
) -> tuple[Equilibrium, InternalVariables]:
    """Equilibrium at new properties, accepted."""
    found = solve_equilibrium(body.model, u, law, memory, fixed)
    none = np.zeros(body.model.shape_counts, dtype=bool)
    return found, accept(body.model, found, law, memory, none)[0]
