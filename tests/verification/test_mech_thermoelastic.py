"""Thermal stress against closed forms. Steel of the tables: E = 210e3, alpha = 12e-6, nu = 0.3.

Formulas are those of Boley & Weiner, Theory of Thermal Stresses, and Timoshenko & Goodier,
Theory of Elasticity, ch. 13; units mm, N, MPa, K.
"""

from __future__ import annotations

import numpy as np
import pytest
import skfem

from tests.verification.mech_tools import (
    box,
    curvature,
    elastic,
    inherent,
    mapped,
    quarter_ring,
    rigid_part,
    solve,
)

E, ALPHA, NU = 210e3, 12e-6, 0.3
ALL = ("brick20", "tet10", "brick8")


def skewed(element):
    """A 3 x 2 x 2 block with every corner moved by a smooth map."""
    kind = skfem.MeshTet if element == "tet10" else skfem.MeshHex
    grid = kind.init_tensor(np.arange(4.0), np.arange(3.0), np.arange(3.0))

    def move(p):
        x, y, z = p
        return np.array([x + 0.1 * y * z, y + 0.15 * np.sin(x + z), z + 0.1 * x * y])

    return mapped(grid, move, element)


def symmetry(body, *axes):
    """Planes x = 0 and so on held along their own axis."""
    fixed = np.zeros_like(body.points, bool)
    for axis in axes:
        fixed[body.on(axis, 0.0), axis] = True
    return fixed


@pytest.mark.parametrize("element", ALL)
def test_free_expansion(element):
    """u = eps_th (x - x0), no stress, any shape. Must-hold 1: stress < 1e-8 E."""
    body = skewed(element)
    rise = ALPHA * 700
    found = solve(body, elastic(body, thermal=rise), body.free())
    stretched = found.displacement - rise * body.points
    assert np.abs(stretched - rigid_part(body.points, stretched)).max() < 1e-10, (
        "movement of a heated free body, largest difference from the closed form, mm"
    )
    assert np.abs(found.stress).max() < 1e-8 * E, "stress in a heated free body, at most, MPa"
    assert np.abs(found.reaction).max() < 1e-8 * E, "reaction of a heated free body, at most, N"


def linear_field(points, gradient):
    """Displacement of a free body with T = g x (Boley & Weiner)."""
    x, y, z = np.moveaxis(points, -1, 0)
    return ALPHA * gradient * np.stack([(x**2 - y**2 - z**2) / 2, x * y, x * z], axis=-1)


@pytest.mark.parametrize("element", ["brick20", "tet10"])
def test_linear_field_leaves_a_free_body_without_stress(element):
    """T = g x, exact for quadratic shapes. Cells with straight, parallel edges."""
    body = box(4, 3, 2, element)
    found = solve(body, elastic(body, thermal=ALPHA * 100 * body.at[..., 0]), body.free())
    assert np.abs(found.stress).max() < 1e-8 * E, "stress under a linear temperature, at most, MPa"
    off = found.displacement - linear_field(body.points, 100.0)
    assert np.abs(off - rigid_part(body.points, off)).max() < 1e-10, (
        "movement under a linear temperature, largest difference from the closed form, mm"
    )


def test_linear_field_on_linear_bricks_gets_better_with_refinement():
    """Must-hold 2: trilinear cells are not exact, but their stress falls with h, at least as h."""
    worst = []
    for n in (2, 4, 8):
        grid = np.linspace(0, 2, n + 1)
        body = box(grid, grid, grid, "brick8")
        found = solve(body, elastic(body, thermal=ALPHA * 100 * body.at[..., 0]), body.free())
        worst.append(np.sqrt((found.stress**2).mean()))
    assert worst[0] > 1.9 * worst[1] > 1.9**2 * worst[2], (
        "stress on three meshes, each at least 1.9 times smaller"
    )


