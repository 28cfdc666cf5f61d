"""Patch tests, rigid motion, and slender elastic bodies against handbook values."""

from __future__ import annotations

import numpy as np
import pytest
import skfem

from tests.verification.mech_tools import (
    body_of,
    box,
    elastic,
    facets_where,
    mises,
    quarter_ring,
    solve,
    surface_load,
)

ALL = ("brick20", "tet10", "brick8")

# MacNeal & Harder, A proposed standard set of problems to test finite element accuracy, Finite
# Elements in Analysis and Design 1 (1985) 3-20: unit cube with eight skewed inner points.
SOLID_PATCH = [
    (0.249, 0.342, 0.192), (0.826, 0.288, 0.288), (0.850, 0.649, 0.263), (0.273, 0.750, 0.230),
    (0.320, 0.186, 0.643), (0.677, 0.305, 0.683), (0.788, 0.693, 0.644), (0.165, 0.745, 0.702),
]  # fmt: skip
CORNERS = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 1)]


def patch(element):
    """The seven skewed bricks, or tetrahedra with their inner corners moved about."""
    if element == "tet10":
        mesh = skfem.MeshTet.init_tensor(*[np.linspace(0, 1, 4)] * 3)
        p = mesh.p.copy()
        inner = np.all((p > 0.01) & (p < 0.99), axis=0)
        p[:, inner] += np.random.default_rng(1).uniform(-0.08, 0.08, (3, inner.sum()))
        return body_of(skfem.MeshTet(p, mesh.t.copy()), element)
    number = {c: i for i, c in enumerate(CORNERS)}
    order = [tuple(np.round(c).astype(int)) for c in skfem.MeshHex().elem.refdom.p.T]
    cells = [[number[c] + 8 for c in order]]
    for axis in range(3):
        for side in (0, 1):
            # a cell between the outer face (fixed axis at `side`) and the inner brick's face
            cell = []
            for c in order:
                at = list(c)
                outside = c[axis] == side
                at[axis] = side
                cell.append(number[tuple(at)] + (0 if outside else 8))
            cells.append(cell)
    p = np.array(CORNERS + SOLID_PATCH, float).T
    return body_of(skfem.MeshHex(p, np.array(cells).T), element)


def outer(body):
    return np.any((np.abs(body.points) < 1e-9) | (np.abs(body.points - 1) < 1e-9), axis=1)


@pytest.mark.parametrize("element", ALL)
def test_solid_patch(element):
    """u = 5e-4 (2x+y+z, x+2y+z, x+y+2z), E = 1e6, nu = 0.25: normal 2000, shear 400 everywhere."""
    body = patch(element)
    assert body.volume.sum() == pytest.approx(1.0, rel=1e-12), "volume of the patch"
    exact = 5e-4 * body.points @ (np.ones((3, 3)) + np.eye(3))
    fixed = np.repeat(outer(body)[:, None], 3, axis=1)
    assert not fixed.all(), "some points are free"  # there are inner points to find
    found = solve(body, elastic(body, 1e6, 0.25), fixed, prescribed=exact)
    assert np.abs(found.displacement - exact).max() < 1e-8 * 2e-3, (
        "displacement of the inner points, largest difference from the exact one"
    )
    assert np.abs(found.stress - [2000, 2000, 2000, 400, 400, 400]).max() < 1e-8 * 2000, (
        "stress in the patch, largest difference from 2000 and 400"
    )


def test_plane_patch():
    """MacNeal-Harder plane patch as one layer of 20-node bricks: 1333.33, 1333.33, shear 400."""
    flat = np.array(
        [(0, 0), (0.24, 0), (0.24, 0.12), (0, 0.12),
         (0.04, 0.02), (0.18, 0.03), (0.16, 0.08), (0.08, 0.08)]
    )  # fmt: skip
    quads = [(0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7), (4, 5, 6, 7)]
    p = np.vstack([np.c_[flat, np.zeros(8)], np.c_[flat, np.full(8, 1e-3)]]).T
    order = [tuple(np.round(c).astype(int)) for c in skfem.MeshHex().elem.refdom.p.T]
    ring = {(0, 0): 0, (1, 0): 1, (1, 1): 2, (0, 1): 3}
    t = np.array([[q[ring[c[:2]]] + 8 * c[2] for c in order] for q in quads]).T
    body = body_of(skfem.MeshHex(p, t))
    x, y, z = body.points.T
    exact = np.stack([1e-3 * (x + y / 2), 1e-3 * (y + x / 2), 0 * z], axis=1)
    rim = (np.abs(x) < 1e-9) | (np.abs(x - 0.24) < 1e-9)
    rim |= (np.abs(y) < 1e-9) | (np.abs(y - 0.12) < 1e-9)
    fixed = np.zeros_like(exact, bool)
    fixed[rim, :2] = True
    fixed[body.nearest((0, 0, 0)), 2] = True
    found = solve(body, elastic(body, 1e6, 0.25), fixed, prescribed=exact)
    expected = np.array([4000 / 3, 4000 / 3, 0, 400, 0, 0])
    assert np.abs(found.stress - expected).max() < 1e-8 * 1333, (
        "stress in the plane patch, largest difference from 1333 and 400"
    )


