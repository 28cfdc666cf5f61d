"""Plastic flow against closed forms and a worked strain path. mm, N, MPa.

Thick sphere and cylinder: Hill, The Mathematical Theory of Plasticity (1950), ch. V; a = 100,
b = 200, sy = 240, E = 210e3, nu = 0.3. The strain path belongs to the two-dimensional plasticity
benchmarks of NAFEMS R0049 (Hinton & Ezzat).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import skfem

from tests.verification.mech_tools import (
    InternalVariables,
    body_of,
    box,
    elastic,
    facets_where,
    mises,
    quarter_ring,
    solve,
    surface_load,
)
from weldsim.errors import ConvergenceError
from weldsim.physics.equilibrium import accept

A, B, SY, E, NU = 100.0, 200.0, 240.0, 210e3, 0.3


def planes(body, plane_strain=False):
    fixed = np.zeros_like(body.points, bool)
    for axis in range(3):
        fixed[body.on(axis, 0.0), axis] = True
    fixed[:, 2] |= plane_strain
    return fixed


def octant(cells=6, radial=9):
    """An eighth of a hollow sphere: three patches of cells, seen from the centre through a cube."""
    s = np.tan(np.linspace(0, np.pi / 4, cells + 1))
    r = np.geomspace(A, B, radial + 1)
    parts = []
    for axis in range(3):
        grid = skfem.MeshHex.init_tensor(s, s, r)
        u, v, radius = grid.p
        way = np.stack([u, v, np.ones_like(u)])
        way = np.roll(way / np.linalg.norm(way, axis=0), axis + 1, axis=0)
        parts.append((radius * way, grid.t))
    p = np.hstack([x for x, _ in parts])
    t = np.hstack([k + i * parts[0][0].shape[1] for i, (_, k) in enumerate(parts)])
    _, first, number = np.unique(np.round(p.T, 6), axis=0, return_index=True, return_inverse=True)
    p = p[:, first]
    p[np.abs(p) < 1e-9] = 0.0
    return body_of(skfem.MeshHex(np.ascontiguousarray(p), np.ascontiguousarray(number.ravel()[t])))


def inside(radius):
    """Facets of a body's inner surface."""
    return lambda p: np.abs(np.linalg.norm(p, axis=0) - radius) < 1e-6


def pressurise(body, fixed, load_at_one, pressures):
    """Equilibrium at each pressure in turn."""
    law = elastic(body, E, NU, yield_stress=SY)
    u, internal_variables = body.still(), body.virgin()
    out = []
    for p in pressures:
        found = solve(body, law, fixed, u, internal_variables, load=p * load_at_one)
        internal_variables = accept(
            body.model, found, law, internal_variables, np.zeros(body.model.shape_counts, bool)
        )[0]
        u = found.displacement
        out.append((found, internal_variables))
    return out


def hill_sphere(c):
    """Pressure, u(a) and u(b) with the plastic front at radius c."""
    outer = 1 - c**3 / B**3
    p = 2 * SY * (np.log(c / A) + outer / 3)
    ua = SY / E * ((1 - NU) * c**3 / A**2 - 2 * (1 - 2 * NU) * A * (np.log(c / A) + outer / 3))
    return p, ua, SY * c**3 * (1 - NU) / (E * B**2)


@cache
def sphere_run():
    body = octant()
    load = surface_load(body, facets_where(body, inside(A)), 1.0)
    fronts = (120.0, 150.0, 180.0)
    pressures = [hill_sphere(c)[0] for c in fronts]
    steps = np.r_[140.0, 180, pressures[0], 250, 270, pressures[1], 300, 315, pressures[2]]
    found = pressurise(body, planes(body), load, steps)
    return body, load, fronts, [found[2], found[5], found[8]]