@pytest.mark.parametrize("element", ALL)
@pytest.mark.parametrize(
    "held, expected", [(3, [-630.0] * 3), (2, [-360.0, -360.0, 0]), (1, [-252.0, 0, 0])]
)
def test_held_directions(element, held, expected):
    """100 K, faces held in 3, 2, 1 directions: E alpha dT / (1-2nu), / (1-nu), / 1."""
    body = box(3, 2, 2, element)
    fixed = symmetry(body, 0, 1, 2)
    for axis, end in zip(range(held), (3, 2, 2), strict=False):
        fixed[body.on(axis, end), axis] = True
    found = solve(body, elastic(body, thermal=ALPHA * 100), fixed)
    assert np.abs(found.stress[..., :3] - expected).max() < 1e-6, (
        "stress along the three axes, largest difference, MPa"
    )
    assert np.abs(found.stress[..., 3:]).max() < 1e-6, "shear stress, at most, MPa"


@pytest.mark.parametrize("element", ["brick20", "tet10"])
def test_plate_bow(element):
    """100 x 30 x 6, 100 K through the thickness: kappa = alpha dT / h = 2.0e-4, no stress.

    Sag over the length kappa L^2 / 8 = 0.25 mm, the hot face convex.
    """
    body = box(np.linspace(0, 100, 9), np.linspace(0, 30, 4), np.linspace(-3, 3, 2), element)
    heat = ALPHA * 100 * body.at[..., 2] / 6
    found = solve(body, elastic(body, thermal=heat), body.free())
    middle = body.on(2, 0.0) if body.on(2, 0.0).any() else body.on(2, -3.0)
    for axis in (0, 1):
        line = middle & body.on(1 - axis, 0.0)
        kappa = -curvature(body.points, found.displacement, axis, where=line)
        assert kappa == pytest.approx(2.0e-4, rel=1e-7), (
            "curvature of a plate hot on one face, "
            f"{'along' if axis == 0 else 'across'}, {element} [1/mm]"
        )
    assert np.abs(found.stress).max() < 1e-8 * E, "stress in the bowed plate, at most, MPa"
    line = middle & body.on(1, 0.0)
    x, w = body.points[line, 0], found.displacement[line, 2]
    sag = np.interp(50, np.sort(x), w[np.argsort(x)]) - np.interp([0, 100], np.sort(x),
        w[np.argsort(x)]).mean()  # fmt: skip
    assert sag == pytest.approx(2.0e-4 * 100**2 / 8, rel=1e-6), (
        f"sag of the bowed plate, {element} [mm]"
    )


def test_plate_held_flat():
    """Same gradient, bending held all around: +-E alpha dT / (2 (1-nu)) = 180 MPa at the faces."""
    body = box(np.linspace(0, 12, 3), np.linspace(0, 12, 3), np.linspace(-3, 3, 3))
    fixed = np.zeros_like(body.points, bool)
    fixed[:, 0] = body.on(0, 0.0) | body.on(0, 12.0)
    fixed[:, 1] = body.on(1, 0.0) | body.on(1, 12.0)
    fixed[body.nearest((0, 0, 0)), 2] = True
    found = solve(body, elastic(body, thermal=ALPHA * 100 * body.at[..., 2] / 6), fixed)
    expected = -180 * body.at[..., 2] / 3
    assert np.abs(found.stress[..., 0] - expected).max() < 1e-5, (
        "stress along the held plate, largest difference, MPa"
    )
    assert np.abs(found.stress[..., 1] - expected).max() < 1e-5, (
        "stress across the held plate, largest difference, MPa"
    )
    moment = (found.stress[..., 0] * body.at[..., 2] * body.volume).sum() / (12 * 12)
    assert moment == pytest.approx(-1080, rel=1e-6), (
        "moment in the held plate [N mm/mm]"
    )  # N mm / mm


def test_beam_with_a_parabolic_field():
    """T = 100 (1 - 4 z^2/h^2): sigma = E alpha T0 (2/3 - (1 - 4 z^2/h^2)), +168 and -84 MPa.

    nu = 0 makes the beam formula exact for a solid. Far from the end, at the points; 1 %.
    """
    body = box(np.linspace(0, 40, 9), np.linspace(0, 4, 2), np.linspace(-5, 5, 9))
    shape = 1 - 4 * body.at[..., 2] ** 2 / 100
    found = solve(
        body, elastic(body, poisson=0.0, thermal=ALPHA * 100 * shape), symmetry(body, 0, 1, 2)
    )
    inside = body.at[..., 0] < 15
    expected = E * ALPHA * 100 * (2 / 3 - shape)
    assert E * ALPHA * 100 * 2 / 3 == pytest.approx(168), (
        "formula for the stress at the faces, against the worked value [MPa]"
    )
    assert np.abs(found.stress[..., 0] - expected)[inside].max() < 1.68, (
        "stress through the beam, largest difference, MPa"
    )


