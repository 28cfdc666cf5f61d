"""Compiled mechanics: the law of one point, and the pass over all cells that uses it.

Loops over cells that write to shared rows run colour by colour: cells of one colour share no node,
so threads never meet. What is called for every point is inlined into the pass, which is why the
pass is one function and the others take numbers and tuples: a call there would cost more than it
computes. Strains are in the order xx yy zz xy yz xz with tensor (not engineering) shears.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba import njit, prange

from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.kernel_arrays import CellArrays, PointArrays, ResponseArrays

ROOT_1_5 = math.sqrt(1.5)
FAST_MATH = {"contract", "reassoc", "nsz", "arcp"}  # not those that assume there is no inf or nan


@njit(inline="always")
def stress_update(
    strain: Any, bulk: float, shear: float, yield_stress: float, isotropic: float,
    kinematic: float, plastic: Any, equivalent: float,
) -> Any:  # fmt: skip
    """Law of one point: stress by radial return, and what its tangent is made of.

    Parameters
    ----------
    strain : six floats
        Total less thermal, reference and plastic strain. [1]
    bulk, shear, yield_stress, isotropic, kinematic : float
        Moduli of elasticity and hardening, and yield stress, which may be infinite. [Pa]
    plastic : six floats
        Plastic strain at the start of the step. [1]
    equivalent : float
        Equivalent plastic strain at the start of the step. [1]

    Returns
    -------
    deviator : six floats
        Deviatoric stress. [Pa]
    mean : float
        Mean stress. [Pa]
    plastic : six floats
        Plastic strain after the step. [1]
    equivalent : float
        Equivalent plastic strain after the step. [1]
    normal : six floats
        Direction of the flow, of length one; of no meaning in an elastic step.
    theta, theta_bar : float
        Shares of the tangent K 1x1 + 2 G theta Idev - 2 G theta_bar n x n.

    Notes
    -----
    J2 with linear isotropic and kinematic (Prager) hardening, back stress 2/3 of the kinematic
    modulus times the plastic strain. Consistent tangent: Simo and Hughes, Computational
    Inelasticity (1998), box 3.2. Numbers and tuples only: `gpu.mechanics_kernels` compiles the
    same function for a card.
    """
    exx, eyy, ezz, exy, eyz, exz = strain
    pxx, pyy, pzz, pxy, pyz, pxz = plastic
    trace = exx + eyy + ezz
    two = 2.0 * shear
    back = kinematic * 2.0 / 3.0
    sxx = two * (exx - trace / 3.0)
    syy = two * (eyy - trace / 3.0)
    szz = two * (ezz - trace / 3.0)
    sxy = two * exy
    syz = two * eyz
    sxz = two * exz
    nxx = sxx - back * pxx
    nyy = syy - back * pyy
    nzz = szz - back * pzz
    nxy = sxy - back * pxy
    nyz = syz - back * pyz
    nxz = sxz - back * pxz
    norm = math.sqrt(nxx * nxx + nyy * nyy + nzz * nzz + 2.0 * (nxy * nxy + nyz * nyz + nxz * nxz))
    over = ROOT_1_5 * norm - (yield_stress + isotropic * equivalent)
    theta = 1.0
    theta_bar = 0.0
    if over > 0.0:
        hard = isotropic + kinematic
        flow = over / (3.0 * shear + hard)
        nxx /= norm
        nyy /= norm
        nzz /= norm
        nxy /= norm
        nyz /= norm
        nxz /= norm
        step = ROOT_1_5 * flow
        pxx = pxx + step * nxx
        pyy = pyy + step * nyy
        pzz = pzz + step * nzz
        pxy = pxy + step * nxy
        pyz = pyz + step * nyz
        pxz = pxz + step * nxz
        sxx -= two * step * nxx
        syy -= two * step * nyy
        szz -= two * step * nzz
        sxy -= two * step * nxy
        syz -= two * step * nyz
        sxz -= two * step * nxz
        equivalent = equivalent + flow
        theta = 1.0 - two * step / norm
        theta_bar = 1.0 / (1.0 + hard / (3.0 * shear)) - (1.0 - theta)
    return (
        (sxx, syy, szz, sxy, syz, sxz), bulk * trace, (pxx, pyy, pzz, pxy, pyz, pxz), equivalent,
        (nxx, nyy, nzz, nxy, nyz, nxz), theta, theta_bar,
    )  # fmt: skip


@njit(inline="always")
def _strain(g: Floats, u: Floats, n: int) -> Any:
    """Total strain (six) of gradients (3, n) and displacements (3, n)."""
    xx = 0.0
    yy = 0.0
    zz = 0.0
    xy = 0.0
    yz = 0.0
    xz = 0.0
    for a in range(n):
        xx += g[0, a] * u[0, a]
        yy += g[1, a] * u[1, a]
        zz += g[2, a] * u[2, a]
        xy += g[1, a] * u[0, a] + g[0, a] * u[1, a]
        yz += g[2, a] * u[1, a] + g[1, a] * u[2, a]
        xz += g[2, a] * u[0, a] + g[0, a] * u[2, a]
    return xx, yy, zz, 0.5 * xy, 0.5 * yz, 0.5 * xz


@njit(inline="always")
def _volume_strain(g: Floats, u: Floats, n: int) -> float:
    """Trace of the strain of gradients (3, n) and displacements (3, n)."""
    trace = 0.0
    for a in range(n):
        trace += g[0, a] * u[0, a] + g[1, a] * u[1, a] + g[2, a] * u[2, a]
    return trace


@njit(inline="always")
def _add_force(force: Floats, g: Floats, volume: float, stress: Any, n: int) -> None:
    """force (3, n) += volume times stress (six) times gradients (3, n)."""
    xx, yy, zz, xy, yz, xz = stress
    for a in range(n):
        force[0, a] += volume * (xx * g[0, a] + xy * g[1, a] + xz * g[2, a])
        force[1, a] += volume * (xy * g[0, a] + yy * g[1, a] + yz * g[2, a])
        force[2, a] += volume * (xz * g[0, a] + yz * g[1, a] + zz * g[2, a])


@njit(inline="always")
def _add_pressure(force: Floats, g: Floats, pull: float, n: int) -> None:
    """force (3, n) += pull, a mean stress times a volume, times gradients (3, n)."""
    for a in range(n):
        force[0, a] += pull * g[0, a]
        force[1, a] += pull * g[1, a]
        force[2, a] += pull * g[2, a]


@njit(inline="always")
def _add_products(matrix: Floats, factor: float, h: Floats, n: int) -> None:
    """matrix += factor h h^T for blocks (i, j), j >= i, of n rows and columns."""
    for r in range(3 * n):
        f = factor * h[r]
        row = matrix[r, r // n * n :]  # slices counted from 0 let the compiler use vectors
        tail = h[r // n * n :]
        for b in range(tail.size):
            row[b] += f * tail[b]


@njit(inline="always")
def _pulled_gradients(out: Floats, normal: Any, g: Floats, n: int) -> None:
    """out (3 n,) = normal (six) times gradients (3, n), unknowns by component."""
    xx, yy, zz, xy, yz, xz = normal
    for a in range(n):
        out[a] = xx * g[0, a] + xy * g[1, a] + xz * g[2, a]
        out[n + a] = xy * g[0, a] + yy * g[1, a] + yz * g[2, a]
        out[2 * n + a] = xz * g[0, a] + yz * g[1, a] + zz * g[2, a]


@njit(cache=True)
def _add_cell_matrix(
    nodes: Integers, slot: Integers, indptr: Integers, shape: Floats, stiff: Floats, data: Floats
) -> None:
    """Add a cell's tangent to the global values.

    Entry (i a, j b) is stiff[i a, j b] + shape[j a, i b] + (i == j) sum_k shape[k a, k b]; both
    matrices are symmetric with only the blocks j >= i filled.
    """
    n = nodes.size
    block = np.empty((3, 3))
    p = 0
    for a in range(n):
        for b in range(a, n):
            for i in range(3):
                for j in range(i, 3):
                    block[i, j] = stiff[i * n + a, j * n + b] + shape[i * n + b, j * n + a]
                    if j > i:
                        block[j, i] = stiff[i * n + b, j * n + a] + shape[i * n + a, j * n + b]
            dot = shape[a, b] + shape[n + a, n + b] + shape[2 * n + a, 2 * n + b]
            for i in range(3):
                block[i, i] += dot
            s = slot[p]
            p += 1
            if s == 0:
                for i in range(3):
                    at = indptr[3 * nodes[a] + i] - i
                    for j in range(i, 3):
                        data[at + j] += block[i, j]
            elif nodes[a] < nodes[b]:
                for i in range(3):
                    at = indptr[3 * nodes[a] + i] - i + 3 * s
                    for j in range(3):
                        data[at + j] += block[i, j]
            else:
                for i in range(3):
                    at = indptr[3 * nodes[b] + i] - i + 3 * s
                    for j in range(3):
                        data[at + j] += block[j, i]


@njit(cache=True, fastmath=FAST_MATH)
def _add_cells(
    begin: int, end: int, mesh: CellArrays, metal: PointArrays, u: Floats, want_tangent: bool,
    out: ResponseArrays,
) -> float:  # fmt: skip
    """Everything about some cells of a colour; the sum of their squared forces. [N2]"""
    cells, grad, mean_grad, weight = mesh.cells, mesh.grad, mesh.mean_grad, mesh.weight
    reference, plastic = metal.reference_strain, metal.plastic_strain
    n = cells.shape[1]
    m3 = 3 * n
    mean = mean_grad.shape[0] > 0
    # a cell's matrices, unknowns by component: only j >= i of block (i, j) is filled
    shape = np.zeros((m3, m3))  # sum of mu g g
    stiff = np.zeros((m3, m3))  # sum of the other products
    force = np.zeros((3, n))
    moved = np.zeros((3, n))
    pulled = np.zeros(m3)
    squared = 0.0
    for k in range(begin, end):
        c = mesh.order[k]
        for a in range(n):
            for i in range(3):
                moved[i, a] = u[cells[c, a], i]
                force[i, a] = 0.0
        if want_tangent:
            shape[:] = 0.0
            stiff[:] = 0.0
        bulk_volume = 0.0
        for q in range(weight.shape[1]):
            g = grad[c, q]
            p0 = plastic[c, q]
            r0 = reference[c, q]
            w = weight[c, q]
            bulk = metal.bulk[c, q]
            shear = metal.shear[c, q]
            thermal = metal.thermal_strain[c, q]
            xx, yy, zz, xy, yz, xz = _strain(g, moved, n)
            if mean:
                d = (_volume_strain(mean_grad[c], moved, n) - xx - yy - zz) / 3.0
                xx += d
                yy += d
                zz += d
            deviator, press, strained, equivalent, normal, theta, theta_bar = stress_update(
                (
                    xx - thermal - r0[0] - p0[0], yy - thermal - r0[1] - p0[1],
                    zz - thermal - r0[2] - p0[2], xy - r0[3] - p0[3], yz - r0[4] - p0[4],
                    xz - r0[5] - p0[5],
                ),
                bulk, shear, metal.yield_stress[c, q], metal.isotropic[c, q], metal.kinematic[c, q],
                (p0[0], p0[1], p0[2], p0[3], p0[4], p0[5]), metal.equivalent_plastic_strain[c, q],
            )  # fmt: skip
            sxx, syy, szz, sxy, syz, sxz = deviator
            p1 = out.plastic_strain[c, q]
            p1[0], p1[1], p1[2], p1[3], p1[4], p1[5] = strained
            out.equivalent_plastic_strain[c, q] = equivalent
            s1 = out.stress[c, q]
            s1[0] = sxx + press
            s1[1] = syy + press
            s1[2] = szz + press
            s1[3] = sxy
            s1[4] = syz
            s1[5] = sxz
            if mean:
                _add_force(force, g, w, deviator, n)
                _add_pressure(force, mean_grad[c], w * press, n)
            else:
                whole = (sxx + press, syy + press, szz + press, sxy, syz, sxz)
                _add_force(force, g, w, whole, n)
            if not want_tangent:
                continue
            h = g.reshape(m3)
            mu = w * shear * theta
            _add_products(shape, mu, h, n)
            if mean:
                bulk_volume += w * bulk
            else:
                _add_products(stiff, w * bulk - 2.0 / 3.0 * mu, h, n)
            if theta_bar != 0.0:
                _pulled_gradients(pulled, normal, g, n)
                _add_products(stiff, -2.0 * shear * theta_bar * w, pulled, n)
        for a in range(n):
            for i in range(3):
                squared += force[i, a] * force[i, a]
                out.force[cells[c, a], i] += force[i, a]
        if want_tangent:
            if mean:
                for r in range(m3):
                    for b in range(m3):
                        stiff[r, b] -= 2.0 / 3.0 * shape[r, b]
                _add_products(stiff, bulk_volume, mean_grad[c].reshape(m3), n)
            _add_cell_matrix(cells[c], mesh.slot[c], mesh.indptr, shape, stiff, out.data)
    return squared


@njit(parallel=True, cache=True, fastmath=FAST_MATH)
def mechanics_pass(
    mesh: CellArrays, metal: PointArrays, u: Floats, threads: int, want_tangent: bool,
    out: ResponseArrays,
) -> float:  # fmt: skip
    """One pass over all cells: stress, internal force, and the tangent where it is wanted.

    Parameters
    ----------
    mesh : CellArrays
        Cells.
    metal : PointArrays
        Properties and what the metal remembers.
    u : ndarray, shape (N, 3)
        Displacement. [m]
    threads : int
        How many share the cells of a colour.
    want_tangent : bool
        Whether the tangent is wanted.
    out : ResponseArrays
        Written to.

    Returns
    -------
    float
        Sum over cells of the squared cell forces, the scale for the residual. [N2]
    """
    starts = mesh.starts
    scale = 0.0
    for colour in range(starts.size - 1):
        first, last = starts[colour], starts[colour + 1]
        share = (last - first + threads - 1) // threads
        for t in prange(threads):
            begin = first + t * share
            end = min(begin + share, last)
            scale += _add_cells(begin, end, mesh, metal, u, want_tangent, out)
    return scale


@njit(cache=True, fastmath=FAST_MATH)
def serial_pass(
    mesh: CellArrays, metal: PointArrays, u: Floats, want_tangent: bool, out: ResponseArrays
) -> float:  # fmt: skip
    """`mechanics_pass` in the thread that calls it.

    Without a tangent a pass is a millisecond of work, and threads that have to be woken for it, or
    whose core is taken, cost more.

    Parameters
    ----------
    mesh : CellArrays
        Cells.
    metal : PointArrays
        Properties and what the metal remembers.
    u : ndarray, shape (N, 3)
        Displacement. [m]
    want_tangent : bool
        Whether the tangent is wanted.
    out : ResponseArrays
        Written to.

    Returns
    -------
    float
        Sum over cells of the squared cell forces. [N2]
    """
    return _add_cells(0, mesh.order.size, mesh, metal, u, want_tangent, out)
