"""Compiled element loops: heat matrix, stress update, internal force and tangent.

Everything here is numba code on plain arrays. Loops over cells that write to shared rows run
colour by colour: cells of one colour share no node, so threads never meet.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange


@njit(cache=True)
def symmetric_residual(indptr, indices, data, x, b):
    """r = b - A x of an upper-triangle matrix, its largest entry, and max(|A| |x| + |b|)."""
    n = b.size
    r = b.copy()
    scale = np.abs(b)
    for i in range(n):
        xi = x[i]
        total = 0.0
        size = 0.0
        for p in range(indptr[i], indptr[i + 1]):
            j = indices[p]
            v = data[p]
            total += v * x[j]
            size += abs(v * x[j])
            if j != i:
                r[j] -= v * xi
                scale[j] += abs(v * xi)
        r[i] -= total
        scale[i] += size
    worst = 0.0
    largest = 0.0
    for i in range(n):
        if not np.isfinite(r[i]):
            return r, np.nan, 1.0
        worst = max(worst, abs(r[i]))
        largest = max(largest, scale[i])
    return r, worst, largest


@njit(cache=True)
def colour_cells(cells, nodes):
    """Greedy colouring: no two cells of a colour share a node. Returns (C,) colours."""
    count, n = cells.shape
    colour = np.full(count, -1, np.int32)
    used = np.zeros((nodes, 4), np.uint64)  # bit sets of colours already met at each node
    for c in range(count):
        taken = np.zeros(4, np.uint64)
        for a in range(n):
            for w in range(4):
                taken[w] |= used[cells[c, a], w]
        k = 0
        while k < 256 and (taken[k // 64] >> np.uint64(k % 64)) & np.uint64(1):
            k += 1
        if k == 256:
            raise ValueError("more than 256 cells meet at a node")
        colour[c] = k
        for a in range(n):
            used[cells[c, a], k // 64] |= np.uint64(1) << np.uint64(k % 64)
    return colour


@njit(cache=True)
def add_heat_matrix(cells, slot, indptr, unit, conductivity, data):
    """data += conduction matrix; `unit` (C, pairs) is each cell's matrix at conductivity 1."""
    count, n = cells.shape
    for c in range(count):
        k = conductivity[c]
        if k == 0.0:
            continue
        p = 0
        for a in range(n):
            for b in range(a, n):
                row = min(cells[c, a], cells[c, b])
                data[indptr[row] + slot[c, p]] += k * unit[c, p]
                p += 1


@njit(cache=True)
def heat_flow(cells, unit, conductivity, temperature, out):
    """out += K T, cell by cell."""
    count, n = cells.shape
    for c in range(count):
        k = conductivity[c]
        if k == 0.0:
            continue
        p = 0
        for a in range(n):
            i = cells[c, a]
            out[i] += k * unit[c, p] * temperature[i]
            p += 1
            for b in range(a + 1, n):
                j = cells[c, b]
                v = k * unit[c, p]
                out[i] += v * temperature[j]
                out[j] += v * temperature[i]
                p += 1