# Timoshenko, Analysis of bi-metal thermostats, J. Opt. Soc. Am. 11 (1925) 233.
# layers (E, alpha, thickness) from the bottom; kappa; stress at bottom/top of 1, bottom/top of 2.
BIMETALS = [
    ((210e3, 12e-6, 3.0), (70e3, 23e-6, 3.0), 2.538462e-4, (-62.19, 97.73, -44.42, 8.88)),
    ((210e3, 12e-6, 4.0), (193e3, 17e-6, 2.0), 1.093183e-4, (-34.54, 57.29, -43.85, -1.65)),
    ((200e3, 12e-6, 1.0), (200e3, 18e-6, 1.0), 4.5e-4, (-30.0, 60.0, -60.0, 30.0)),
]


@pytest.mark.parametrize("one, two, kappa, corners", BIMETALS)
def test_bimetal(one, two, kappa, corners):
    """Strip heated by 100 K; nu = 0 makes the strip formula exact for a solid, to the digits."""
    t1, t2 = one[2], two[2]
    z = np.r_[np.linspace(0, t1, 3), np.linspace(t1, t1 + t2, 3)[1:]]
    half = 6 * (t1 + t2)
    body = box(np.linspace(0, half, 13), np.linspace(0, 1, 2), z)
    low = body.at[..., 2] < t1
    modulus, alpha = np.where(low, one[0], two[0]), np.where(low, one[1], two[1])
    fixed = symmetry(body, 0, 1)
    fixed[body.nearest((0, 0, 0)), 2] = True
    found = solve(body, elastic(body, modulus, 0.0, 100 * alpha), fixed)
    line = body.on(1, 0.0) & body.on(2, 0.0) & (body.points[:, 0] < half / 2)
    got = -curvature(body.points, found.displacement, where=line)
    assert got == pytest.approx(kappa, rel=2e-4), (
        f"curvature of a strip of two metals, {t1:g} on {t2:g} mm [1/mm]"
    )
    inside = body.at[..., 0] < half / 3
    ends = []
    for layer in (low, ~low):
        at = inside & layer
        fit = np.polyfit(body.at[at][:, 2], found.stress[at][:, 0], 1)
        ends += list(np.polyval(fit, (0, t1) if layer is low else (t1, t1 + t2)))
    assert ends == pytest.approx(corners, abs=0.05), (
        f"stress at the four faces of the layers, {t1:g} on {t2:g} mm, the furthest off [MPa]"
    )


def test_bimetal_plate():
    """Plate with equal nu: same curvature as the strip, both ways, far from the rim; 2 %."""
    one, two, kappa, _ = BIMETALS[1]
    z = np.r_[np.linspace(0, 4, 3), np.linspace(4, 6, 2)[1:]]
    side = np.linspace(0, 48, 9)
    body = box(side, side, z)
    low = body.at[..., 2] < 4
    heat = 100 * np.where(low, one[1], two[1])
    fixed = symmetry(body, 0, 1)
    fixed[body.nearest((0, 0, 0)), 2] = True
    found = solve(body, elastic(body, np.where(low, one[0], two[0]), NU, heat), fixed)
    for axis in (0, 1):
        line = body.on(1 - axis, 0.0) & body.on(2, 0.0) & (body.points[:, axis] < 25)
        got = -curvature(body.points, found.displacement, axis, where=line)
        assert got == pytest.approx(kappa, rel=0.02), (
            f"curvature of a plate of two metals, {'along' if axis == 0 else 'across'} [1/mm]"
        )


def log_field(r, a=100.0, b=200.0, rise=100.0):
    """Temperature and hoop stress of a long cylinder, inside hotter (Timoshenko & Goodier 13.5)."""
    span = np.log(b / a)
    shape = 1 - np.log(b / r) - a**2 / (b**2 - a**2) * (1 + b**2 / r**2) * span
    return rise * np.log(b / r) / span, E * ALPHA * rise / (2 * (1 - NU) * span) * shape