@pytest.mark.parametrize("element", ALL)
def test_rigid_motion_makes_no_stress(element):
    """Translation and infinitesimal rotation of a skewed body: strain is rounding only."""
    body = patch(element)
    turn = np.array([[0, -3e-3, 1e-3], [3e-3, 0, -2e-3], [-1e-3, 2e-3, 0]])
    u = body.points @ turn.T + [0.1, -0.2, 0.3]
    force, stress, plastic, _, _, _ = body.model.evaluate(
        u, elastic(body, 210e3, yield_stress=355.0), body.virgin(), False
    )
    assert np.abs(stress).max() < 1e-10 * 210e3, (
        "stress of a body moved and turned as a whole, at most"
    )
    assert np.abs(force).max() < 1e-10 * 210e3, (
        "force in a body moved and turned as a whole, at most"
    )
    assert np.all(plastic == 0), "no flow in a body moved and turned as a whole"


@pytest.mark.parametrize("element", ALL)
@pytest.mark.parametrize("cells", [(1, 1, 1), (4, 1, 1), (4, 2, 1), (4, 4, 1), (2, 2, 2)])
def test_no_spurious_zero_energy_modes(element, cells):
    """Six rigid motions cost no energy, and nothing else, in any body two or more cells wide.

    A 20-node brick with 2x2x2 points has 48 strains for 54 deforming shapes, so six hourglass
    shapes alone. Between neighbours they die out, except in a single file of cells, where one
    shape a cell and one more live on: a bar must be at least two cells wide somewhere (Zienkiewicz
    & Taylor, The Finite Element Method, vol. 1, on reduced integration of serendipity elements).
    """
    import scipy.sparse as sp

    body = box(*cells, element=element)
    data = body.model.evaluate(body.still(), elastic(body, 1.0), body.virgin(), True)[4]
    p = body.model.pattern
    upper = sp.csr_matrix((data, p.indices, p.indptr), shape=(p.size, p.size)).toarray()
    values = np.linalg.eigvalsh(upper + np.triu(upper, 1).T)
    zero = int((np.abs(values) < 1e-10 * values[-1]).sum())
    single_file = {(1, 1, 1): 6, (4, 1, 1): 5}
    assert zero == 6 + (single_file.get(cells, 0) if element == "brick20" else 0), (
        "ways to move without strain"
    )


MACNEAL_BEAM = {0: 3.0e-5, 1: 0.1081, 2: 0.4321}  # extension, in plane (depth 0.2), out of plane


@pytest.mark.parametrize("element", ["brick20", "tet10"])
@pytest.mark.parametrize("axis", MACNEAL_BEAM)
def test_slender_beam(element, axis):
    """MacNeal-Harder straight cantilever 6 x 0.2 x 0.1, E = 1e7, nu = 0.3, unit tip load.

    The paper's values, read in a public manual (weldsim/validation/copies.py); Euler-Bernoulli
    gives 3.0e-5, 0.1080, 0.4320. 2 %: the clamped end's shortening of the first cell's length is a
    few tenths of a percent.
    """
    body = box(np.linspace(0, 6, 25), np.linspace(0, 0.2, 3), np.linspace(0, 0.1, 2), element)
    fixed = np.repeat(body.on(0, 0.0)[:, None], 3, axis=1)
    unit = np.eye(3)[axis] / 0.02
    load = surface_load(body, facets_where(body, lambda p: p[0] > 6 - 1e-9), unit)
    assert load.sum(axis=0) == pytest.approx(np.eye(3)[axis], abs=1e-12), (
        "load on the end of the beam, its three parts, the furthest off"
    )
    found = solve(body, elastic(body, 1e7, 0.3), fixed, load=load)
    tip = found.displacement[body.on(0, 6.0), axis].mean()
    assert tip == pytest.approx(MACNEAL_BEAM[axis], rel=0.02), (
        f"movement of the end of the beam, {['along', 'sideways', 'up'][axis]}, {element}"
    )
    assert found.reaction.sum(axis=0) == pytest.approx(-np.eye(3)[axis], abs=1e-5), (
        "reaction at the root, its three parts, the furthest off"
    )


