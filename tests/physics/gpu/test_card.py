"""The card against the processor: same force, tangent, equilibrium and temperature.

They run on a card, or in numba's simulator (NUMBA_ENABLE_CUDASIM=1), in which `test_simulated`
runs them where there is no card.
"""

import numpy as np
import pytest

from tests.simulation.test_clamps_that_slide import SLIDING, TABLE, clamped
from tests.verification.heat_problem import AMBIENT, block, everything, heat_model
from tests.verification.mech_tools import box, elastic
from weldsim.physics.contact import ONSET, Contact
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.gpu.card import on_card, on_host, simulated, why_no_card
from weldsim.physics.heat_conduction import heat_step
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.quasi_newton import follow_equilibrium
from weldsim.physics.rigid_motion import mean_motion
from weldsim.physics.springs import Spring
from weldsim.physics.table import Table
from weldsim.simulation.model import build_model

pytestmark = pytest.mark.skipif(bool(why_no_card()), reason=why_no_card() or "-")

E, NU, YIELD, HARDENING = 210e3, 0.3, 250.0, 2e3  # N/mm2
TIGHT = 1e-9
# two roundings of one sum in another order: some ten bits of 53
ROUNDING = 1e-12


@pytest.fixture(scope="module")
def bar():
    """A bar of 3 x 2 x 1 mm along x; in the simulator a thread is a thread of Python."""
    return box(3, 2, 1)


def card_of(model):
    from weldsim.physics.gpu.search import Card

    return Card(model)


def heated(body, rise):
    x = body.at[..., 0]
    strain = 12e-6 * rise * np.exp(-(((x - 1.0) / 0.8) ** 2))
    return elastic(body, E, NU, strain, YIELD, isotropic=HARDENING)


def between_walls(body):
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0) | body.on(0, 3.0)] = True
    return fixed


def same(card, host, limit=ROUNDING):
    assert np.abs(on_host(card) - host).max() <= limit * np.abs(host).max()


def test_force_and_tangent_are_those_of_the_processor(bar):
    """Half the points yield; both add the same products, in another order."""
    law, memory = heated(bar, 120.0), bar.virgin()
    u = 4e-4 * np.sin(1.0 + np.arange(bar.points.size)).reshape(-1, 3)
    host = bar.model.evaluate(u, law, memory, tangent=True)
    yields = host.equivalent_plastic_strain > 0
    assert 0.1 < yields.mean() < 1.0
    mechanics = card_of(bar.model).mechanics
    mechanics.load(law, memory)
    same(mechanics.evaluate(on_card(u).reshape(-1), (), tangent=True), host.force.ravel())
    same(mechanics.solver.data, host.tangent)
    assert float(mechanics.squared_cell_forces) == pytest.approx(host.scale**2, rel=ROUNDING)
    stress, plastic, equivalent = mechanics.answer()
    same(stress, host.stress)
    same(plastic, host.plastic_strain)
    same(equivalent, host.equivalent_plastic_strain)


def test_faces_that_touch_push_as_on_the_processor(bar):
    """One pair deep, one in its onset, one apart."""
    normal = np.tile([1.0, 0.0, 0.0], (3, 1))
    ends = np.flatnonzero(bar.on(0, 0.0))[:3], np.flatnonzero(bar.on(0, 1.0))[:3]
    pairs = Contact(*ends, normal, np.array([-1e-4, -4e-6, 1.0]), np.full(3, 1e6))
    model = bar.model.touching(pairs)
    law, memory, u = heated(bar, 100.0), bar.virgin(), bar.still()
    host = model.evaluate(u, law, memory, tangent=True)
    assert np.abs(host.force - bar.model.evaluate(u, law, memory, False).force).max() > 1.0
    mechanics = card_of(model).mechanics
    mechanics.load(law, memory)
    same(mechanics.evaluate(on_card(u).reshape(-1), (), tangent=True), host.force.ravel())
    same(mechanics.solver.data, host.tangent)


def on_a_table(body):
    """The bar on a table, and a displacement that presses one edge of it in and lifts the other.

    Two rows of points are deep in it, two in the onset, the rest off.
    """
    under = np.flatnonzero(body.on(2, body.points[:, 2].min()))
    table = Table(under, np.array([0.0, 0.0, 1.0]), np.linspace(1e6, 2e6, under.size))
    u = 1e-4 * np.sin(1.0 + np.arange(body.points.size)).reshape(-1, 3)
    u[under, 2] = ONSET * (2.0 * body.points[under, 0] - 3.1)
    return body.model.resting(table), u, under


def test_a_table_pushes_as_on_the_processor(bar):
    """Points deep in it, in its onset and off it."""
    model, u, under = on_a_table(bar)
    deep = -u[under, 2] / ONSET
    assert (deep > 1).any() and ((deep > 0) & (deep < 1)).any() and (deep < 0).any()
    law, memory = heated(bar, 100.0), bar.virgin()
    host = model.evaluate(u, law, memory, tangent=True)
    free = card_of(bar.model)
    for card, wanted in (
        (free.resting(model.bound_table), host),
        (free, bar.model.evaluate(u, law, memory, tangent=True)),
    ):
        card.mechanics.load(law, memory)
        found = card.mechanics.evaluate(on_card(u).reshape(-1), (), tangent=True)
        same(found, wanted.force.ravel())
        same(card.mechanics.solver.data, wanted.tangent)
    assert np.abs(host.force[under] - wanted.force[under]).max() > 1.0


