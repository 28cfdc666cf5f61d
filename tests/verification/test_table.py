"""A table that only pushes, against a strip that curls on it.

A strip of length L, built in at x = 0, is free to take the curvature k of a temperature that is
linear through its height (elementary beam theory, re-derived here). Curling up it leaves the table,
its end by k L^2 / 2. Curling down, only its end touches: it is a propped cantilever with

    w(x) = k x^2 (L - x) / (4 L) over the table, at most k L^2 / 27 at x = 2 L / 3,
    R = 3 E I k / (2 L) pushed at the end (S. Timoshenko, Strength of Materials part I, statically
    indeterminate beams; the imposed slope is that of the curvature).
"""

import numpy as np
import pytest

from tests.verification.mech_tools import box, elastic
from weldsim.physics.contact import ONSET
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.quasi_newton import follow_equilibrium
from weldsim.physics.table import Table

L, H, W = 0.2, 0.004, 0.004
YOUNG, ALPHA, RISE = 200e9, 12e-6, 60.0
CURVATURE = ALPHA * RISE / H


def strip():
    body = box(np.linspace(0, L, 41), [0, W], np.linspace(0, H, 3))
    fixed = np.zeros_like(body.points, bool)
    fixed[body.on(0, 0.0)] = True
    under = np.flatnonzero(body.on(2, body.points[:, 2].min()))
    stiffness = np.full(under.size, YOUNG * L * W / under.size / 0.5e-3)
    table = Table(under, np.array([0.0, 0.0, 1.0]), stiffness)
    return body, fixed, table


def curled(sign, table_too=True, follow=False):
    """Height of the under face along the strip, and the push of the table."""
    body, fixed, table = strip()
    height = body.at[..., 2] - body.points[:, 2].mean()
    law = elastic(body, YOUNG, 0.0, sign * ALPHA * RISE * height / H)
    model = body.model.resting(table) if table_too else body.model
    if follow:
        found = follow_equilibrium(model, body.still(), law, body.virgin(), fixed, (), 1e-8)[0]
    else:
        found = solve_equilibrium(model, body.still(), law, body.virgin(), fixed, tolerance=1e-8)
    x, w = body.points[table.points, 0], found.displacement[table.points, 2]
    return x, w, found.reaction[table.points]


@pytest.mark.parametrize("follow", [False, True], ids=["newton", "kept factor"])
def test_a_strip_that_curls_down_stands_on_its_end(follow):
    x, w, push = curled(+1, follow=follow)
    wanted = CURVATURE * x**2 * (L - x) / (4 * L)
    top = CURVATURE * L**2 / 27
    assert top > 20 * ONSET, (
        "height of the strip above the table, against what the contact gives way, m"
    )  # what the contact gives way is small beside it
    np.testing.assert_allclose(
        w,
        wanted,
        atol=0.03 * top,
        err_msg="height along the strip that curls down, the furthest off [m]",
    )  # shear and the built-in end
    assert w.min() > -ONSET, "lowest point of the strip, m"
    inertia = W * H**3 / 12
    end = x > 0.9 * L
    assert push[end, 2].sum() == pytest.approx(1.5 * YOUNG * inertia * CURVATURE / L, rel=0.03), (
        "push of the table on the end of the strip [N]"
    )
    assert not push[~end & (x > 0)].any(), "the table pushes at the end alone"


def test_a_strip_that_curls_up_leaves_the_table():
    """As without a table: it does not pull."""
    x, w, push = curled(-1)
    assert w[x > 0.999 * L].mean() == pytest.approx(CURVATURE * L**2 / 2, rel=0.01), (
        "height of the end that curls up [m]"
    )
    np.testing.assert_allclose(
        w,
        curled(-1, table_too=False)[1],
        atol=1e-9,
        err_msg=("height along the strip that curls up, against no table, the furthest off [m]"),
    )
    assert not push[x > 0].any(), "the table does not pull"
