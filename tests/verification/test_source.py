"""Heat source: double ellipsoid of J. Goldak, A. Chakravarti, M. Bibby, Metall. Trans. B 15 (1984)
299-305, with the shares that make it continuous. Normalisation, truncated fractions and centroid
are re-derived here (Gaussian integrals), so the tolerances are those of the quadrature."""

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss
from scipy.special import erf

from tests.verification.heat_problem import block, everything, heat_model
from tests.verification.instant import heat_density
from weldsim.errors import MeshError
from weldsim.geometry.path import Seam
from weldsim.physics.heat_source import DoubleEllipsoid, cross_section, mean_density

START, END = np.zeros(3), np.array([0.05, 0.0, 0.0])
DOWN = np.array([0.0, 0.0, 1.0])
# Case A of the worked values: 2000 W, a, b, c_f, c_r = 5, 4, 5, 10 mm, 5 mm/s.
ARC = DoubleEllipsoid(2000.0, 0.005, 0.010, 0.005, 0.004, 0.005, Seam(START, END, DOWN))


def gauss(low, high, pieces=8, order=8):
    """Composite Gauss-Legendre points and weights."""
    x, w = leggauss(order)
    edges = np.linspace(low, high, pieces + 1)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half + half * x).ravel(), (half * w).ravel()


def integral(arc, time, xi, y, z, weight=lambda p: 1.0):
    """Integral of the density over a box around the arc, times a weight of the position."""
    (px, wx), (py, wy), (pz, wz) = xi, y, z
    grid = np.stack(np.meshgrid(px, py, pz, indexing="ij"), -1).reshape(-1, 3)
    place = grid + arc.speed * time * np.array([1.0, 0, 0])
    w = (wx[:, None, None] * wy[:, None] * wz).ravel()
    return float((heat_density(place, time, arc) * w * weight(grid)).sum())


def halves(arc, reach=4.0):
    """Quadrature ahead of and behind the arc, where the density has a kink."""
    return gauss(0, reach * arc.front_length), gauss(-reach * arc.rear_length, 0)


def test_half_space_receives_the_whole_power_in_the_stated_shares():
    a, b = ARC.half_width, ARC.depth
    y, z = gauss(-4 * a, 4 * a), gauss(0, 4 * b)
    front, rear = (integral(ARC, 1.3, x, y, z) for x in halves(ARC))
    # f_f + f_r = 2 and each half receives f Q / 2, with f_f = 2 c_f / (c_f + c_r) = 2/3 here.
    assert ARC.shares == pytest.approx((2 / 3, 4 / 3), rel=1e-12), (
        "share of the front half and of the rear half [1]"
    )
    assert front == pytest.approx(2000 / 3, rel=1e-6), (
        "power ahead of the arc, a third of 2000 W [W]"
    )
    assert rear == pytest.approx(4000 / 3, rel=1e-6), (
        "power behind the arc, two thirds of 2000 W [W]"
    )


def test_peak_density_and_five_per_cent_at_one_semi_axis():
    peak = heat_density(np.zeros((1, 3)), 0.0, ARC)[0]
    # 6 sqrt(3) f Q / (a b c pi^1.5), worked for Case A.
    assert peak == pytest.approx(2.488432e10, rel=1e-6), (
        "heat density at the middle of the source [W/m3]"
    )
    ends = np.array([[5, 0, 0], [-10, 0, 0], [0, 5, 0], [0, -5, 0], [0, 0, 4]]) * 1e-3
    assert heat_density(ends, 0.0, ARC) == pytest.approx(peak * np.exp(-3), rel=1e-12), (
        "heat density one semi-axis away in five directions, the furthest off [W/m3]"
    )


@pytest.mark.parametrize("front, rear", [(0.005, 0.010), (0.003, 0.012), (0.004, 0.004)])
def test_density_is_continuous_at_the_arc(front, rear):
    arc = DoubleEllipsoid(1000.0, front, rear, 0.003, 0.003, 0.005, ARC.seam)
    sides = heat_density(np.array([[1e-12, 0, 0], [-1e-12, 0, 0]]), 0.0, arc)
    # The common 0.6 / 1.4 with rear = 4 front jumps by 1.71; the shares in use do not.
    assert sides[0] / sides[1] == pytest.approx(1.0, rel=1e-9), (
        "heat density just ahead of the arc over just behind, "
        f"{1e3 * front:g} and {1e3 * rear:g} mm"
    )