@njit(inline="always")
def _add_products(matrix, factor, h, n):
    """matrix += factor h h^T for blocks (i, j), j >= i, of n rows and columns."""
    for r in range(3 * n):
        f = factor * h[r]
        row = matrix[r, r // n * n :]  # slices counted from 0 let the compiler use vectors
        tail = h[r // n * n :]
        for b in range(tail.size):
            row[b] += f * tail[b]


@njit(cache=True)
def _add_cell_matrix(nodes, slot, indptr, shape, stiff, data):
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


@njit(parallel=True, cache=True, fastmath={"contract", "reassoc", "nsz", "arcp"})
def mechanics_pass(
    order, starts, threads, cells, slot, indptr, grad, mean_grad, weight, u, bulk, shear,
    yield_stress, iso, kin, thermal, reference, plastic, eqp, want_tangent,
    data, force, stress, plastic_new, eqp_new,
):  # fmt: skip
    """One pass over all cells: stress by radial return, internal force, consistent tangent.

    Parameters
    ----------
    order, starts : cells sorted by colour and the start of each colour, (C,), (colours + 1,)
    grad : shape gradients (C, Q, 3, n) [1/m]; weight (C, Q) [m3]
    mean_grad : (C, 3, n) cell means of the gradients for mean dilatation, or (0, 3, n) for none
    u : displacement (N, 3) [m]
    bulk, shear, yield_stress, iso, kin : (C, Q) [Pa]
    thermal : thermal strain (C, Q); reference, plastic : (C, Q, 6) in the order
        xx yy zz xy yz xz with tensor (not engineering) shears; eqp : (C, Q)
    data, force, stress, plastic_new, eqp_new : outputs; data and force are added to

    Returns
    -------
    float
        Sum over cells of the squared cell forces, the scale for the residual. [N2]

    Notes
    -----
    J2 with linear isotropic and kinematic (Prager) hardening, back stress 2/3 kin plastic strain.
    Consistent tangent K 1x1 + 2G t1 Idev - 2G t2 nxn: Simo and Hughes, Computational Inelasticity
    (1998), box 3.2.
    """
    n = cells.shape[1]
    points = weight.shape[1]
    m3 = 3 * n
    mean = mean_grad.shape[0] > 0
    flat_grad = grad.reshape(grad.shape[0], points, m3)
    flat_mean = mean_grad.reshape(mean_grad.shape[0], m3)
    scale = 0.0
    for colour in range(starts.size - 1):
        first, last = starts[colour], starts[colour + 1]
        share = (last - first + threads - 1) // threads
        for t in prange(threads):
            # the cell's matrices, unknowns by component: only j >= i of block (i, j) is filled
            shape = np.zeros((m3, m3))  # sum of mu g g
            stiff = np.zeros((m3, m3))  # sum of the other products
            fl = np.zeros((3, n))
            ul = np.zeros((3, n))
            v = np.zeros(m3)
            part = 0.0
            for k in range(first + t * share, min(first + (t + 1) * share, last)):
                c = order[k]
                for a in range(n):
                    for i in range(3):
                        ul[i, a] = u[cells[c, a], i]
                        fl[i, a] = 0.0
                if want_tangent:
                    shape[:] = 0.0
                    stiff[:] = 0.0
                bulk_volume = 0.0
                for q in range(points):
                    g = grad[c, q]
                    xx = yy = zz = xy = yz = xz = 0.0
                    for a in range(n):
                        xx += g[0, a] * ul[0, a]
                        yy += g[1, a] * ul[1, a]
                        zz += g[2, a] * ul[2, a]
                        xy += g[1, a] * ul[0, a] + g[0, a] * ul[1, a]
                        yz += g[2, a] * ul[1, a] + g[1, a] * ul[2, a]
                        xz += g[2, a] * ul[0, a] + g[0, a] * ul[2, a]
                    if mean:
                        m = mean_grad[c]
                        tr = 0.0
                        for a in range(n):
                            tr += m[0, a] * ul[0, a] + m[1, a] * ul[1, a] + m[2, a] * ul[2, a]
                        d = (tr - xx - yy - zz) / 3.0
                        xx += d
                        yy += d
                        zz += d
                    p0 = plastic[c, q]
                    r0 = reference[c, q]
                    th = thermal[c, q]
                    exx = xx - th - r0[0] - p0[0]
                    eyy = yy - th - r0[1] - p0[1]
                    ezz = zz - th - r0[2] - p0[2]
                    exy = 0.5 * xy - r0[3] - p0[3]
                    eyz = 0.5 * yz - r0[4] - p0[4]
                    exz = 0.5 * xz - r0[5] - p0[5]
                    tr = exx + eyy + ezz
                    G = shear[c, q]
                    K = bulk[c, q]
                    hk = kin[c, q] * 2.0 / 3.0
                    two = 2.0 * G
                    sxx = two * (exx - tr / 3.0)
                    syy = two * (eyy - tr / 3.0)
                    szz = two * (ezz - tr / 3.0)
                    sxy = two * exy
                    syz = two * eyz
                    sxz = two * exz
                    nxx = sxx - hk * p0[0]
                    nyy = syy - hk * p0[1]
                    nzz = szz - hk * p0[2]
                    nxy = sxy - hk * p0[3]
                    nyz = syz - hk * p0[4]
                    nxz = sxz - hk * p0[5]
                    norm = np.sqrt(
                        nxx * nxx + nyy * nyy + nzz * nzz
                        + 2.0 * (nxy * nxy + nyz * nyz + nxz * nxz)
                    )  # fmt: skip
                    over = np.sqrt(1.5) * norm - (yield_stress[c, q] + iso[c, q] * eqp[c, q])
                    p1 = plastic_new[c, q]
                    t1 = 1.0
                    t2 = 0.0
                    if over > 0.0:
                        hard = iso[c, q] + kin[c, q]
                        dg = over / (3.0 * G + hard)
                        nxx /= norm
                        nyy /= norm
                        nzz /= norm
                        nxy /= norm
                        nyz /= norm
                        nxz /= norm
                        step = np.sqrt(1.5) * dg
                        p1[0] = p0[0] + step * nxx
                        p1[1] = p0[1] + step * nyy
                        p1[2] = p0[2] + step * nzz
                        p1[3] = p0[3] + step * nxy
                        p1[4] = p0[4] + step * nyz
                        p1[5] = p0[5] + step * nxz
                        sxx -= two * step * nxx
                        syy -= two * step * nyy
                        szz -= two * step * nzz
                        sxy -= two * step * nxy
                        syz -= two * step * nyz
                        sxz -= two * step * nxz
                        eqp_new[c, q] = eqp[c, q] + dg
                        t1 = 1.0 - two * step / norm
                        t2 = 1.0 / (1.0 + hard / (3.0 * G)) - (1.0 - t1)
                    else:
                        for i in range(6):
                            p1[i] = p0[i]
                        eqp_new[c, q] = eqp[c, q]
                    press = K * tr
                    s1 = stress[c, q]
                    s1[0] = sxx + press
                    s1[1] = syy + press
                    s1[2] = szz + press
                    s1[3] = sxy
                    s1[4] = syz
                    s1[5] = sxz
                    w = weight[c, q]
                    if mean:
                        m = mean_grad[c]
                        for a in range(n):
                            fl[0, a] += w * (
                                sxx * g[0, a] + sxy * g[1, a] + sxz * g[2, a] + press * m[0, a]
                            )
                            fl[1, a] += w * (
                                sxy * g[0, a] + syy * g[1, a] + syz * g[2, a] + press * m[1, a]
                            )
                            fl[2, a] += w * (
                                sxz * g[0, a] + syz * g[1, a] + szz * g[2, a] + press * m[2, a]
                            )
                    else:
                        for a in range(n):
                            fl[0, a] += w * (
                                (sxx + press) * g[0, a] + sxy * g[1, a] + sxz * g[2, a]
                            )
                            fl[1, a] += w * (
                                sxy * g[0, a] + (syy + press) * g[1, a] + syz * g[2, a]
                            )
                            fl[2, a] += w * (
                                sxz * g[0, a] + syz * g[1, a] + (szz + press) * g[2, a]
                            )
                    if not want_tangent:
                        continue
                    h = flat_grad[c, q]
                    mu = w * G * t1
                    _add_products(shape, mu, h, n)
                    if mean:
                        bulk_volume += w * K
                    else:
                        _add_products(stiff, w * K - 2.0 / 3.0 * mu, h, n)
                    if t2 != 0.0:
                        for a in range(n):
                            v[a] = nxx * g[0, a] + nxy * g[1, a] + nxz * g[2, a]
                            v[n + a] = nxy * g[0, a] + nyy * g[1, a] + nyz * g[2, a]
                            v[2 * n + a] = nxz * g[0, a] + nyz * g[1, a] + nzz * g[2, a]
                        _add_products(stiff, -2.0 * G * t2 * w, v, n)
                for a in range(n):
                    for i in range(3):
                        part += fl[i, a] * fl[i, a]
                        force[cells[c, a], i] += fl[i, a]
                if want_tangent:
                    if mean:
                        for r in range(m3):
                            for b in range(m3):
                                stiff[r, b] -= 2.0 / 3.0 * shape[r, b]
                        _add_products(stiff, bulk_volume, flat_mean[c], n)
                    _add_cell_matrix(cells[c], slot[c], indptr, shape, stiff, data)
            scale += part
    return scale