def test_a_deposit_takes_its_table_to_the_card_and_leaves_it_there_when_released():
    """Both kinds of mechanics of a deposit are of one card."""
    case = clamped(SLIDING, TABLE)
    history = build_model(case, "sketch", threads=1, device="gpu").history
    closed = tuple(c.name for c in case.clamps)
    lying, released = (history.mechanics(c).card for c in (closed, ()))
    assert lying.table is not None and released.table is None
    assert lying.mechanics.solver is released.mechanics.solver


SLOWLY = pytest.mark.skipif(simulated(), reason="minutes in the simulator")


@pytest.mark.parametrize("patience", [pytest.param(0, marks=SLOWLY), 12])
def test_the_equilibrium_is_the_processors(bar, patience):
    """Newton's method and the kept factor end where the processor does."""
    fixed, law = between_walls(bar), heated(bar, 400.0)
    host, _ = follow_equilibrium(bar.model, bar.still(), law, bar.virgin(), fixed, (), TIGHT)
    card = card_of(bar.model)
    found, kept = card.follow(
        bar.still(), law, bar.virgin(), fixed, (), TIGHT, None, patience=patience
    )
    assert host.equivalent_plastic_strain.max() > 1e-4
    size = np.abs(host.displacement).max()
    assert np.abs(found.displacement - host.displacement).max() < 1e-6 * size
    assert np.abs(found.reaction - host.reaction).max() < 1e-5 * np.abs(host.reaction).max()
    assert found.factorisations == found.iterations or patience
    again = card.kept_from(kept.to_arrays(), ())
    more = heated(bar, 420.0)
    one, _ = card.follow(found.displacement, more, bar.virgin(), fixed, (), TIGHT, again)
    two, _ = card.follow(found.displacement, more, bar.virgin(), fixed, (), TIGHT, kept)
    same(one.displacement, two.displacement, 1e-9)


@SLOWLY
def test_an_elastic_clamp_carries_its_share(bar):
    """A heated bar between a wall and a spring k: force alpha dT L k s / (k + s), with s = E A / L
    (springs in series); to the last digits as on the processor."""
    fixed = np.zeros_like(bar.points, dtype=bool)
    fixed[bar.on(0, 0.0), 0] = fixed[bar.on(1, 0.0), 1] = fixed[bar.on(2, 0.0), 2] = True
    end, stiff, swell = np.flatnonzero(bar.on(0, 3.0)), 5e4, 12e-6 * 100.0
    spring = Spring(end, mean_motion(bar.points[end]), np.r_[[stiff, 0, 0], [0.0] * 3], np.zeros(6))
    given = bar.still(), elastic(bar, E, NU, swell), bar.virgin(), fixed
    found, _ = card_of(bar.model).follow(*given, (spring,), TIGHT)
    host = solve_equilibrium(bar.model, *given, springs=(spring,), tolerance=TIGHT)
    own = E * 2.0 / 3.0
    pushed = found.reaction[end, 0].sum()
    # the same force at each point of the end is no even pressure, which gives way a little more
    assert pushed == pytest.approx(-swell * 3.0 * stiff * own / (stiff + own), rel=0.1)
    assert pushed == pytest.approx(host.reaction[end, 0].sum(), rel=1e-6)


@pytest.mark.parametrize("own_factors", [True, False])
def test_a_heat_step_is_the_processors(monkeypatch, own_factors):
    """Melting, filler that is not there, air all around: the same temperatures to the tolerance."""
    places = np.array([200.0, 1700.0, 1750.0, 4000.0])
    tables = HeatTables(
        7850.0,
        (places, np.array([-1e5, 9e5, 12e5, 30e5])),
        (np.array([300.0, 1000.0, 2000.0]), np.array([50.0, 28.0, 60.0])),
    )
    points, cells = block(np.linspace(0, 6e-3, 4), np.linspace(0, 2e-3, 2), np.linspace(0, 2e-3, 2))
    surroundings = {"film_coefficient": 20.0, "emissivity": 0.8}
    model = heat_model(points, cells, tables, **surroundings)
    active = everything(model)
    active[-1] = False
    exchange = model.exchange(active)
    power = np.where(points[:, 0] < 1e-9, 60.0, 0.0)
    start = np.full(len(points), AMBIENT)
    host, lost, _ = heat_step(model, start, exchange, active, power, 0.5)
    from weldsim.physics.gpu import heat

    monkeypatch.setattr(heat, "OWN_FACTOR_BELOW", len(points) + 1 if own_factors else 0)
    card = heat.CardHeat(model.mesh)
    found, out, iterations = card.step(model, start, exchange, active, power, 0.5)
    assert host.max() > 1700.0 and iterations > 2
    same(found, host, 1e-5)  # of the power balance both are good to 1e-6
    assert out == pytest.approx(lost, rel=1e-4)


def test_names():
    """What is asked of a card answers in the simulator too."""
    from weldsim.physics.gpu.card import card_name

    assert card_name() == "simulator" if simulated() else card_name()