def test_centroid_of_the_heat_lies_behind_the_arc():
    a, b = ARC.half_width, ARC.depth
    y, z = gauss(-4 * a, 4 * a), gauss(0, 4 * b)
    moment = sum(integral(ARC, 0.0, x, y, z, lambda p: p[:, 0]) for x in halves(ARC))
    front, rear = ARC.shares
    expected = (front * ARC.front_length - rear * ARC.rear_length) / (2 * np.sqrt(3 * np.pi))
    assert moment / ARC.power == pytest.approx(expected, rel=1e-5), (
        "centroid of the heat along the seam, from the arc [m]"
    )


@pytest.mark.parametrize(
    "scale, caught", [(1.0, 0.88839), (1.25, 0.97530), (1.5, 0.99633), (2.0, 0.999975)]
)
def test_fraction_inside_a_scaled_ellipsoid(scale, caught):
    """Radial integral in the stretched frame: 4/sqrt(pi) int r^2 exp(-r^2) dr to sqrt(3) scale.

    Checked on the density itself by sampling each octant in spherical coordinates.
    """
    r, wr = gauss(0, scale)
    u, wu = gauss(0, 1)  # cosine of the polar angle
    p, wp = gauss(-np.pi / 2, np.pi / 2)
    total = 0.0
    for sign, length in ((1, ARC.front_length), (-1, ARC.rear_length)):
        rr, uu, pp = np.meshgrid(r, u, p, indexing="ij")
        flat = np.sqrt(1 - uu**2)
        # polar axis along the travel; the half circle p covers z >= 0
        place = np.stack(
            [
                sign * length * rr * uu,
                ARC.half_width * rr * flat * np.sin(pp),
                ARC.depth * rr * flat * np.cos(pp),
            ],
            -1,
        ).reshape(-1, 3)
        jacobian = length * ARC.half_width * ARC.depth * rr**2
        w = wr[:, None, None] * wu[:, None] * wp
        density = heat_density(place, 0.0, ARC).reshape(w.shape)
        total += float((density * jacobian * w).sum())
    assert total / ARC.power == pytest.approx(caught, abs=6e-6), (
        f"share of the power within {scale:g} times the semi-axes"
    )


@pytest.mark.parametrize("ratio, caught", [(0.5, 0.77933), (1.0, 0.98569), (1.5, 0.99976)])
def test_fraction_inside_a_plate(ratio, caught):
    """A plate of thickness d catches erf(sqrt(3) d / b)."""
    y, wy = gauss(-4 * ARC.half_width, 4 * ARC.half_width)
    z, wz = gauss(0, ratio * ARC.depth)
    yy, zz = np.meshgrid(y, z, indexing="ij")
    got = float((cross_section(yy, zz, ARC) * wy[:, None] * wz).sum())
    assert got == pytest.approx(caught, abs=6e-6), (
        f"share of the power in a plate {ratio:g} times as thick as the source is deep"
    )
    assert got == pytest.approx(erf(np.sqrt(3) * ratio), rel=1e-7), (
        f"the same share, closed form, {ratio:g} times as thick"
    )


@pytest.mark.parametrize("begin, end", [(0.0, 0.01), (1.0, 1.5), (2.0, 9.0)])
def test_step_mean_is_the_time_average_of_the_instants(begin, end):
    """Closed form of the step mean against quadrature in time of the instantaneous density."""
    rng = np.random.default_rng(3)
    places = rng.uniform([-0.01, -0.006, 0], [0.05, 0.006, 0.005], (40, 3))
    for place in places:
        # The density has a kink when the arc passes, so the step is split there.
        passing = np.clip(place[0] / ARC.speed, begin, end)
        total = 0.0
        for low, high in ((begin, passing), (passing, end)):
            if high > low:
                t, w = gauss(low, high, pieces=24)
                instants = [heat_density(place[None], s, ARC)[0] for s in t]
                total += float(np.dot(w, instants))
        mean = mean_density(place[None], begin, end, ARC)[0]
        assert mean == pytest.approx(total / (end - begin), rel=1e-8, abs=1e-3), (
            f"mean heat density from {begin:g} to {end:g} s, {1e3 * place[0]:.0f} mm along [W/m3]"
        )


