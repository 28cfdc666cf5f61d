"""Arrays that the compiled mechanics works on, grouped by what they are about."""

from __future__ import annotations

from typing import NamedTuple

from weldsim.physics.arrays import Floats, Integers


class CellArrays(NamedTuple):
    """Cells and where they go in the system matrix. C cells of n points, Q quadrature points.

    Attributes
    ----------
    order, starts : ndarray of int, shapes (C,) and (colours + 1,)
        Cells sorted by colour and the start of each colour.
    cells : ndarray of int, shape (C, n)
        Points of each cell.
    slot : ndarray of int, shape (C, pairs)
        Place of each pair of points in its block row, see `SymmetricPattern`.
    indptr : ndarray of int, shape (3 N + 1,)
        Start of each row.
    grad : ndarray, shape (C, Q, 3, n)
        Gradients of the shape functions. [1/m]
    mean_grad : ndarray, shape (C, 3, n) or (0, 3, n)
        Their means over each cell, for mean dilatation. [1/m]
    weight : ndarray, shape (C, Q)
        Volumes. [m3]
    """

    order: Integers
    starts: Integers
    cells: Integers
    slot: Integers
    indptr: Integers
    grad: Floats
    mean_grad: Floats
    weight: Floats


class PointArrays(NamedTuple):
    """Properties at the quadrature points, and what the metal remembers there.

    Attributes
    ----------
    bulk, shear, yield_stress, isotropic, kinematic : ndarray, shape (C, Q)
        [Pa]
    thermal_strain : ndarray, shape (C, Q)
        [1]
    reference_strain, plastic_strain : ndarray, shape (C, Q, 6)
        [1]
    equivalent_plastic_strain : ndarray, shape (C, Q)
        [1]
    """

    bulk: Floats
    shear: Floats
    yield_stress: Floats
    isotropic: Floats
    kinematic: Floats
    thermal_strain: Floats
    reference_strain: Floats
    plastic_strain: Floats
    equivalent_plastic_strain: Floats


class ResponseArrays(NamedTuple):
    """What a pass writes.

    Attributes
    ----------
    data : ndarray, shape (nnz,)
        Tangent, added to. [N/m]
    force : ndarray, shape (N, 3)
        Inner force, added to. [N]
    stress : ndarray, shape (C, Q, 6)
        [Pa]
    plastic_strain, equivalent_plastic_strain : ndarray, shapes (C, Q, 6) and (C, Q)
        After the step. [1]
    """

    data: Floats
    force: Floats
    stress: Floats
    plastic_strain: Floats
    equivalent_plastic_strain: Floats
