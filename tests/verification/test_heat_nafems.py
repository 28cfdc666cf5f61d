"""NAFEMS thermal benchmarks T2, T3, T4 ("The Standard NAFEMS Benchmarks", Rev. 3, 1990).

Targets as published; the more exact values beside them are closed forms or series solved here.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.verification.heat_problem import (
    ZERO_CELSIUS,
    block,
    constant_tables,
    graded,
    heat_model,
    march,
    nearest,
    on_plane,
    rod,
    skin_on,
    steady,
)


def test_t2_radiating_bar():
    """0.1 m bar, 1000 K at one end, radiating to 300 K at the other (emissivity 0.98, k = 55.6).

    Target 927.0 K. Steady flux k (1000 - T) / L = eps sigma (T^4 - 300^4) gives 927.008 K.
    """
    sigma = 5.670374419e-8
    exact = brentq(
        lambda t: 55.6 * (1000 - t) / 0.1 - 0.98 * sigma * (t**4 - 300**4), 300, 1000, xtol=1e-9
    )
    assert exact == pytest.approx(927.0, abs=0.05), (
        "exact temperature of the radiating end, against the published target [K]"
    )
    model = heat_model(
        *rod(np.linspace(0, 0.1, 11), 0.01),
        constant_tables(55.6),
        ambient_temperature=300.0,
        emissivity=0.98,
    )
    end = on_plane(model.points, 0, 0.1)
    hot = np.flatnonzero(on_plane(model.points, 0, 0.0))
    exchange = skin_on(model, end)
    got = steady(model, np.full(model.points.shape[0], 1000.0), exchange, (hot, 1000.0))
    # A steady linear profile is in the space of the cells, so only the solver tolerance is left.
    assert got[end] == pytest.approx(exact, abs=1e-3), (
        "temperature of the radiating end, against the exact one [K]"
    )
    assert got[end] == pytest.approx(927.0, rel=1e-3), (
        "temperature of the radiating end, against the published target [K]"
    )
    flux = model.loss(got, exchange)[0].sum() / 1e-4
    assert flux == pytest.approx(40_583.8, rel=1e-3), "heat that the end radiates [W/m2]"


def t3_series(x, t, terms=400):
    """Exact T3: quasi-static part x/L * 100 sin(pi t/40) plus the series that it drives. [degC]"""
    length, diffusivity, w = 0.1, 35 / (440.5 * 7200), np.pi / 40
    n = np.arange(1, terms + 1)
    rate = diffusivity * (n * np.pi / length) ** 2
    # -(x/L) expanded in sines, each coefficient driven by 100 w cos(w t) from rest
    drive = 100 * w * 2 * (-1.0) ** n / (n * np.pi)
    part = (rate * np.cos(w * t) + w * np.sin(w * t) - rate * np.exp(-rate * t)) / (rate**2 + w**2)
    waves = np.sin(np.multiply.outer(np.asarray(x) / length, n * np.pi))
    return 100 * np.sin(w * t) * np.asarray(x) / length + waves @ (drive * part)


def test_t3_transient_bar():
    """0.1 m bar from 0 degC, x = 0 held at 0, x = 0.1 m at 100 sin(pi t / 40) degC.

    Target 36.60 degC at x = 0.08 m, t = 32 s.
    """
    places = np.array([0.02, 0.04, 0.06, 0.08, 0.09])
    assert t3_series(0.08, 32.0) == pytest.approx(36.60, abs=0.01), (
        "exact temperature 80 mm along after 32 s, against the published target [degC]"
    )
    assert t3_series(0.08, np.array([24.0])[0]) == pytest.approx(28.7749, abs=1e-3), (
        "exact temperature 80 mm along after 24 s, against the worked value [degC]"
    )
    model = heat_model(*rod(np.linspace(0, 0.1, 101), 0.01), constant_tables(35.0, 7200.0, 440.5))
    points = model.points
    ends = np.flatnonzero(on_plane(points, 0, 0.0) | on_plane(points, 0, 0.1))
    share = points[ends, 0] / 0.1
    seen = {}

    def held(t):
        return ends, ZERO_CELSIUS + 100 * np.sin(np.pi * t / 40) * share

    def watch(t, temperature, power, lost):
        seen[round(t, 6)] = temperature

    start = np.full(points.shape[0], ZERO_CELSIUS)
    march(model, start, skin_on(model), 32.0, 0.025, held=held, watch=watch)
    at = [nearest(points, x, 0, 0) for x in places]
    final = seen[32.0][at] - ZERO_CELSIUS
    assert final[3] == pytest.approx(36.60, rel=1e-3), (
        "temperature 80 mm along after 32 s, against the published target [degC]"
    )
    # The others to 0.1 % of the target: Euler with 0.025 s is off by about 0.03 K.
    assert final == pytest.approx(t3_series(places, 32.0), abs=0.0366), (
        "temperature at five places after 32 s, the furthest off [degC]"
    )
    for t in (8.0, 16.0, 24.0):
        assert seen[t][at] - ZERO_CELSIUS == pytest.approx(t3_series(places, t), abs=0.0366), (
            f"temperature at five places after {t:g} s, the furthest off [degC]"
        )


def test_t4_plate_with_convection():
    """0.6 x 1.0 m, bottom at 100 degC, right and top h = 750 to 0 degC, left insulated, k = 52.

    Target 18.3 degC (18.25) at E, 0.2 m up the right edge; five more places of the separated
    solution. The temperature has a kink at the corner of held and cooled edge: cells graded there.
    """
    # The separated solution, tan root by root.
    height, half, ratio = 1.0, 0.6, 750 / 52
    roots = [brentq(lambda b: b * np.sin(b * half) - ratio * np.cos(b * half),
                    (i * np.pi + 1e-9) / half, (i * np.pi + np.pi / 2) / half)
             for i in range(400)]  # fmt: skip
    b = np.array(roots)
    weight = 400 * np.sin(b * half) / (2 * b * half + np.sin(2 * b * half))

    def exact(x, y):
        up = height - y

        # (cosh + (ratio/b) sinh) scaled by exp to stay finite
        def rise(s):
            run_branch = (1 + ratio / b) / 2
            fall = (1 - ratio / b) / 2 * np.exp(-2 * b * s)
            return run_branch + fall

        return float((weight * np.cos(b * x) * rise(up) / rise(height) * np.exp(-b * y)).sum())

    assert exact(0.6, 0.2) == pytest.approx(18.2538, abs=2e-3), (
        "exact temperature at E, 0.2 m up the cooled edge, against the worked value [degC]"
    )
    assert exact(0.0, 0.2) == pytest.approx(70.0607, abs=2e-3), (
        "exact temperature 0.2 m up the insulated edge, against the worked value [degC]"
    )

    x = 0.6 - graded(0.0, (0.6, 36, 1.08))[::-1]
    y = np.concatenate([graded(0.0, (0.2, 20, 1.10)), graded(0.2, (1.0, 28, 1.03))[1:]])
    model = heat_model(
        *block(x, y, [0.0, 0.02]),
        constant_tables(52.0),
        ambient_temperature=ZERO_CELSIUS,
        film_coefficient=750.0,
    )
    points = model.points
    cooled = skin_on(model, on_plane(points, 0, 0.6), on_plane(points, 1, 1.0))
    bottom = np.flatnonzero(on_plane(points, 1, 0.0))
    start = np.full(points.shape[0], ZERO_CELSIUS)
    got = steady(model, start, cooled, (bottom, 100 + ZERO_CELSIUS)) - ZERO_CELSIUS
    assert got[nearest(points, 0.6, 0.2, 0)] == pytest.approx(18.2538, rel=3e-3), (
        "temperature at E, 0.2 m up the cooled edge, exact [degC]"
    )
    assert got[nearest(points, 0.6, 0.2, 0)] == pytest.approx(18.3, rel=5e-3), (
        "temperature at E, 0.2 m up the cooled edge, published target [degC]"
    )  # as printed
    assert got[nearest(points, 0.0, 0.2, 0)] == pytest.approx(70.0607, rel=1e-3), (
        "temperature 0.2 m up the insulated edge [degC]"
    )
    top = got[nearest(points, 0.0, 1.0, 0)]
    assert top == pytest.approx(3.3678, rel=5e-3), (
        "temperature at the top of the insulated edge [degC]"
    )