def bar(length=0.05, half_width=0.01, thickness=0.006):
    x = np.linspace(0, length, 26)
    y = np.linspace(-half_width, half_width, 11)
    return heat_model(*block(x, y, np.linspace(0, thickness, 5)))


@pytest.mark.parametrize(
    "what, begin, end",
    [("start", 0.0, 0.05), ("middle", 4.0, 4.5), ("run-out", 9.8, 10.0), ("whole pass", 0.0, 10.0)],
)
def test_nodal_power_is_the_arc_power_at_every_place(what, begin, end):
    """Must hold: source total = Q every step, also at ends and on a plate thinner than the arc."""
    model = bar()
    active = everything(model)
    power, factor = model.mesh.power(active, ARC, begin, end)
    assert power.sum() == pytest.approx(2000.0, rel=1e-12), (
        f"power that the nodes get, {what} of the seam [W]"
    )
    assert np.all(power >= 0), "no node is cooled by the source"
    if what == "middle":
        # lateral reach 2 semi-axes, d/b = 1.5: erf(2 sqrt 3) erf(1.5 sqrt 3) of Q is caught
        assert 1 / factor == pytest.approx(0.99976, abs=5e-3), (
            "share of the heat that a plate of 6 mm catches, middle of the seam"
        )
    if what == "start":
        # on the end face of the bar only the front share is inside: a third of the heat
        assert 1 / factor == pytest.approx(1 / 3, abs=0.03), (
            "share of the heat inside the bar when the arc starts at its end"
        )


def test_overhang_at_an_edge_is_rescaled():
    """A seam on the long edge: half the Gaussian hangs in the air and is brought back."""
    edge = Seam(np.array([0, 0.01, 0.0]), np.array([0.05, 0.01, 0.0]), DOWN)
    arc = DoubleEllipsoid(500.0, 0.005, 0.010, 0.005, 0.004, 0.005, edge)
    model = bar()
    power, factor = model.mesh.power(everything(model), arc, 4.0, 5.0)
    assert power.sum() == pytest.approx(500.0, rel=1e-12), (
        "power that the nodes get from a seam on the edge [W]"
    )
    assert factor == pytest.approx(2.0, rel=0.01), (
        "factor that brings back what hangs over the edge"
    )


def test_cells_that_are_not_laid_receive_nothing():
    model = bar()
    active = model.points[model.cells].mean(axis=1)[:, 0] < 0.024
    power, _ = model.mesh.power(active, ARC, 4.5, 5.5)
    assert power.sum() == pytest.approx(2000.0, rel=1e-12), "power that the laid cells get [W]"
    assert np.all(power[model.points[:, 0] > 0.0245] == 0.0), "cells that are not laid get nothing"


def test_an_arc_off_the_part_is_refused():
    model = bar()
    away = Seam(START + [0, 5.0, 0], END + [0, 5.0, 0], DOWN)
    arc = DoubleEllipsoid(500.0, 0.005, 0.010, 0.005, 0.004, 0.005, away)
    with pytest.raises(MeshError, match="does not touch"):
        model.mesh.power(everything(model), arc, 1.0, 2.0)


def test_step_without_length_is_refused():
    with pytest.raises(ValueError, match="positive length"):
        mean_density(np.zeros((1, 3)), 1.0, 1.0, ARC)


@pytest.mark.parametrize("turned", ["x to y", "x to z"])
def test_density_follows_the_seam(turned):
    """The same source in another frame: only distances in the seam's frame count."""
    rotation = {
        "x to y": np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]]),
        "x to z": np.array([[0, 0, -1.0], [0, 1, 0], [1, 0, 0]]),
    }[turned]
    shift = np.array([0.3, -0.2, 0.1])
    seam = Seam(shift, rotation @ END + shift, rotation @ DOWN)
    arc = DoubleEllipsoid(2000.0, 0.005, 0.010, 0.005, 0.004, 0.005, seam)
    places = np.random.default_rng(1).uniform(-0.01, 0.01, (50, 3))
    moved = places @ rotation.T + shift
    assert mean_density(moved, 0.2, 0.7, arc) == pytest.approx(
        mean_density(places, 0.2, 0.7, ARC), rel=1e-9
    ), f"mean heat density of the turned seam, {turned}, over 50 places, the furthest off [W/m3]"
