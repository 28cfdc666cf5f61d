"""Kernels of the mechanics: one block of threads a cell, then every sum gathered in order.

The law of a point is `plasticity_kernels.stress_update`, compiled for the card. A kernel is made
for one kind of cell, whose sizes are constants in it.
"""

# numba types a kernel's arguments when it is launched, and numba.cuda has no types of its own
# mypy: disable-error-code="no-untyped-def, untyped-decorator, attr-defined, no-untyped-call"

from __future__ import annotations

from functools import cache
from typing import Any

from numba import cuda, float64

from weldsim.physics.plasticity_kernels import stress_update

law: Any = cuda.jit(device=True)(stress_update.py_func)

TANGENT_THREADS, FORCE_THREADS = 224, 96  # a block


@cache
def cell_kernel(n: int, quadrature: int, want_tangent: bool) -> Any:
    """Pass over cells of `n` nodes and so many quadrature points.

    Parameters
    ----------
    n, quadrature : int
        Nodes and quadrature points of a cell.
    want_tangent : bool
        Whether the cells' matrices are wanted.

    Returns
    -------
    kernel
        Of (cells, pairs, grad, weight, displacement, bulk, shear, yield_stress, isotropic,
        kinematic, thermal_strain, reference_strain, plastic_strain, equivalent, stress,
        new_plastic_strain, new_equivalent, cell_force, cell_matrix), shapes as in
        `kernel_arrays`; cell_force (C, 3, n), cell_matrix (C, pairs, 9). Components of a symmetric
        tensor at one quadrature point in the order xx yy zz xy yz xz.
    """
    qd, qn, pair_count = 3 * quadrature, 3 * n, n * (n + 1) // 2

    @cuda.jit(cache=True)
    def _kernel(
        cells, pairs, grad, weight, u, bulk, shear, yield_stress, isotropic, kinematic, thermal,
        reference, plastic, equivalent, stress, new_plastic, new_equivalent, cell_force, matrix,
    ):  # fmt: skip
        g = cuda.shared.array((qd, n), float64)
        moved = cuda.shared.array((3, n), float64)
        h = cuda.shared.array((quadrature, 9), float64)
        pull = cuda.shared.array((quadrature, 6), float64)  # volume times stress
        lame = cuda.shared.array((quadrature, 2), float64)
        flow = cuda.shared.array((quadrature, 7), float64)  # direction, and its share
        m = cuda.shared.array((qd, n), float64)
        c = cuda.blockIdx.x
        t = cuda.threadIdx.x
        step = cuda.blockDim.x
        for k in range(t, qd * n, step):
            row = k // n
            g[row, k - row * n] = grad[c, row // 3, row % 3, k - row * n]
        for k in range(t, qn, step):
            a = k // 3
            moved[k - 3 * a, a] = u[cells[c, a], k - 3 * a]
        cuda.syncthreads()
        for k in range(t, 9 * quadrature, step):
            q = k // 9
            i = (k - 9 * q) // 3
            j = k - 9 * q - 3 * i
            total = 0.0
            for a in range(n):
                total += g[3 * q + j, a] * moved[i, a]
            h[q, 3 * i + j] = total
        cuda.syncthreads()
        if t < quadrature:
            q = t
            strained = plastic[c, q]
            set_free = reference[c, q]
            w = weight[c, q]
            grown = thermal[c, q]
            before = (
                strained[0], strained[1], strained[2], strained[3], strained[4], strained[5]
            )  # fmt: skip
            strain = (
                h[q, 0] - grown - set_free[0] - before[0],
                h[q, 4] - grown - set_free[1] - before[1],
                h[q, 8] - grown - set_free[2] - before[2],
                0.5 * (h[q, 1] + h[q, 3]) - set_free[3] - before[3],
                0.5 * (h[q, 5] + h[q, 7]) - set_free[4] - before[4],
                0.5 * (h[q, 2] + h[q, 6]) - set_free[5] - before[5],
            )
            s, mean, after, grown_to, normal, theta, theta_bar = law(
                strain, bulk[c, q], shear[c, q], yield_stress[c, q], isotropic[c, q],
                kinematic[c, q], before, equivalent[c, q],
            )  # fmt: skip
            whole = (s[0] + mean, s[1] + mean, s[2] + mean, s[3], s[4], s[5])
            for k in range(6):
                new_plastic[c, q, k] = after[k]
                stress[c, q, k] = whole[k]
                pull[q, k] = w * whole[k]
                flow[q, k] = normal[k]
            new_equivalent[c, q] = grown_to
            mu = w * shear[c, q] * theta
            lame[q, 0] = mu
            lame[q, 1] = w * bulk[c, q] - 2.0 / 3.0 * mu
            flow[q, 6] = 2.0 * shear[c, q] * theta_bar * w
        cuda.syncthreads()
        for k in range(t, qn, step):
            i = k // n
            a = k - i * n
            one = 0 if i == 0 else (3 if i == 1 else 5)
            two = 3 if i == 0 else (1 if i == 1 else 4)
            three = 5 if i == 0 else (4 if i == 1 else 2)
            total = 0.0
            for q in range(quadrature):
                total += (
                    pull[q, one] * g[3 * q, a]
                    + pull[q, two] * g[3 * q + 1, a]
                    + pull[q, three] * g[3 * q + 2, a]
                )
            cell_force[c, i, a] = total
        if want_tangent:
            for k in range(t, qd * n, step):
                row = k // n
                a = k - row * n
                q = row // 3
                i = row - 3 * q
                one = 0 if i == 0 else (3 if i == 1 else 5)
                two = 3 if i == 0 else (1 if i == 1 else 4)
                three = 5 if i == 0 else (4 if i == 1 else 2)
                m[row, a] = (
                    flow[q, one] * g[3 * q, a]
                    + flow[q, two] * g[3 * q + 1, a]
                    + flow[q, three] * g[3 * q + 2, a]
                )
            cuda.syncthreads()
            for p in range(t, pair_count, step):
                a = pairs[0, p]
                b = pairs[1, p]
                xx = xy = xz = yx = yy = yz = zx = zy = zz = 0.0
                for q in range(quadrature):
                    ax = g[3 * q, a]
                    ay = g[3 * q + 1, a]
                    az = g[3 * q + 2, a]
                    bx = g[3 * q, b]
                    by = g[3 * q + 1, b]
                    bz = g[3 * q + 2, b]
                    mu = lame[q, 0]
                    la = lame[q, 1]
                    dot = mu * (ax * bx + ay * by + az * bz)
                    xx += (la + mu) * ax * bx + dot
                    yy += (la + mu) * ay * by + dot
                    zz += (la + mu) * az * bz + dot
                    xy += la * ax * by + mu * ay * bx
                    xz += la * ax * bz + mu * az * bx
                    yx += la * ay * bx + mu * ax * by
                    yz += la * ay * bz + mu * az * by
                    zx += la * az * bx + mu * ax * bz
                    zy += la * az * by + mu * ay * bz
                    f = flow[q, 6]
                    if f != 0.0:
                        ax = f * m[3 * q, a]
                        ay = f * m[3 * q + 1, a]
                        az = f * m[3 * q + 2, a]
                        bx = m[3 * q, b]
                        by = m[3 * q + 1, b]
                        bz = m[3 * q + 2, b]
                        xx -= ax * bx
                        xy -= ax * by
                        xz -= ax * bz
                        yx -= ay * bx
                        yy -= ay * by
                        yz -= ay * bz
                        zx -= az * bx
                        zy -= az * by
                        zz -= az * bz
                matrix[c, p, 0] = xx
                matrix[c, p, 1] = xy
                matrix[c, p, 2] = xz
                matrix[c, p, 3] = yx
                matrix[c, p, 4] = yy
                matrix[c, p, 5] = yz
                matrix[c, p, 6] = zx
                matrix[c, p, 7] = zy
                matrix[c, p, 8] = zz

    return _kernel


@cuda.jit(cache=True)
def gather_blocks(row, slot, start, term, indptr, matrix, data):
    """Values of a pattern from the cells' matrices, a thread for each number of a block.

    Parameters
    ----------
    row, slot, start, term : array of int
        See `gathering.Blocks`.
    indptr : array of int, shape (3 N + 1,)
        Of the pattern.
    matrix : array, shape (M, 9)
        Of the cells' pairs of nodes.
    data : array, shape (nnz,)
        Written to.
    """
    t = cuda.grid(1)
    b = t // 9
    if b >= row.size:
        return
    i = (t - 9 * b) // 3
    j = t - 9 * b - 3 * i
    if slot[b] == 0 and j < i:
        return
    total = 0.0
    for k in range(start[b], start[b + 1]):
        code = term[k]
        total += matrix[code >> 1, 3 * j + i if code & 1 else 3 * i + j]
    data[indptr[3 * row[b] + i] - i + 3 * slot[b] + j] = total


@cuda.jit(device=True)
def bear(deep, stiffness, onset):
    """What faces that touch push with, and how that grows; see `contact.pushing`.

    Parameters
    ----------
    deep : float
        How far they have closed beyond touching. [m]
    stiffness : float
        Once they bear. [N/m]
    onset : float
        Closing over which they come to bear. [m]

    Returns
    -------
    size, slope : float
        [N, N/m]
    """
    soft = min(max(deep, 0.0), onset)
    size = stiffness * (soft * soft / (2.0 * onset) + max(deep - onset, 0.0))
    return size, stiffness * soft / onset


@cuda.jit(cache=True)
def contact_push(below, above, normal, gap, stiffness, onset, u, push, stiff):
    """What pairs of points that may touch push with; see `contact.BoundContact.add`.

    Parameters
    ----------
    below, above, normal, gap, stiffness : array
        See `contact.Contact`.
    onset : float
        Closing over which they come to bear. [m]
    u : array, shape (N, 3)
        Displacement. [m]
    push, stiff : array, shape (P,)
        Force and stiffness of each pair, written to. [N, N/m]
    """
    k = cuda.grid(1)
    if k >= gap.size:
        return
    deep = -gap[k]
    for i in range(3):
        deep -= (u[above[k], i] - u[below[k], i]) * normal[k, i]
    push[k], stiff[k] = bear(deep, stiffness[k], onset)


@cuda.jit(cache=True)
def table_push(points, normal, stiffness, onset, u, push, stiff):
    """What a table pushes points with that press on it; see `table.BoundTable.add`.

    Parameters
    ----------
    points, normal, stiffness : array, shapes (P,), (3,) and (P,)
        See `table.Table`.
    onset : float
        Depth over which it comes to bear. [m]
    u : array, shape (N, 3)
        Displacement. [m]
    push, stiff : array, shape (P,)
        Force and stiffness at each point, written to. [N, N/m]
    """
    k = cuda.grid(1)
    if k >= points.size:
        return
    deep = 0.0
    for i in range(3):
        deep -= u[points[k], i] * normal[i]
    push[k], stiff[k] = bear(deep, stiffness[k], onset)


@cuda.jit(cache=True)
def hold(indptr, indices, fixed, diagonal, data):
    """Cut held unknowns out of the upper triangle of a matrix.

    Parameters
    ----------
    indptr, indices : array of int
        Of the pattern.
    fixed : array of bool, shape (size,)
        Unknowns that are held.
    diagonal : array, shape (1,)
        What their own entries become.
    data : array, shape (nnz,)
        Values, changed.
    """
    i = cuda.grid(1)
    if i >= indptr.size - 1:
        return
    begin = indptr[i]
    if fixed[i]:
        data[begin] = diagonal[0]
        for p in range(begin + 1, indptr[i + 1]):
            data[p] = 0.0
    else:
        for p in range(begin + 1, indptr[i + 1]):
            if fixed[indices[p]]:
                data[p] = 0.0
