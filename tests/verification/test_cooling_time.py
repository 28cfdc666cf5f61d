"""Cooling time t8/5 of a bead on plate against EN 1011-2:2001, Annex D (F2 = F3 = 1).

  thick: t = (6700 - 5 Tp) Q [1/(500-Tp) - 1/(800-Tp)]
  thin:  t = (4300 - 4.3 Tp) 1e5 (Q/d)^2 [1/(500-Tp)^2 - 1/(800-Tp)^2]

(Q kJ/mm, d mm, degC, s). At 20 degC these are the cooling of an instantaneous line of heat on a
half-space and through a plate with k = 24.1 W/mK and rho c = 7.83e6 J/m3K, which is what runs here,
so the heat flow and its book-keeping must give the standard's numbers without any fitting.
"""

import numpy as np
import pytest

from tests.verification.heat_problem import (
    AMBIENT,
    block,
    constant_tables,
    everything,
    graded,
    heat_model,
    march,
    nearest,
    on_plane,
    skin_on,
)
from weldsim.geometry.path import Seam
from weldsim.physics.heat_source import DoubleEllipsoid

K, CAPACITY = 24.1, 7.83e6
DIFFUSIVITY = K / CAPACITY


def thick_formula(heat, preheat=20.0):
    return (6700 - 5 * preheat) * heat * (1 / (500 - preheat) - 1 / (800 - preheat))


def thin_formula(heat, thickness, preheat=20.0):
    span = 1 / (500 - preheat) ** 2 - 1 / (800 - preheat) ** 2
    return (4300 - 4.3 * preheat) * 1e5 * (heat / thickness) ** 2 * span


def test_formulas_are_the_conduction_solutions_of_those_constants():
    """1/(2 pi k) and 1/(4 pi k rho c) are the factors printed in the standard, at 20 degC."""
    assert 1e6 / (2 * np.pi * K) == pytest.approx(6700 - 5 * 20, rel=2e-3), (
        "factor for thick plates from the constants, against the standard's"
    )
    plane = 1e12 / (4 * np.pi * K * CAPACITY)
    assert plane == pytest.approx((4300 - 4.3 * 20) * 1e5 / 1e6, rel=2e-3), (
        "factor for thin plates from the constants, against the standard's"
    )
    # worked: Q = 0.5 and 1.0 kJ/mm, 20 degC
    assert thick_formula(0.5) == pytest.approx(2.64, abs=0.01), (
        "formula, thick plate, 0.5 kJ/mm, against the worked value [s]"
    )
    assert thin_formula(1.0, 6) == pytest.approx(31.6, abs=0.05), (
        "formula, 6 mm, 1.0 kJ/mm, against the worked value [s]"
    )
    assert thin_formula(0.4, 6) == pytest.approx(5.05, abs=0.01), (
        "formula, 6 mm, 0.4 kJ/mm, against the worked value [s]"
    )


def plate_run(grid, heat, speed, reach, size, schedule):
    """Bead of `reach` to either side of x = 0 on the half y >= 0; times and node temperatures.

    `schedule` lists (time after the arc passes x = 0, step). Equal half-width and depth: spreading
    the heat is then only a shift in time, which leaves t8/5 as it is.
    """
    tables = constant_tables(K, 7830.0, 1000.0)
    model = heat_model(*block(*grid), tables)
    down = np.array([0, 0, 1.0])
    seam = Seam(np.array([-reach, 0, 0]), np.array([reach, 0, 0]), down)
    arc = DoubleEllipsoid(0.5 * heat * 1e6 * speed, size, 2 * size, size, size, speed, seam)
    active, exchange = everything(model), skin_on(model)
    passing = reach / speed
    middle = np.flatnonzero(on_plane(model.points, 0, 0.0) & on_plane(model.points, 1, 0.0))
    middle = middle[np.argsort(model.points[middle, 2])]
    times, history = [], []

    def power(begin, end):
        if end > 2 * passing + 1e-9:
            return np.zeros(model.points.shape[0])
        return model.mesh.power(active, arc, begin, end)[0]

    def watch(t, temperature, load, lost):
        times.append(t - passing)
        history.append(temperature[middle] - 273.15)

    now, temperature = 0.0, np.full(model.points.shape[0], AMBIENT)
    for after, step in schedule:
        end = passing + after
        temperature = march(
            model, temperature, exchange, end, step, begin=now, power=power, watch=watch
        )
        now = end
    assert nearest(model.points, 0, 0, 0) == middle[0], "the node under the arc is the first"
    return np.array(times), np.array(history)


