"""The cells of a part on the card: one pass gives force and tangent, and nothing comes back."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from weldsim.errors import SetupError
from weldsim.physics.arrays import Floats
from weldsim.physics.contact import BoundContact
from weldsim.physics.gpu.bearing import BearingPairs, BearingTable
from weldsim.physics.gpu.card import (
    Recorded,
    array_module,
    on_card,
    on_host,
    simulated,
    view,
    viewed,
)
from weldsim.physics.gpu.cudss import CardSolver
from weldsim.physics.gpu.gathering import Gathering, blocks, gathering
from weldsim.physics.gpu.kernels import gather, grid
from weldsim.physics.gpu.mechanics_kernels import (
    FORCE_THREADS,
    TANGENT_THREADS,
    cell_kernel,
    gather_blocks,
)
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.springs import Spring
from weldsim.physics.symmetric_pattern import SymmetricPattern
from weldsim.physics.table import BoundTable

METAL = (
    "bulk",
    "shear",
    "yield_stress",
    "isotropic",
    "kinematic",
    "thermal_strain",
)  # of a point, in the order of the kernel; fmt: skip


class CardSpring(NamedTuple):
    """An elastic clamp on the card, see `springs.Spring`.

    Attributes
    ----------
    unknowns : array of int, shape (3 P,)
        Of its points.
    mean : array, shape (6, 3 P)
        Map from their displacement to shift and turn.
    stiffness, anchor : array, shape (6,)
        [N/m, N m/rad], [m, rad]
    """

    unknowns: Any
    mean: Any
    stiffness: Any
    anchor: Any

    @classmethod
    def of(cls, spring: Spring) -> CardSpring:
        """Take a spring to the card.

        Parameters
        ----------
        spring : Spring
            On the host.

        Returns
        -------
        CardSpring
            The same.
        """
        return cls(
            on_card(spring.unknowns), on_card(spring.mean), on_card(spring.stiffness),
            on_card(spring.anchor),
        )  # fmt: skip

    def force(self, u: Any) -> Any:
        """Force on its unknowns.

        Parameters
        ----------
        u : array, shape (3 N,)
            Displacement. [m]

        Returns
        -------
        array, shape (3 P,)
            [N]
        """
        stretch = self.anchor - self.mean @ u[self.unknowns]
        return self.mean.T @ (self.stiffness * stretch)


class CardMechanics:
    """Buffers on the card for one part; holds what the last pass left.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the tangent.
    grad : ndarray, shape (C, Q, 3, n)
        Gradients of the shape functions. [1/m]
    weight : ndarray, shape (C, Q)
        Volumes at the quadrature points. [m3]
    bound_contact : BoundContact, optional
        Faces that may touch.

    Attributes
    ----------
    solver : CardSolver
        Of the tangent.
    """

    def __init__(
        self,
        pattern: SymmetricPattern,
        grad: Floats,
        weight: Floats,
        bound_contact: BoundContact | None = None,
    ) -> None:
        xp = array_module()
        cells, quadrature, _, n = grad.shape
        if n not in (10, 20):
            raise SetupError("device gpu: cells of 10 or 20 points only")
        pairs = n * (n + 1) // 2
        if 2 * cells * pairs >= 2**31:
            raise SetupError("device gpu: the part is too large for 32-bit numbers of its terms")
        self.pattern, self.solver = pattern, CardSolver(pattern)
        self.shape, self._n = (cells, quadrature), n
        point, tensor = (cells, quadrature), (cells, quadrature, 6)
        self._buffers: dict[str, Any] = {name: xp.zeros(point) for name in METAL}
        self._buffers |= {
            "reference_strain": xp.zeros(tensor), "plastic_strain": xp.zeros(tensor),
            "equivalent_plastic_strain": xp.zeros(point), "stress": xp.zeros(tensor),
            "new_plastic_strain": xp.zeros(tensor), "new_equivalent": xp.zeros(point),
            "cell_force": xp.zeros((cells, 3, n)), "cell_matrix": xp.zeros((cells, pairs, 9)),
            "u": xp.zeros((pattern.nodes, 3)), "force": xp.zeros(pattern.size),
        }  # fmt: skip
        fixed = {
            "cells": on_card(pattern.cells), "grad": on_card(grad), "weight": on_card(weight),
            "pairs": on_card(np.array(np.triu_indices(n), dtype=np.int32)),
        }  # fmt: skip
        self._keep = fixed
        self._views = {k: view(v) for k, v in (self._buffers | fixed).items()}
        self._flat = {
            "cell_force": view(self._buffers["cell_force"].reshape(-1)),
            "cell_matrix": view(self._buffers["cell_matrix"].reshape(-1, 9)),
        }
        self._blocks, self._blocks_kept = viewed(blocks(pattern))
        self._forces, self._forces_kept = viewed(_cell_forces(pattern))
        self._threads = (8, 8) if simulated() else (FORCE_THREADS, TANGENT_THREADS)
        self._bearing: list[BearingPairs | BearingTable] = []
        if bound_contact is not None:
            self._bearing.append(BearingPairs(bound_contact))
        self._passes = self._recorded()

    def resting(self, bound_table: BoundTable) -> CardMechanics:
        """The same cells on a table.

        Parameters
        ----------
        bound_table : BoundTable
            That pushes on some of their points.

        Returns
        -------
        CardMechanics
            Sharing buffers and solver with this one: a pass of the one overwrites the other's.
        """
        out = copy(self)
        out._bearing = [*self._bearing, BearingTable(bound_table)]
        out._passes = out._recorded()
        return out

    def _recorded(self) -> list[Recorded]:
        return [Recorded(partial(self._launch, tangent)) for tangent in (False, True)]

    def load(self, properties: Properties, memory: InternalVariables) -> None:
        """Take what a step begins with to the card.

        Parameters
        ----------
        properties : Properties
            At the end of the step.
        memory : InternalVariables
            At its start.
        """
        names = ("reference_strain", "plastic_strain", "equivalent_plastic_strain")
        for name in METAL:
            _copy(self._buffers[name], getattr(properties, name))
        for name in names:
            _copy(self._buffers[name], getattr(memory, name))

    def evaluate(self, u: Any, springs: Sequence[CardSpring], tangent: bool = False) -> Any:
        """One pass over all cells.

        Parameters
        ----------
        u : array, shape (3 N,)
            Displacement. [m]
        springs : sequence of CardSpring
            Elastic clamps that are closed.
        tangent : bool
            Whether the tangent of metal and of what bears on it is to be left in `solver.data`.

        Returns
        -------
        array, shape (3 N,)
            Inner force, springs counted in; of the caller. [N]
        """
        self._buffers["u"][...] = u.reshape(-1, 3)
        self._passes[tangent]()
        force = self._buffers["force"].copy()
        for s in springs:
            force[s.unknowns] -= s.force(u)
        return force

    def _launch(self, tangent: bool, stream: Any) -> None:
        """The kernels of a pass."""
        v = self._views
        cells, quadrature = self.shape
        kernel = cell_kernel(self._n, quadrature, tangent)
        kernel[cells, self._threads[tangent], stream](
            v["cells"], v["pairs"], v["grad"], v["weight"], v["u"], *(v[m] for m in METAL),
            v["reference_strain"], v["plastic_strain"], v["equivalent_plastic_strain"],
            v["stress"], v["new_plastic_strain"], v["new_equivalent"], v["cell_force"],
            v["cell_matrix"],
        )  # fmt: skip
        size = grid(self.pattern.size, stream)
        gather[size](*self._forces, self._flat["cell_force"], v["force"])
        if tangent:
            gather_blocks[grid(9 * len(self._blocks[0]), stream)](
                *self._blocks, self.solver.indptr_view, self._flat["cell_matrix"],
                self.solver.values,
            )  # fmt: skip
        for bearing in self._bearing:
            bearing.add(v["u"], v["force"], self.solver.values if tangent else None, stream)

    @property
    def squared_cell_forces(self) -> Any:
        """Sum of the squares of the cells' forces in the last pass, of shape (). [N2]"""
        flat = self._buffers["cell_force"].reshape(-1)
        return flat @ flat

    def answer(self) -> tuple[Floats, Floats, Floats]:
        """What the last pass left at the quadrature points, on the host.

        Returns
        -------
        stress, plastic_strain : ndarray, each shape (C, Q, 6)
            [Pa, 1]
        equivalent_plastic_strain : ndarray, shape (C, Q)
            [1]
        """
        names = ("stress", "new_plastic_strain", "new_equivalent")
        stress, plastic, equivalent = (on_host(self._buffers[k]) for k in names)
        return stress, plastic, equivalent


def _cell_forces(pattern: SymmetricPattern) -> Gathering:
    """From the cells' forces (C, 3, n) to those of the points (3 N,)."""
    cells = pattern.cells
    count, n = cells.shape
    target = 3 * cells[:, None, :].astype(np.int64) + np.arange(3)[None, :, None]
    return gathering(target.ravel(), np.arange(target.size), np.ones(target.size))


def _copy(to: Any, values: Floats) -> None:
    """Copy from the host into memory on the card."""
    if isinstance(to, np.ndarray):
        to[...] = values
    else:
        to.set(np.ascontiguousarray(values, dtype=np.float64))