@pytest.mark.slow
def test_sphere_under_pressure():
    """Displacement with the front at 120, 150, 180: table values to 1 %.

    p = 212.954, 287.123, 325.498; u(b) = 0.034560, 0.067500, 0.116640; u(a) = 0.097677, 0.215310,
    0.404560. The sphere is a polyhedron 0.75 % short of its volume, so all lengths count as 0.25 %
    smaller.
    """
    assert hill_sphere(120) == pytest.approx((212.954, 0.097677, 0.034560), rel=1e-4), (
        "formula with the front at 120 mm: pressure, both movements, the furthest off"
    )
    assert hill_sphere(150) == pytest.approx((287.123, 0.215310, 0.067500), rel=1e-4), (
        "formula with the front at 150 mm: pressure, both movements, the furthest off"
    )
    assert hill_sphere(180) == pytest.approx((325.498, 0.404560, 0.116640), rel=1e-4), (
        "formula with the front at 180 mm: pressure, both movements, the furthest off"
    )
    body, _, fronts, found = sphere_run()
    size = (body.volume.sum() / (np.pi / 6 * (B**3 - A**3))) ** (1 / 3)
    assert 0.997 < size < 1, "size of the meshed sphere over that of the true one"
    r = np.linalg.norm(body.points, axis=1)
    for c, (state, internal_variables) in zip(fronts, found, strict=True):
        _, ua, ub = hill_sphere(c)
        radial = (state.displacement * body.points).sum(axis=1) / r
        assert radial[np.abs(r - A) < 1e-6].mean() == pytest.approx(size * ua, rel=0.01), (
            f"radial movement inside, front at {c:g} mm [mm]"
        )
        assert radial[np.abs(r - B) < 1e-6].mean() == pytest.approx(size * ub, rel=0.01), (
            f"radial movement outside, front at {c:g} mm [mm]"
        )
        flowed = internal_variables.equivalent_plastic_strain > 1e-7
        front = np.linalg.norm(body.at, axis=2)[flowed].max()
        assert front == pytest.approx(c, abs=8.0), (
            f"radius of the front, formula {c:g} mm [mm]"
        )  # half a cell
        assert mises(state.stress).max() < SY * (1 + 1e-6), (
            "equivalent stress, no more than the yield stress, MPa"
        )


@pytest.mark.slow
def test_sphere_after_unloading():
    """Residual hoop stress at the inner face sy (1 - p/p_e) = -125.07 from the front at 120.

    Read by fitting the points of the innermost cells to 1/r^3, the law of elastic unloading.
    """
    body, load, _, found = sphere_run()
    law = elastic(body, E, NU, yield_stress=SY)
    state, internal_variables = found[0]
    free = solve(body, law, planes(body), state.displacement, internal_variables)
    assert np.array_equal(
        free.equivalent_plastic_strain, internal_variables.equivalent_plastic_strain
    ), "no flow as the pressure goes"
    r = np.linalg.norm(body.at, axis=2)
    way = body.at / r[..., None]
    xx, yy, zz, xy, yz, xz = np.moveaxis(free.stress, -1, 0)
    x, y, z = np.moveaxis(way, -1, 0)
    radial = xx * x * x + yy * y * y + zz * z * z + 2 * (xy * x * y + yz * y * z + xz * x * z)
    hoop = (xx + yy + zz - radial) / 2
    # closed form over the plastic zone: loaded sy + radial stress there, less the elastic part
    p, c = hill_sphere(120)[0], 120.0
    loaded = SY - 2 * SY * (np.log(c / r) + (1 - c**3 / B**3) / 3)
    unloading = p * A**3 / (B**3 - A**3) * (1 + B**3 / (2 * r**3))
    assert SY - p - p * A**3 / (B**3 - A**3) * (1 + B**3 / (2 * A**3)) == pytest.approx(
        -125.07, abs=0.02
    ), "formula for the hoop stress left inside, against the worked value [MPa]"
    at = r < 115
    assert np.abs(hoop - (loaded - unloading))[at].mean() < 0.03 * 125.07, (
        "hoop stress left around the hole, mean difference, MPa"
    )