def between(times, temperature, high=800.0, low=500.0):
    """Seconds from `high` to `low` on the way down."""
    peak = int(np.argmax(temperature))
    t, v = times[peak:], temperature[peak:]
    assert v[0] > high and v[-1] < low, "temperature where the cooling curve begins and ends, degC"
    return float(np.interp(-low, -v, t) - np.interp(-high, -v, t))


def thin_grid(half_length, cell, half_width, fine, thickness):
    x = np.linspace(-half_length, half_length, 2 * round(half_length / cell) + 1)
    y = graded(0.0, (fine, round(fine / cell * 1.5), 1.0), (half_width, 9, 1.4))
    return x, y, np.linspace(0, thickness, 5)


@pytest.mark.slow
def test_thin_plate():
    """d = 6 mm, Q = 1.0 kJ/mm (0.41 of the transition thickness): 31.6 s.

    3 %: Euler 0.25 s in about 20 s (1 %), travel instead of a whole line at once (0.2 %), cells.
    """
    grid = thin_grid(0.100, 0.002, 0.100, 0.010, 0.006)
    times, history = plate_run(
        grid, 1.0, 0.010, 0.090, 0.004, [(2.0, 0.25), (9.0, 0.25), (60.0, 0.25)]
    )
    assert between(times, history[:, 0]) == pytest.approx(thin_formula(1.0, 6), rel=0.03), (
        "t8/5 at the surface, 6 mm, 1.0 kJ/mm [s]"
    )


@pytest.mark.slow
def test_thin_plate_near_the_transition():
    """d = 6 mm, Q = 0.4 kJ/mm (0.65 of the transition thickness): 5.05 s.

    The mean through the thickness obeys the plane solution (3 %). At the surface the metal is
    still hotter than below when it passes 800 degC, which shortens t8/5; images give 4.5 s there,
    inside the 15 % that is the usual scatter of the formula (common practice).
    """
    grid = thin_grid(0.045, 0.00125, 0.050, 0.008, 0.006)
    times, history = plate_run(grid, 0.4, 0.010, 0.040, 0.003, [(4.0, 0.05), (10.0, 0.05)])
    trapezoid = np.array([1, 2, 2, 2, 1]) / 8
    assert between(times, history @ trapezoid) == pytest.approx(thin_formula(0.4, 6), rel=0.03), (
        "t8/5, mean through the thickness, 6 mm, 0.4 kJ/mm [s]"
    )
    surface = between(times, history[:, 0])
    assert surface == pytest.approx(thin_formula(0.4, 6), rel=0.15), (
        "t8/5 at the surface, 6 mm, 0.4 kJ/mm [s]"
    )

    def on_surface(t):
        n = np.arange(1, 20)
        layers = 1 + 2 * np.exp(-((n * np.pi / 0.006) ** 2) * DIFFUSIVITY * t).sum()
        return 20 + 0.4e6 / 0.006 / np.sqrt(4 * np.pi * K * CAPACITY * t) * layers

    t = np.linspace(1, 12, 4000)
    by_images = between(t, np.array([on_surface(s) for s in t]))
    assert by_images == pytest.approx(4.5, abs=0.05), (
        "t8/5 at the surface by images, against the worked value [s]"
    )
    assert surface == pytest.approx(by_images, rel=0.04), "t8/5 at the surface, against images [s]"


@pytest.mark.slow
def test_thick_plate():
    """Block 30 mm deep, Q = 0.5 kJ/mm (2.9 times the transition thickness): 2.64 s.

    3 %: Euler 0.05 s in 4 to 7 s (1 %), cells of a quarter of the arc (1 %).
    """
    x = graded(-0.036, (-0.006, 24, 1.0), (0.006, 12, 1.0), (0.036, 24, 1.0))
    x[np.argmin(abs(x))] = 0.0
    side = graded(0.0, (0.009, 12, 1.0), (0.030, 7, 1.3))
    times, history = plate_run((x, side, side), 0.5, 0.010, 0.030, 0.003, [(2.0, 0.1), (9.0, 0.05)])
    assert between(times, history[:, 0]) == pytest.approx(thick_formula(0.5), rel=0.03), (
        "t8/5 at the surface, thick plate, 0.5 kJ/mm [s]"
    )
