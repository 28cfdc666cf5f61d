"""Moving sources, instantaneous sources and the moving boundary against closed forms.

H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids (1959); D. Rosenthal, Trans. ASME 68
(1946) 849-866; time integral for a double ellipsoid with unequal lengths after V. D. Fachinotti,
A. A. Anca, A. Cardona, Int. J. Numer. Meth. Biomed. Engng 27 (2011), re-derived and coded in
`weldsim.validation.moving_source`.
Tables are for k = 40 W/mK, rho c = 4.71e6 J/m3K, 20 degC, insulated faces.
"""

import numpy as np
import pytest
from numpy.polynomial.legendre import leggauss
from scipy.special import erf, k0

from tests.verification.heat_problem import (
    AMBIENT,
    CONDUCTIVITY,
    DENSITY,
    DIFFUSIVITY,
    SPECIFIC_HEAT,
    block,
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
from weldsim.validation.moving_source import MovingEllipsoid, ellipsoid_rise

CAPACITY = DENSITY * SPECIFIC_HEAT
SPEED, ARC_TIME = 0.005, 10.0


ALIKE = dict(speed=SPEED, arc_time=ARC_TIME, conductivity=CONDUCTIVITY, capacity=CAPACITY)
CASE_A = MovingEllipsoid(power=2000.0, a=0.005, b=0.004, front=0.005, rear=0.010, **ALIKE)
CASE_B = MovingEllipsoid(
    power=800.0, a=0.003, b=0.003, front=0.003, rear=0.006, box=(-0.025, 0.075, 0.02, 0.006),
    **ALIKE,
)  # fmt: skip
A_TIMES = (1, 2, 4, 5, 6, 8, 10)
A_TABLE = {  # mm: degC at A_TIMES
    (0, 0, 0): (1153.84, 697.86, 298.25, 233.33, 192.71, 144.69, 117.30),
    (25, 0, 0): (20.00, 20.05, 158.77, 1361.98, 1543.49, 593.58, 346.06),
    (25, 5, 0): (20.00, 20.03, 66.52, 376.32, 602.28, 432.01, 293.85),
    (25, 10, 0): (20.00, 20.01, 27.08, 63.15, 129.78, 198.44, 186.45),
    (25, 0, 4): (20.00, 20.04, 77.91, 470.06, 732.42, 476.75, 310.65),
    (25, 0, 8): (20.00, 20.01, 33.12, 102.01, 212.99, 273.28, 228.39),
}
A_LATER_TIMES = (12, 15, 20, 30)
A_LATER = {
    (25, 0, 0): (247.51, 173.70, 115.10, 69.57),
    (25, 10, 0): (162.48, 131.83, 97.46, 63.97),
    (50, 0, 0): (262.52, 137.09, 84.03, 53.58),
}
B_TIMES = (4, 5, 6, 8, 10, 15, 20, 30, 60, 120, 300)
B_TABLE = {
    (25, 0, 0):
        (55.15, 1058.89, 821.06, 337.38, 259.12, 186.73, 156.33, 130.97, 105.03, 92.68, 90.78),
    (25, 0, 6):
        (37.16, 180.89, 363.39, 325.11, 258.68, 186.73, 156.33, 130.97, 105.03, 92.68, 90.78),
    (25, 5, 0):
        (33.20, 156.74, 286.74, 258.52, 223.75, 176.29, 152.78, 130.58, 105.03, 92.68, 90.78),
    (25, 10, 3):
        (22.42, 37.00, 71.85, 131.45, 149.70, 151.41, 144.24, 129.63, 105.03, 92.68, 90.78),
    (25, 20, 3):
        (20.13, 20.98, 24.11, 41.96, 68.76, 116.96, 132.17, 128.28, 105.03, 92.68, 90.78),
    (-25, 0, 0):
        (20.78, 21.77, 23.08, 26.23, 29.57, 37.48, 44.58, 56.65, 78.35, 89.80, 90.97),
    (75, 0, 3):
        (20.00, 20.00, 20.00, 20.00, 20.00, 22.51, 31.32, 47.56, 74.67, 87.93, 90.56),
    (50, 0, 0):
        (20.00, 20.00, 20.00, 21.06, 1060.13, 131.70, 104.63, 92.62, 89.89, 90.11, 90.63),
}  # fmt: skip


@pytest.mark.parametrize("place", A_TABLE)
def test_case_a_formula_gives_the_table(place):
    got = [20 + ellipsoid_rise(np.array(place) * 1e-3, t, CASE_A) for t in A_TIMES]
    assert got == pytest.approx(A_TABLE[place], abs=0.02), (
        f"formula against table A, {place} mm along, across, deep, the furthest off in time [degC]"
    )


@pytest.mark.parametrize("place", B_TABLE)
def test_case_b_formula_gives_the_table(place):
    got = [20 + ellipsoid_rise(np.array(place) * 1e-3, t, CASE_B) for t in B_TIMES]
    assert got == pytest.approx(B_TABLE[place], abs=0.02), (
        f"formula against table B, {place} mm along, across, deep, the furthest off in time [degC]"
    )


def test_case_a_formula_holds_the_energy():
    """rho c times the volume integral of the rise at 6 s is 12 000 J."""
    node, weight = leggauss(12)

    def line(cuts):
        cuts = np.asarray(cuts) * 1e-3
        half = np.diff(cuts)[:, None] / 2
        return (cuts[:-1, None] + half + half * node).ravel(), (half * weight).ravel()

    x, wx = line([-40, -20, -5, 10, 20, 26, 30, 34, 45, 75])
    y, wy = line([0, 6, 14, 45])
    z, wz = line([0, 6, 14, 45])
    # Separable but for the time integral: sum over time of products of one-dimensional integrals.
    a, b, c = CASE_A.a, CASE_A.b, (CASE_A.front, CASE_A.rear)
    total = 0.0
    t = 6.0
    edges = np.sqrt(t) * np.linspace(0, 1, 61)
    half = np.diff(edges)[:, None] / 2
    u = (edges[:-1, None] + half + half * node).ravel()
    wu = (half * weight).ravel() * 2 * u
    s = 12 * DIFFUSIVITY * u**2
    across = 2 * wy @ (np.exp(-3 * y[:, None] ** 2 / (s + a**2)) / np.sqrt(s + a**2))
    deep = wz @ (np.exp(-3 * z[:, None] ** 2 / (s + b**2)) / np.sqrt(s + b**2))
    xi = x[:, None] - SPEED * (t - u**2)
    for length, sign in zip(c, (1, -1), strict=True):
        share = 2 * length / sum(c)
        turn = erf(length * xi / (2 * np.sqrt(DIFFUSIVITY) * u * np.sqrt(s + length**2)))
        moving = share * (1 + sign * turn) * np.exp(-3 * xi**2 / (s + length**2))
        along = wx @ (moving / np.sqrt(s + length**2))
        total += float(np.dot(wu, across * deep * along))
    energy = 3 * np.sqrt(3) * CASE_A.power / np.pi**1.5 * total
    assert energy == pytest.approx(12_000.0, rel=1e-4), "heat in the body after 6 s [J]"


def half_model_run(x, y, z, case, times, time_step):
    """March the half y >= 0 with half the power; model and temperatures [degC] by time."""
    model = heat_model(*block(x, y, z))
    seam = Seam(np.zeros(3), np.array([SPEED * ARC_TIME, 0, 0]), np.array([0, 0, 1.0]))
    lengths = (case.front, case.rear, case.a, case.b)
    arc = DoubleEllipsoid(case.power / 2, *lengths, SPEED, seam)
    active, exchange = everything(model), skin_on(model)
    temperature, now, seen = np.full(model.points.shape[0], AMBIENT), 0.0, {}

    def power(begin, end):
        if end > ARC_TIME + 1e-9:
            return np.zeros(model.points.shape[0])
        return model.mesh.power(active, arc, begin, end)[0]

    for end in times:
        # After the arc the steps grow with the time since it stopped.
        step = time_step * max(1.0, 0.6 * (now - ARC_TIME))
        temperature = march(model, temperature, exchange, end, step, begin=now, power=power)
        now, seen[end] = end, temperature - 273.15
    return model, seen


def worst_of(model, seen, case, table, times):
    """Largest error over its allowance, and what it is; a check passes below 1.

    Allowed is 1 % of the rise, 3 % under the arc (within its semi-axes) and where the rise
    changes by over 10 % in 0.25 s, never less than 0.5 % of the place's highest rise: ahead of
    the arc the rise is the far tail of a Gaussian, a small number whose relative error means
    nothing to a welder.
    """
    worst = (0.0,)
    for place, row in table.items():
        node = nearest(model.points, *(np.array(place) * 1e-3))
        for t, expected in zip(times, row, strict=True):
            rise = expected - 20
            x = np.array(place) * 1e-3
            change = ellipsoid_rise(x, t + 0.125, case) - ellipsoid_rise(x, t - 0.125, case)
            behind = SPEED * t - x[0] if t <= ARC_TIME else np.inf
            under = -case.front <= behind <= case.rear and x[1] <= case.a
            share = 0.03 if under or abs(change) > 0.1 * rise else 0.01
            allowed = max(share * rise, 0.005 * (max(row) - 20))
            error = seen[t][node] - expected
            worst = max(worst, (abs(error) / allowed, place, t, expected, error))
    return worst


def without_euler_error(coarse, fine):
    """Two runs, the second with half the steps: the error of first order in the step cancels.

    A point under the arc heats by 700 K/s, so Euler with c_f / (10 v) alone is 2 to 4 % late.
    """
    return {t: 2 * fine[t] - coarse[t] for t in fine}


@pytest.mark.slow
def test_case_a_half_space():
    """Block that the heat does not fill, 4 cells per semi-axis, steps c_f / (5 v) and half."""
    x = np.concatenate([
        -graded(0.0, (0.005, 4, 1.0), (0.040, 6, 1.5))[::-1],
        graded(0.0, (0.055, 44, 1.0), (0.090, 6, 1.5))[1:],
    ])  # fmt: skip
    y = graded(0.0, (0.015, 15, 1.0), (0.040, 6, 1.35))
    z = graded(0.0, (0.012, 12, 1.0), (0.040, 7, 1.30))
    times = (*A_TIMES, *A_LATER_TIMES)
    model, coarse = half_model_run(x, y, z, CASE_A, times, 0.2)
    _, fine = half_model_run(x, y, z, CASE_A, times, 0.1)
    seen = without_euler_error(coarse, fine)
    assert worst_of(model, seen, CASE_A, A_TABLE, A_TIMES)[0] < 1, (
        "largest error over what is allowed, times up to 10 s"
    )
    assert worst_of(model, seen, CASE_A, A_LATER, A_LATER_TIMES)[0] < 1, (
        "largest error over what is allowed, later times"
    )


@pytest.mark.slow
def test_case_b_flat_bar():
    """100 x 40 x 6 mm, exact by images; insulated, so it ends at 20 + Q t / (rho c V)."""
    x = np.concatenate([
        -graded(0.0, (0.003, 4, 1.0), (0.025, 11, 1.12))[::-1],
        graded(0.0, (0.025, 34, 1.0), (0.050, 34, 1.0), (0.053, 4, 1.0), (0.075, 11, 1.12))[1:],
    ])  # fmt: skip
    y = graded(0.0, (0.005, 7, 1.0), (0.010, 5, 1.1), (0.020, 6, 1.1))
    z = np.linspace(0, 0.006, 9)
    model, coarse = half_model_run(x, y, z, CASE_B, B_TIMES, 0.1)
    _, fine = half_model_run(x, y, z, CASE_B, B_TIMES, 0.05)
    seen = without_euler_error(coarse, fine)
    assert worst_of(model, seen, CASE_B, B_TABLE, B_TIMES)[0] < 1, (
        "largest error over what is allowed, all places and times"
    )
    mean = np.average(fine[300], weights=skin_on(model).volume)
    assert mean == pytest.approx(90.7714, abs=1e-3), "temperature of the bar after 300 s [degC]"


def thin_plate_rise(xi, y, film_coefficient):
    """Rosenthal, line through a plate of 3 mm: 800 W, 5 mm/s; film [W/m2K] on each face. [K]"""
    thickness, lag = 0.003, SPEED / (2 * DIFFUSIVITY)
    root = np.sqrt(lag**2 + 2 * film_coefficient / (CONDUCTIVITY * thickness))
    strength = 800.0 / (2 * np.pi * CONDUCTIVITY * thickness)
    return strength * np.exp(-lag * xi) * k0(np.hypot(xi, y) * root)


@pytest.mark.parametrize(
    "film_coefficient, worked",
    [
        (0.0, {(-20, 0): 557.37, (-40, 0): 403.60, (-20, 10): 274.15, (-40, 20): 110.47}),
        (100.0, {(-20, 0): 525.60, (-40, 0): 361.12, (-20, 10): 257.54, (-40, 20): 99.39}),
    ],
    ids=["insulated", "with film"],
)
@pytest.mark.slow
def test_rosenthal_thin_plate_far_from_the_arc(film_coefficient, worked):
    """D. Rosenthal (1946): quasi-steady field of a line source, 1 % away from the source.

    Half plate, one cell thick, arc of 2 mm with a depth far beyond the plate (a line through it);
    travelled 110 mm, so that 40 mm behind the arc the start is forgotten.
    """
    x = np.linspace(0, 0.160, 161)
    y = graded(0.0, (0.020, 20, 1.0), (0.080, 8, 1.4))
    model = heat_model(*block(x, y, [0.0, 0.003]), film_coefficient=film_coefficient)
    seam = Seam(np.array([0.01, 0, 0]), np.array([0.12, 0, 0]), np.array([0, 0, 1.0]))
    arc = DoubleEllipsoid(400.0, 0.002, 0.002, 0.002, 1.0, SPEED, seam)
    faces = [on_plane(model.points, 2, v) for v in (0.0, 0.003)]
    exchange, active = skin_on(model, *faces), everything(model)
    power = lambda a, b: model.mesh.power(active, arc, a, b)[0]  # noqa: E731
    start = np.full(model.points.shape[0], AMBIENT)
    got = march(model, start, exchange, 22.0, 0.05, power=power) - AMBIENT
    for (xi, across), expected in worked.items():
        rise = thin_plate_rise(xi * 1e-3, across * 1e-3, film_coefficient)
        assert 20 + rise == pytest.approx(expected, abs=0.02), (
            f"formula {-xi} mm behind the arc, {across} mm across, against the worked value [degC]"
        )
        node = nearest(model.points, 0.12 + xi * 1e-3, across * 1e-3, 0)
        assert got[node] == pytest.approx(rise, rel=0.01), (
            f"rise {-xi} mm behind the arc, {across} mm across [K]"
        )