def test_sphere_first_yield():
    """p_e = (2 sy/3)(1 - a^3/b^3) = 140.000: no point yields at 0.97 of it, some do at 1.06.

    The points lie inside the cells, the innermost 2 % of a radius off the face, where the stress
    is some 6 % lower.
    """
    body = octant(3, 12)
    load = surface_load(body, facets_where(body, inside(A)), 1.0)
    (_, below), (_, above) = pressurise(body, planes(body), load, [0.97 * 140, 1.06 * 140])
    assert below.equivalent_plastic_strain.max() == 0, "flow at 0.97 of the pressure of first yield"
    assert above.equivalent_plastic_strain.max() > 0, "flow at 1.06 of the pressure of first yield"


RING_E = 192.091  # collapse, 2 sy / sqrt(3) ln(b/a)


def ring(radial=10, around=8, element="brick20"):
    body = quarter_ring(A, B, radial, around, element=element)
    return body, planes(body, plane_strain=True)


def hole(body):
    load = surface_load(
        body, facets_where(body, lambda p: np.abs(np.hypot(p[0], p[1]) - A) < 1e-6), 1.0
    )
    assert load[:, 0].sum() == pytest.approx(A * np.ptp(body.points[:, 2])), (
        "pressure on the hole over its projected area [N]"
    )
    return load


def ring_pressure(c):
    return 2 * SY / np.sqrt(3) * (np.log(c / A) + (1 - c**2 / B**2) / 2)


def test_cylinder_front():
    """Plane strain, Mises: the front reaches 120 at p = 139.207 and 150 at 172.988.

    The plastic zone ends within half a cell. Outside it the ring is elastic under its yield
    pressure at c, so u(b) = 2 (1-nu^2) sy c^2 / (sqrt(3) E b) to 1.5 %: sz = (sr+st)/2 in the
    derivation is 0.2 % off for nu = 0.3, the polygon of chords 0.2 %.
    """
    assert ring_pressure(120) == pytest.approx(139.207, abs=1e-3), (
        "formula for the pressure with the front at 120 mm, against the worked value [MPa]"
    )
    assert ring_pressure(150) == pytest.approx(172.988, abs=1e-3), (
        "formula for the pressure with the front at 150 mm, against the worked value [MPa]"
    )
    assert 2 * SY / np.sqrt(3) * np.log(2) == pytest.approx(RING_E, abs=1e-3), (
        "formula for the pressure of collapse, against the worked value [MPa]"
    )
    body, fixed = ring(16, 10)
    load = hole(body)
    runs = pressurise(body, fixed, load, [103.0, 125, 139.207, 150, 160, 172.988])
    assert runs[0][1].equivalent_plastic_strain.max() == 0, (
        "flow below the pressure of first yield"
    )  # first yield at 103.75
    r = np.hypot(body.at[..., 0], body.at[..., 1])
    for c, (found, internal_variables) in ((120.0, runs[2]), (150.0, runs[5])):
        front = r[internal_variables.equivalent_plastic_strain > 1e-7].max()
        assert front == pytest.approx(c, abs=4.0), f"radius of the front, formula {c:g} mm [mm]"
        far = found.displacement[body.nearest((B, 0, 0)), 0]
        expected = 2 * (1 - NU**2) * SY * c**2 / (np.sqrt(3) * E * B)
        assert far == pytest.approx(expected, rel=0.015), (
            f"radial movement outside, front at {c:g} mm [mm]"
        )
        assert mises(found.stress).max() < SY * (1 + 1e-6), (
            "equivalent stress, no more than the yield stress, MPa"
        )


def limit_pressure(body, fixed, stretch=2.0, steps=8):
    """Pressure on a hole whose radius is driven outward far beyond yield.

    The reaction of the hole's points along x is the pressure times its projected area exactly.
    """
    x, y, _ = body.points.T
    r = np.hypot(x, y)
    rim = (r > 0.97 * A) & (r < 1.001 * A)  # chord middles lie a little inside
    driven = fixed.copy()
    driven[rim, :2] = True
    law = elastic(body, E, NU, yield_stress=SY)
    u, internal_variables = body.still(), body.virgin()
    none = np.zeros(body.model.shape_counts, bool)
    for k in range(1, steps + 1):
        goal = np.zeros_like(u)
        goal[rim, :2] = body.points[rim, :2] / A * stretch * k / steps
        found = solve(body, law, driven, u, internal_variables, goal)
        internal_variables, u = (
            accept(body.model, found, law, internal_variables, none)[0],
            found.displacement,
        )
    push = found.reaction[rim, 0].sum()
    wall = found.reaction[body.on(0, 0.0) & rim, 0].sum()
    return (push - wall) / (A * np.ptp(body.points[:, 2])), found