def test_thick_cylinder_with_a_logarithmic_field():
    """a = 100, b = 200, 100 K: hoop -220.31 inside, +139.69 outside; polygon of chords, 1 %."""
    assert log_field(100.0)[1] == pytest.approx(-220.31, abs=0.01), (
        "formula for the hoop stress inside, against the worked value [MPa]"
    )
    assert log_field(200.0)[1] == pytest.approx(139.69, abs=0.01), (
        "formula for the hoop stress outside, against the worked value [MPa]"
    )
    body = quarter_ring(100, 200, radial=12, around=16)
    fixed = symmetry(body, 0, 1)
    fixed[:, 2] = True
    x, y = body.at[..., 0], body.at[..., 1]
    r = np.hypot(x, y)
    temperature, expected = log_field(r)
    found = solve(body, elastic(body, thermal=ALPHA * temperature), fixed)
    c, s = x / r, y / r
    sx, sy, txy = found.stress[..., 0], found.stress[..., 1], found.stress[..., 3]
    hoop = sx * s**2 + sy * c**2 - 2 * txy * s * c
    assert np.abs(hoop - expected).max() < 0.01 * 220.31, (
        "hoop stress through the wall, largest difference, MPa"
    )


def test_hot_disc_in_a_wide_plate():
    """Disc of radius 50 heated by 100 K: -E alpha T/2 inside, +E alpha T R^2/(2 r^2) hoop outside.

    Thin plate in plane stress (the closed form behind NAFEMS T1); outer radius 12 R adds
    (R/b)^2 = 0.7 % of it inside.
    """
    r = np.r_[50 - np.geomspace(45, 1.5, 10), np.r_[50, 50 + np.geomspace(1.5, 550, 16)]]
    grid = skfem.MeshHex.init_tensor(r, np.linspace(0, np.pi / 2, 17), np.array([0.0, 1.0]))
    body = mapped(grid, lambda p: np.array([p[0] * np.cos(p[1]), p[0] * np.sin(p[1]), p[2]]))
    radius = np.hypot(body.at[..., 0], body.at[..., 1])
    hot = grid.p[0, grid.t].mean(axis=0) < 50
    fixed = symmetry(body, 0, 1, 2)
    # plane stress with a thin, free z face; the pinhole at the centre is filled by its own stress:
    # points on it move as the closed form says, u = (1 + nu) alpha T r / 2 + hydrostatic part.
    hole = np.hypot(body.points[:, 0], body.points[:, 1]) < 5.001
    fixed[hole, :2] = True
    rate = ALPHA * 100 * (1 + NU) / 2 * (1 + (1 - NU) / (1 + NU) * (50 / 600) ** 2)
    prescribed = rate * body.points
    thermal = np.where(hot, ALPHA * 100, 0.0)[:, None]
    found = solve(body, elastic(body, thermal=thermal), fixed, prescribed=prescribed)
    expected = E * ALPHA * 100 / 2
    inner = (radius > 6) & (radius < 45)
    assert np.abs(found.stress[inner][:, :2] + expected).max() < 0.02 * expected, (
        "stress in the hot disc, largest difference, MPa"
    )
    x, y = body.at[..., 0] / radius, body.at[..., 1] / radius
    s = found.stress
    hoop = s[..., 0] * y**2 + s[..., 1] * x**2 - 2 * s[..., 3] * x * y
    outside = (radius > 55) & (radius < 300)
    target = expected * ((50 / radius) ** 2 + (50 / 600) ** 2)
    assert np.abs(hoop - target)[outside].max() < 0.03 * expected, (
        "hoop stress around the disc, largest difference, MPa"
    )