def test_cantilever():
    """L = 100, 10 x 10, P = 100, E = 210e3: 0.191962 with shear (Timoshenko, factor 5/6).

    The root face may shrink sideways as in beam theory, and is held up along its neutral line,
    where the shear force squashes it by some P/(G h), under 0.1 %: 0.5 %.
    Stress beyond 25 mm from the end: M z / I, linear over the depth.
    """
    body = box(np.linspace(0, 100, 21), np.linspace(-5, 5, 3), np.linspace(-5, 5, 3))
    root = body.on(0, 0.0)
    fixed = np.stack([root, root & body.on(1, 0.0), root & body.on(2, 0.0)], axis=1)
    end = facets_where(body, lambda p: p[0] > 100 - 1e-9)
    found = solve(body, elastic(body), fixed, load=surface_load(body, end, (0, 0, -1.0)))
    tip = found.displacement[body.on(0, 100.0), 2].mean()
    assert tip == pytest.approx(-0.191962, rel=5e-3), (
        "movement of the cantilever's end with shear [mm]"
    )
    at = (body.at[..., 0] > 25) & (body.at[..., 0] < 60)
    bending = 100 * (100 - body.at[..., 0]) * body.at[..., 2] / (10**4 / 12)
    assert np.abs(found.stress[..., 0] - bending)[at].max() < 0.01 * 45, (
        "bending stress away from the ends, largest difference, MPa"
    )
    pulled = solve(body, elastic(body), fixed, load=surface_load(body, end, (10.0, 0, 0)))
    assert pulled.displacement[body.on(0, 100.0), 0].mean() == pytest.approx(0.0047619, rel=5e-3), (
        "lengthening of the pulled bar [mm]"
    )


@pytest.mark.parametrize("element", ALL)
def test_thick_cylinder_under_pressure(element):
    """Lame: a = 100, b = 200, p = 50, plane strain: u(a) 0.045397, u(b) 0.028889; stress fields.

    The ring is a polygon of 7.5 degree chords: its radius is off by up to 0.2 %, so 1 %.
    """
    radial = 10 if element != "brick8" else 24
    body = quarter_ring(100, 200, radial=radial, around=12, element=element)
    fixed = np.zeros_like(body.points, bool)
    fixed[:, 2] = True
    fixed[body.on(0, 0.0), 0] = True
    fixed[body.on(1, 0.0), 1] = True
    hole = facets_where(body, lambda p: np.abs(np.hypot(p[0], p[1]) - 100) < 1e-6)
    load = surface_load(body, hole, 50.0)
    assert load[:, 0].sum() == pytest.approx(50 * 100 * 20, rel=1e-9), (
        "pressure on the hole over its projected area [N]"
    )  # projected area
    found = solve(body, elastic(body), fixed, load=load)
    for radius, expected in ((100, 0.045397), (200, 0.028889)):
        u = found.displacement[body.nearest((radius, 0, 0)), 0]
        assert u == pytest.approx(expected, rel=0.01), (
            f"radial movement at a radius of {radius} mm, {element} [mm]"
        )
    x, y = body.at[..., 0], body.at[..., 1]
    r = np.hypot(x, y)
    c, s = x / r, y / r
    sx, sy, txy = found.stress[..., 0], found.stress[..., 1], found.stress[..., 3]
    hoop = sx * s**2 + sy * c**2 - 2 * txy * s * c
    radial_stress = sx * c**2 + sy * s**2 + 2 * txy * s * c
    scale = 50 * 100**2 / (200**2 - 100**2)
    sharp = {"brick20": 0.01, "tet10": 0.04, "brick8": 0.04}[element] * 83.333
    assert scale * (1 + 4) == pytest.approx(83.333, abs=1e-3), (
        "formula for the hoop stress at the hole, against the worked value [MPa]"
    )
    assert np.abs(hoop - scale * (1 + 200**2 / r**2)).max() < sharp, (
        "hoop stress through the wall, largest difference, MPa"
    )
    assert np.abs(radial_stress - scale * (1 - 200**2 / r**2)).max() < sharp, (
        "radial stress through the wall, largest difference, MPa"
    )
    assert mises(found.stress).max() > 80, "equivalent stress, at least, MPa"