@pytest.mark.parametrize("element", ["brick20", "tet10", "brick8"])
def test_cylinder_does_not_lock(element):
    """The hole driven 2 mm outward carries the collapse pressure 192.091, to 1.5 %.

    Locking alarm: fully integrated linear bricks never reach a plateau.
    """
    body, fixed = ring(10, 8, element)
    got, _ = limit_pressure(body, fixed)
    assert got == pytest.approx(RING_E, rel=0.015), (
        f"pressure that the driven hole carries, {element} [MPa]"
    )


def test_cylinder_collapse_bracket():
    """Equilibrium is found at 0.98 of the collapse pressure, and cannot be at 1.02 of it."""
    body, fixed = ring()
    load = hole(body)
    steps = RING_E * np.r_[0.5, 0.7, 0.8, 0.88, 0.93, 0.96, 0.98]
    found, internal_variables = pressurise(body, fixed, load, steps)[-1]
    law = elastic(body, E, NU, yield_stress=SY)
    with pytest.raises(ConvergenceError, match="no equilibrium.*residuals"):
        solve(body, law, fixed, found.displacement, internal_variables, load=1.02 * RING_E * load)


# --- strain path: E = 250e3, nu = 0.25, sy = 5, R = 2.5e-5; +x +x +y +y -x -x -y -y -------------

PATH = [(0, 1), (0, 1), (1, 1), (1, 1), (0, -1), (0, -1), (1, -1), (1, -1)]


def strain_path(sub, plane_stress=False, hardening=0.0):
    """Stress xx, yy, zz after each of the eight legs in `sub` backward-Euler steps a leg."""
    body = box(1, 1, 1, "brick8")
    fixed = np.zeros_like(body.points, bool)
    fixed[:, :2] = True
    fixed[:, 2] = body.on(2, 0.0) | (not plane_stress)
    law = elastic(body, 250e3, 0.25, yield_stress=5.0, isotropic=hardening)
    none = np.zeros(body.model.shape_counts, bool)
    u, internal_variables, strain, out = body.still(), body.virgin(), np.zeros(3), []
    for axis, sign in PATH:
        for _ in range(sub):
            strain[axis] += sign * 2.5e-5 / sub
            found = solve(body, law, fixed, u, internal_variables, body.points * strain)
            internal_variables, u = (
                accept(body.model, found, law, internal_variables, none)[0],
                found.displacement,
            )
            limit = 5.0 + hardening * internal_variables.equivalent_plastic_strain
            assert np.all(mises(found.stress) <= limit * (1 + 1e-9)), (
                "equivalent stress on the path, no more than the yield stress"
            )
        assert np.ptp(found.stress, axis=(0, 1)).max() < 1e-5, (
            "spread of the stress over the cell, MPa"
        )
        out.append(found.stress[0, 0, :3])
    return np.array(out)


def test_strain_path_one_step_a_leg():
    """Backward Euler in one step a leg has known values: legs 4 and 8."""
    s = strain_path(1)
    assert s[3] == pytest.approx([16.6667, 19.5534, 13.7799], abs=1e-3), (
        "stress after leg 4 in one step a leg, the furthest off [MPa]"
    )
    assert s[7] == pytest.approx([0.1877, -2.9760, 2.7883], abs=1e-3), (
        "stress after leg 8 in one step a leg, the furthest off [MPa]"
    )


CONVERGED = [
    (7.5000, 2.5000, 2.5000), (11.6667, 6.6667, 6.6667), (14.1667, 14.1667, 9.1667),
    (16.3172, 19.7122, 13.9705), (9.8254, 15.5602, 12.1144), (5.0975, 10.6443, 9.2582),
    (2.5975, 3.1443, 6.7582), (0.2351, -2.9971, 2.7620),
]  # fmt: skip