@pytest.mark.parametrize("poisson", [0.0, NU])
def test_shrinking_strip_in_a_beam(poisson):
    """Section 100 x 10, strip 8 deep at one edge, e* = -1e-3 along: inherent-strain beam.

    eps0 = -8.0e-5 (0.0800 mm over 1000), kappa = -4.416e-6 (camber 0.5520 mm); stress +146.83 at
    the outer edge, +154.25 and -55.75 beside the strip's border, +29.57 at the far edge. Elementary
    beam algebra; half the beam, three depths long; 1 %. With nu = 0.3 the strip and the rest also
    contract unequally across, which beam algebra leaves out: 4 % of the stress at the border.
    """
    y = np.r_[np.linspace(-50, 42, 9), 50.0]
    body = box(np.linspace(0, 300, 16), y, np.array([-5.0, 0, 5.0]))
    strip = body.at[..., 1] > 42
    fixed = symmetry(body, 0)
    fixed[body.nearest((0, -50, -5)), 1:] = True
    fixed[body.nearest((0, 50, -5)), 2] = True
    found = solve(
        body,
        elastic(body, poisson=poisson),
        fixed,
        internal_variables=inherent(body, np.where(strip, -1e-3, 0), 0),
    )
    line = body.on(2, 0.0) & body.on(1, -50.0) & (body.points[:, 0] < 160)
    kappa = -curvature(body.points, found.displacement, 0, 1, line)
    assert kappa == pytest.approx(-4.416e-6, rel=0.01), (
        f"curvature of the beam, Poisson's ratio {poisson:g} [1/mm]"
    )
    assert kappa * 1000**2 / 8 == pytest.approx(-0.5520, rel=0.01), (
        f"camber of the beam over 1000 mm, Poisson's ratio {poisson:g} [mm]"
    )
    inside = body.at[..., 0] < 100
    strain = body.model.strain(found.displacement)[inside]
    eps0 = np.polyfit(body.at[inside][:, 1], strain[:, 0], 1)[1]
    assert eps0 == pytest.approx(-8.0e-5, rel=0.01), (
        f"strain at the middle of the section, Poisson's ratio {poisson:g}"
    )
    edges = []
    for layer, ends in ((strip, (50, 42)), (~strip, (42, -50))):
        at = inside & layer
        fit = np.polyfit(body.at[at][:, 1], found.stress[at][:, 0], 1)
        edges += list(np.polyval(fit, ends))
    assert edges == pytest.approx([146.83, 154.25, -55.75, 29.57], abs=6 if poisson else 0.1), (
        "stress at both sides of the strip and the rest, Poisson's ratio "
        f"{poisson:g}, the furthest off [MPa]"
    )
    section = (found.stress[inside] * body.volume[inside][:, None])[:, 0]
    assert abs(section.sum()) < 1e-3 * np.abs(section).sum(), (
        "force on the section, against what its parts add up to, N"
    )


@pytest.mark.parametrize(
    "depth, degrees", [(3.0, -1.375), (1.5, -1.031), (4.5, -1.031), (6.0, 0.0)]
)
def test_angular_change(depth, degrees):
    """beta = (12/h^3) e* w d (h-d)/2; h = 6, w = 8, e* = -0.012 across. Shrinkage e* w d/h.

    Reciprocal theorem with pure bending as the second state makes it exact for a solid. Both
    sides of a plate strip 48 wide; sign: the faces close toward the welded face.
    """
    x = np.r_[np.linspace(-24, -4, 6), np.linspace(-4, 4, 9)[1:], np.linspace(4, 24, 6)[1:]]
    body = box(x, np.array([0.0, 1.0, 2.0]), np.linspace(-3, 3, 5))
    weld = (np.abs(body.at[..., 0]) < 4) & (body.at[..., 2] > 3 - depth)
    found = solve(body, elastic(body), body.free(),
                  internal_variables=inherent(body, np.where(weld, -0.012, 0.0), 0))  # fmt: skip
    turns, shifts = [], []
    for end in (-24.0, 24.0):
        face = body.on(0, end)
        fit = np.polyfit(body.points[face, 2], found.displacement[face, 0], 1)
        turns.append(fit[0])
        shifts.append(fit[1])
    assert np.degrees(turns[1] - turns[0]) == pytest.approx(degrees, abs=0.002), (
        f"angular change, weld {depth:g} mm deep in 6 mm [deg]"
    )
    assert shifts[1] - shifts[0] == pytest.approx(-0.012 * 8 * depth / 6, rel=2e-3), (
        f"shrinkage across, weld {depth:g} mm deep in 6 mm [mm]"
    )
