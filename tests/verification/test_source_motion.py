"""Dwell, crater, weave and closed seams of the arc: moments and balances of the source."""

from dataclasses import replace

import numpy as np
import pytest

from tests.verification.instant import heat_density
from weldsim.geometry.path import CurvedSeam, Seam, SeamLine
from weldsim.physics.heat_source import DoubleEllipsoid, mean_density

DOWN = np.array([0.0, 0.0, -1.0])
SEAM = Seam(np.zeros(3), np.array([0.05, 0.0, 0.0]), DOWN)
ARC = DoubleEllipsoid(1000.0, 0.003, 0.006, 0.003, 0.003, 0.005, SEAM)


def space(step=0.5e-3, around=0.015):
    """Points below the surface with their volumes."""
    x = np.arange(-0.02, 0.07, step) + step / 2
    y = np.arange(-around, around, step) + step / 2
    z = -np.arange(0, 0.01, step) - step / 2
    points = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1).reshape(-1, 3)
    return points, step**3


def test_standing_arc_is_where_it_stands():
    """Dwell: the mean over it is the density at the start; crater: that at the end."""
    arc = replace(ARC, dwell=2.0, crater=3.0)
    points, _ = space()
    assert arc.duration == pytest.approx(2.0 + 10.0 + 3.0), (
        "time the arc burns, with dwell and crater [s]"
    )
    start = mean_density(points, 0.2, 1.8, arc)
    np.testing.assert_allclose(
        start,
        heat_density(points, 0.0, ARC),
        rtol=1e-9,
        atol=1.0,
        err_msg="heat density while the arc dwells at the start, the furthest off [W/m3]",
    )
    end = mean_density(points, 12.5, 14.0, arc)
    np.testing.assert_allclose(
        end,
        heat_density(points, 10.0, ARC),
        rtol=1e-9,
        atol=1.0,
        err_msg="heat density while the crater is filled, the furthest off [W/m3]",
    )


def test_a_step_that_spans_the_dwell_is_the_sum_of_its_parts():
    arc = replace(ARC, dwell=2.0, crater=3.0)
    points, _ = space()
    whole = mean_density(points, 1.0, 14.0, arc)
    parts = [(1.0, 2.0), (2.0, 12.0), (12.0, 14.0)]
    summed = sum((b - a) * mean_density(points, a, b, arc) for a, b in parts) / 13.0
    np.testing.assert_allclose(
        whole,
        summed,
        rtol=1e-9,
        atol=1.0,
        err_msg="mean heat density over dwell, travel and crater, the furthest off [W/m3]",
    )


def test_weave_widens_and_keeps_the_power():
    """A sine of amplitude A adds A^2 / 2 to the mean square of the width, at any rate."""
    points, volume = space()
    plain, woven = ARC, replace(ARC, weave=0.003)
    for arc in (plain, woven):
        power = mean_density(points, 4.0, 5.0, arc).sum() * volume
        assert power == pytest.approx(1000.0, rel=0.01), (
            f"power of the arc, weave of {1e3 * arc.weave:g} mm [W]"
        )

    def square(arc):
        q = mean_density(points, 4.0, 5.0, arc)
        return (q * points[:, 1] ** 2).sum() / q.sum()

    assert square(woven) - square(plain) == pytest.approx(0.003**2 / 2, rel=0.01), (
        "mean square of the width that a weave of 3 mm adds [m2]"
    )


def ring(pieces=96, radius=0.02):
    angle = np.linspace(0, 2 * np.pi, pieces + 1)
    points = radius * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    return CurvedSeam(points, np.tile(DOWN, (pieces + 1, 1)), True)


def test_local_places_along_a_ring():
    """Distance along is radius times angle, across is the radial offset, to the chords' error."""
    seam = ring()
    angle = np.array([0.3, 1.7, 4.0])
    points = 0.022 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    points[:, 2] = -0.001
    along, across, inward = seam.local(points)
    np.testing.assert_allclose(
        along, 0.02 * angle, rtol=2e-3, err_msg="distance along a ring, the furthest off [m]"
    )
    np.testing.assert_allclose(
        np.abs(across), 0.002, rtol=0.02, err_msg="distance across a ring, the furthest off [m]"
    )
    np.testing.assert_allclose(
        inward, 0.001, rtol=1e-9, err_msg="depth under a ring, the furthest off [m]"
    )


def test_arc_on_a_closed_seam_heats_behind_its_start():
    """At the start half of the heat lies behind it, which is the end of the loop."""
    arc = replace(ARC, seam=ring())
    angle = np.linspace(0, 2 * np.pi, 721)[:-1]
    points = 0.02 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=-1)
    q = heat_density(points, 0.0, arc)
    behind, ahead = q[angle > np.pi].sum(), q[angle < np.pi].sum()
    share = 0.006 / 0.009  # of the rear half, by Goldak's continuity at the arc
    assert behind / (behind + ahead) == pytest.approx(share, abs=0.02), (
        "share of the heat behind the start of a closed seam"
    )


def test_a_cut_seam_runs_the_way_it_is_told():
    line = SeamLine("s", ring().points, ring().inwards, {}, 0.005, 0.003, True)
    there, back = line.cut(0.01, 0.03, 1), line.cut(0.01, 0.03, -1)
    assert there.length == pytest.approx(0.02, rel=1e-6) == pytest.approx(back.length, rel=1e-6), (
        "length of a piece cut from a seam, both ways [m]"
    )
    np.testing.assert_allclose(
        there.start,
        back.end,
        err_msg=("begin of the piece run one way, end of it run the other, the furthest off [m]"),
    )
    assert not there.closed and line.cut(0.0, line.length, 1).closed, (
        "a piece is open, the whole seam is closed"
    )