def test_strain_path_converged():
    """Richardson's limit of 40 and 80 steps a leg, all eight legs; second-order rest 2e-3."""
    s = 2 * strain_path(80) - strain_path(40)
    assert np.abs(s - CONVERGED).max() < 2e-3, (
        "stress after each leg in the limit of small steps, largest difference, MPa"
    )


def test_strain_path_plane_stress():
    """Free thickness: leg 8 in 1 step -3.8217, -5.6586; in 10 steps -3.3494, -5.7473.

    The latter is what published pages of this benchmark print; the converged value is
    -3.2719, -5.7555.
    """
    assert strain_path(1, True)[7] == pytest.approx([-3.8217, -5.6586, 0], abs=1e-3), (
        "stress after leg 8, thickness free, one step a leg, the furthest off [MPa]"
    )
    ten = strain_path(10, True)[7]
    assert ten == pytest.approx([-3.3494, -5.7473, 0], abs=1e-3), (
        "stress after leg 8, thickness free, ten steps a leg, the furthest off [MPa]"
    )
    limit = 2 * strain_path(40, True)[7] - strain_path(20, True)[7]
    assert limit == pytest.approx([-3.2719, -5.7555, 0], abs=4e-3), (
        "stress after leg 8, thickness free, in the limit of small steps, the furthest off [MPa]"
    )


def test_strain_path_isotropic_hardening():
    """Et = 50e3, H = 62 500: converged legs 2, 4, 8."""
    s = 2 * strain_path(80, hardening=62_500.0) - strain_path(40, hardening=62_500.0)
    assert s[1] == pytest.approx([12.2414, 6.3793, 6.3793], abs=2e-3), (
        "stress after leg 2, hardening, in the limit of small steps, the furthest off [MPa]"
    )
    assert s[3] == pytest.approx([16.8604, 20.2387, 12.9009], abs=2e-3), (
        "stress after leg 4, hardening, in the limit of small steps, the furthest off [MPa]"
    )
    assert s[7] == pytest.approx([-1.0328, -2.6047, 3.6375], abs=2e-3), (
        "stress after leg 8, hardening, in the limit of small steps, the furthest off [MPa]"
    )


@pytest.mark.parametrize("isotropic, kinematic", [(0, 0), (5e3, 0), (0, 5e3), (3e3, 2e3)])
@pytest.mark.parametrize("element", ["brick20", "brick8", "tet10"])
def test_tangent_is_the_derivative_of_the_force(element, isotropic, kinematic):
    """Central differences of the internal force along a random direction, in plastic flow."""
    import scipy.sparse as sp

    body = box(2, 2, 1, element)
    law = elastic(body, E, NU, 1e-3, SY, isotropic, kinematic)
    rng = np.random.default_rng(3)
    u = 4e-3 * rng.standard_normal(body.points.shape)
    internal_variables = body.virgin()
    plastic = 1e-3 * rng.standard_normal((*body.model.shape_counts, 6))
    plastic[..., :3] -= plastic[..., :3].mean(axis=-1, keepdims=True)
    internal_variables = InternalVariables(
        plastic, np.full(body.model.shape_counts, 1e-3), internal_variables.reference_strain
    )
    way = rng.standard_normal(u.shape)
    step = 1e-8
    _, _, _, eqp, data, _ = body.model.evaluate(u, law, internal_variables, True)
    assert (eqp > internal_variables.equivalent_plastic_strain).mean() > 0.9, (
        "share of the points that flow"
    )
    ahead = body.model.evaluate(u + step * way, law, internal_variables, False)[0]
    behind = body.model.evaluate(u - step * way, law, internal_variables, False)[0]
    p = body.model.pattern
    upper = sp.csr_matrix((data, p.indices, p.indptr), shape=(p.size, p.size))
    full = upper + sp.triu(upper, 1).T
    expected = ((ahead - behind) / (2 * step)).ravel()
    assert np.abs(full @ way.ravel() - expected).max() < 1e-5 * np.abs(expected).max(), (
        "change of the force, tangent against differences, largest difference"
    )
