"""Orders of accuracy on manufactured solutions (P. J. Roache, J. Fluids Eng. 124 (2002) 4-10).

Linear cells are of second order in the cell size and backward Euler of first order in the step:
slopes on three refinements must be near 2 and 1, and the last error is capped.
"""

import numpy as np
import pytest

from tests.verification.heat_problem import (
    AMBIENT,
    DENSITY,
    SPECIFIC_HEAT,
    block,
    constant_tables,
    heat_model,
    march,
    on_plane,
    rod,
    skewed,
    skin_on,
)
from weldsim.physics.heat_tables import HeatTables

CAPACITY = DENSITY * SPECIFIC_HEAT
SIDE, RISE, RATE = 0.02, 300.0, 0.5  # m, K, 1/s


def linear_conductivity():
    """k = 20 + 0.05 (T - Ta): exact in a two-point table, so no table error enters."""
    span = np.array([0.0, 2000.0])
    k = 20 + 0.05 * (span - AMBIENT)
    return HeatTables(DENSITY, (span, SPECIFIC_HEAT * (span - AMBIENT)), (span, k))


def manufactured(position, time):
    """Rise [K] and the heat density [W/m3] that makes it, in an insulated cube.

    u = A (1.2 + cos X cos Y cos Z) f(t), f = 1 + sin(r t): normal gradients vanish on all faces.
    q = rho c u_t - (k0 + k1 u) lap u - k1 |grad u|^2.
    """
    w = np.pi / SIDE
    x, y, z = np.moveaxis(w * position, -1, 0)
    f, f_t = 1 + np.sin(RATE * time), RATE * np.cos(RATE * time)
    wave = np.cos(x) * np.cos(y) * np.cos(z)
    u = RISE * (1.2 + wave) * f
    lap = -3 * w**2 * RISE * wave * f
    slope = (
        (np.sin(x) * np.cos(y) * np.cos(z)) ** 2
        + (np.cos(x) * np.sin(y) * np.cos(z)) ** 2
        + (np.cos(x) * np.cos(y) * np.sin(z)) ** 2
    ) * (w * RISE * f) ** 2
    heat = CAPACITY * RISE * (1.2 + wave) * f_t - (20 + 0.05 * u) * lap - 0.05 * slope
    return u, heat


def error(cells, time_step, skew=0.0, end=1.0):
    """Root mean square error at `end` over the highest rise."""
    lines = np.linspace(0, SIDE, cells + 1)
    points, bricks = block(lines, lines, lines)
    model = heat_model(skewed(points, skew * SIDE / cells), bricks, linear_conductivity())
    exchange = skin_on(model)

    def power(begin, end):
        heat = manufactured(model.mesh.position, end)[
            1
        ]  # backward Euler: load at the end of the step
        shares = (heat * model.mesh.weight) @ model.mesh.shape
        return np.bincount(model.cells.ravel(), shares.ravel(), minlength=len(points))

    start = AMBIENT + manufactured(model.points, 0.0)[0]
    got = march(model, start, exchange, end, time_step, power=power) - AMBIENT
    exact = manufactured(model.points, end)[0]
    wrong = np.average((got - exact) ** 2, weights=exchange.volume) ** 0.5
    return wrong / exact.max()


@pytest.mark.parametrize("skew", [0.0, 0.15], ids=["straight", "skewed"])
def test_second_order_in_the_cell_size(skew):
    """Steps shrink with the square of the cells, so that both errors fall fourfold together."""
    errors = np.array([error(4, 0.25, skew), error(8, 0.0625, skew), error(16, 0.015625, skew)])
    slopes = np.log2(errors[:-1] / errors[1:])
    assert slopes.min() > 1.7, "order of the error in the cell size, at least"
    assert slopes.max() < 2.5, "order of the error in the cell size, at most"
    assert errors[-1] < 2e-3, "error over the highest rise on 16 cells"


def time_error(time_step):
    """Field linear in x with held ends: no error in space, so only that of the step is left."""
    model = heat_model(*rod(np.linspace(0, 0.01, 6), 0.002), constant_tables())
    x = model.points[:, 0]
    shape = 1 + x / 0.01
    ends = np.flatnonzero(on_plane(model.points, 0, 0.0) | on_plane(model.points, 0, 0.01))
    exchange = skin_on(model)

    def rise(t):
        return RISE * np.sin(2 * t) * shape

    def power(begin, end):
        return CAPACITY * exchange.volume * RISE * 2 * np.cos(2 * end) * shape

    got = march(
        model,
        np.full(x.size, AMBIENT),
        exchange,
        1.0,
        time_step,
        power=power,
        held=lambda t: (ends, AMBIENT + rise(t)[ends]),
    )
    return float(abs(got - AMBIENT - rise(1.0)).max() / (2 * RISE))


def test_first_order_in_the_step():
    errors = np.array([time_error(dt) for dt in (0.1, 0.05, 0.025, 0.0125)])
    slopes = np.log2(errors[:-1] / errors[1:])
    assert abs(slopes - 1).max() < 0.1, "order of the error in the step, off from 1 by at most"
    # Without conduction Euler sums the load by right ends: off by dt/2 (f'(1) - f'(0)), f = sin 2t.
    assert errors[-1] < 0.0125 / 2 * abs(2 * np.cos(2) - 2), (
        "error over the highest rise with steps of 0.0125 s"
    )
