"""What must hold for any heat solve: conservation, symmetry, patch test, bounds, filler, gaps.

Reasons are in the physics (first law, linearity, maximum principle), so tolerances are those of
the solver: a step is accepted when its residual is 1e-7 of the heat it moves.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.verification.heat_problem import (
    AMBIENT,
    CONDUCTIVITY,
    DENSITY,
    SPECIFIC_HEAT,
    block,
    constant_tables,
    everything,
    face_area,
    heat_model,
    march,
    nearest,
    on_plane,
    skewed,
    skin_on,
    steady,
)
from weldsim.geometry.path import Seam
from weldsim.physics.heat_conduction import heat_step
from weldsim.physics.heat_source import DoubleEllipsoid
from weldsim.physics.heat_tables import HeatTables

DOWN = np.array([0.0, 0.0, -1.0])
CAPACITY = DENSITY * SPECIFIC_HEAT


def steel_like():
    """c(T) with a peak, latent heat, k(T): every non-linearity at once, from round numbers."""
    t = np.array([200.0, 950.0, 1000.0, 1050.0, 1750.0, 1800.0, 4000.0])
    c = np.array([600.0, 1500.0, 1500.0, 650.0, 5500.0, 700.0])
    h = np.r_[0.0, np.cumsum(c * np.diff(t))]
    h -= np.interp(AMBIENT, t, h)
    k = np.array([200.0, 1100.0, 4000.0]), np.array([55.0, 27.0, 30.0])
    return HeatTables(DENSITY, (t, h), k)


def plate(cells=(12, 8, 3), size=(0.06, 0.04, 0.006), skew=0.0):
    """A plate centred on x = y = 0 with its top at z = 0."""
    lines = [np.linspace(-s / 2, s / 2, n + 1) for s, n in zip(size[:2], cells[:2], strict=True)]
    points, bricks = block(*lines, np.linspace(-size[2], 0, cells[2] + 1))
    return skewed(points, skew * min(s / n for s, n in zip(size, cells, strict=True))), bricks


def arc(start, end, power=800.0, depth=0.003):
    seam = Seam(np.array(start, dtype=float), np.array(end, dtype=float), DOWN)
    return DoubleEllipsoid(power, 0.003, 0.006, 0.003, depth, 0.005, seam)


def weld(model, source, end=4.0, step=0.25, exchange=None, start=AMBIENT, watch=None):
    """Run an arc along its seam on a part that is all there."""
    active = everything(model)
    temperature = np.full(model.points.shape[0], start)
    exchange = exchange or model.exchange(active)
    load = lambda a, b: model.mesh.power(active, source, a, b)[0]  # noqa: E731
    return march(model, temperature, exchange, end, step, power=load, watch=watch)


LINE = ((-0.01, 0, 0), (0.01, 0, 0))


@pytest.mark.parametrize("skew", [0.0, 0.2], ids=["straight", "skewed"])
@pytest.mark.parametrize("tables", [constant_tables, steel_like])
def test_insulated_part_keeps_all_heat_each_step(tables, skew):
    """Must hold 1 (first law): stored = supplied to 1e-6, each step, melting included."""
    model = heat_model(*plate(skew=skew), tables())
    exchange = model.exchange(everything(model))
    before = [model.stored(np.full(model.points.shape[0], AMBIENT), exchange)]
    hottest = [0.0]

    def watch(t, temperature, power, lost):
        now = model.stored(temperature, exchange)
        assert now - before[0] == pytest.approx(power.sum() * 0.25, rel=1e-6), (
            "heat that the part keeps in a step [J]"
        )
        assert lost == 0.0, "heat lost by an insulated part"
        before[0] = now
        hottest[0] = max(hottest[0], temperature.max())

    weld(model, arc(*LINE, power=2500.0), exchange=exchange, watch=watch)
    assert hottest[0] > 1800.0, (
        "hottest node, to be above the melting range, K"
    )  # the check went through melting


def test_heat_in_is_stored_or_lost():
    """Must hold 2, to 0.1 % over the run; each step closes to the solver tolerance."""
    model = heat_model(*plate(), steel_like(), film_coefficient=25.0, emissivity=0.8)
    exchange = model.exchange(everything(model))
    start = model.stored(np.full(model.points.shape[0], AMBIENT), exchange)
    lost, supplied = [], []

    def watch(t, temperature, power, out):
        lost.append(out)
        supplied.append(power.sum() * 0.25)

    hot = weld(model, arc(*LINE), exchange=exchange, watch=watch)
    cold = march(model, hot, exchange, 1200.0, 10.0, watch=lambda t, x, p, out: lost.append(out))
    stored = model.stored(cold, exchange) - start
    assert sum(supplied) == pytest.approx(800.0 * 4.0, rel=1e-9), "heat supplied over the run [J]"
    assert sum(lost) > 0.8 * sum(supplied), (
        "heat lost against 0.8 of that supplied, J"
    )  # the loss matters in this check
    assert stored + sum(lost) == pytest.approx(sum(supplied), rel=1e-5), (
        "heat stored and lost, against that supplied [J]"
    )


@pytest.mark.parametrize("step", [1e-3, 1.0, 1e6])
def test_uniform_temperature_stays_uniform(step):
    """Must hold 3: no load, any mesh, any step."""
    model = heat_model(*plate(skew=0.25), steel_like())
    start = np.full(model.points.shape[0], 871.3)
    got = march(model, start, skin_on(model), 3 * step, step)
    assert got == pytest.approx(871.3, abs=1e-6), (
        "temperature of an insulated part that starts even, the furthest off [K]"
    )


def test_part_at_ambient_stays_at_ambient():
    """With film, radiation and a grip, but nothing hotter or colder than ambient."""
    points, cells = plate(skew=0.2)
    grip = {"vise": (np.flatnonzero(points[:, 0] < -0.02), 500.0)}
    model = heat_model(points, cells, film_coefficient=25.0, emissivity=0.8, clamp_contacts=grip)
    exchange = model.exchange(everything(model), ("vise",))
    assert exchange.contact.sum() > 0, "conductance of the clamp"
    got = march(model, np.full(len(points), AMBIENT), exchange, 100.0, 25.0)
    assert got == pytest.approx(AMBIENT, abs=1e-8), (
        "temperature of a part at ambient after 100 s, the furthest off [K]"
    )


def test_linear_field_is_exact_on_a_skewed_mesh():
    """Must hold 3 (patch test): faces held at a linear field, inside it is reproduced."""
    points, cells = plate(skew=0.25)
    gradient = np.array([3000.0, -1700.0, 9000.0])
    linear = 700.0 + points @ gradient
    low, high = points.min(axis=0), points.max(axis=0)
    edge = np.any(np.isclose(points, low) | np.isclose(points, high), axis=1)
    assert 0 < edge.sum() < len(points), "some nodes are held and some are free"
    model = heat_model(points, cells)
    start = np.full(len(points), 700.0)
    held = (np.flatnonzero(edge), linear[edge])
    got = steady(model, start, skin_on(model), held)
    assert got == pytest.approx(linear, abs=1e-6 * np.ptp(linear)), (
        "temperature inside a skewed mesh whose faces are held, the furthest off [K]"
    )


def test_flux_of_a_linear_field_is_exact():
    """A bar held at one end with k g A drawn in at the other: the slope is g on skewed cells."""
    points, cells = plate(skew=0.25)
    model = heat_model(points, cells)
    hot, cold = on_plane(points, 0, 0.03), on_plane(points, 0, -0.03)
    load = 2000.0 * CONDUCTIVITY * face_area(model, hot)
    assert load.sum() == pytest.approx(2000.0 * CONDUCTIVITY * 0.04 * 0.006, rel=1e-9), (
        "heat drawn in at the end [W]"
    )
    start = np.full(len(points), 300.0)
    got = steady(model, start, skin_on(model), (np.flatnonzero(cold), 300.0), load)
    assert got == pytest.approx(300.0 + 2000.0 * (points[:, 0] + 0.03), abs=1e-4), (
        "temperature along the bar, the furthest off [K]"
    )


def test_doubling_the_power_doubles_the_rise():
    """Must hold 4, constant properties and convection only; shifting the start shifts all."""
    model = heat_model(*plate(), film_coefficient=100.0)
    one = weld(model, arc(*LINE)) - AMBIENT
    two = weld(model, arc(*LINE, power=1600.0)) - AMBIENT
    assert two == pytest.approx(2 * one, rel=1e-5, abs=1e-4), (
        "rise under twice the power, against twice the rise, the furthest off [K]"
    )
    insulated = heat_model(*plate())
    base = weld(insulated, arc(*LINE))
    warm = weld(insulated, arc(*LINE), start=AMBIENT + 130.0)
    assert warm == pytest.approx(base + 130.0, abs=1e-3), (
        "temperature from a start 130 K warmer, the furthest off [K]"
    )


def order(points):
    return np.lexsort(np.round(points, 9).T)


@pytest.mark.parametrize("tables", [constant_tables, steel_like])
def test_reversed_travel_mirrors_the_field(tables):
    """Must hold 5."""
    model = heat_model(*plate(), tables(), film_coefficient=20.0, emissivity=0.8)
    there = weld(model, arc((-0.01, 0.005, 0), (0.01, 0.005, 0)))
    back = weld(model, arc((0.01, 0.005, 0), (-0.01, 0.005, 0)))
    mirrored = model.points * [-1, 1, 1]
    match = np.empty(len(mirrored), dtype=int)
    match[order(mirrored)] = order(model.points)
    assert back[match] == pytest.approx(there, abs=1e-3), (
        "temperature after the reversed travel, mirrored, the furthest off [K]"
    )
    assert np.ptp(there - back) > 100.0, (
        "difference that the travel makes, not mirrored, K"
    )  # not symmetric by itself


def test_turned_part_gives_the_same_field():
    """Must hold 5: seam along +y of a part turned by 90 degrees."""
    points, cells = plate()
    turn = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1.0]])
    ahead = weld(heat_model(points, cells, steel_like()), arc(*LINE))
    aside = weld(
        heat_model(points @ turn.T, cells, steel_like()), arc(*(turn @ np.array(p) for p in LINE))
    )
    assert aside == pytest.approx(ahead, abs=1e-3), (
        "temperature of the turned part, the furthest off [K]"
    )


@pytest.mark.parametrize("step", [1e-4, 0.01, 1.0, 100.0])
def test_never_colder_than_the_coldest(step):
    """Must hold 7 (maximum principle): lumped capacity on bricks, even for tiny steps.

    Near-cubic cells: a flat brick couples some neighbours the wrong way, by a small amount.
    """
    model = heat_model(*plate(cells=(12, 8, 2), size=(0.036, 0.024, 0.006)), film_coefficient=10.0)
    exchange = model.exchange(everything(model))
    load = np.zeros(model.points.shape[0])
    load[nearest(model.points, 0, 0, 0)] = 500.0
    start = np.full(load.size, AMBIENT)
    lowest = []
    march(
        model, start, exchange, 4 * step, step,
        power=lambda a, b: load, watch=lambda t, x, p, out: lowest.append(x.min()),
    )  # fmt: skip
    rise = 500.0 * step / (CAPACITY * 1e-9)  # of the order of the node's rise
    assert min(lowest) >= AMBIENT - 1e-3 * min(rise, 1000.0), (
        "coldest node, to be no colder than ambient, K"
    )


def joined(points, cells, tolerance=1e-9):
    """One node where two coincide."""
    places = np.round(points / tolerance).astype(np.int64)
    _, first, number = np.unique(places, axis=0, return_index=True, return_inverse=True)
    return points[first], number.ravel()[cells]


def test_gap_passes_no_heat_and_contact_is_one_body():
    """Must hold 9: two plates side by side, apart and with shared nodes."""
    left = block(np.linspace(-0.03, 0, 7), np.linspace(-0.02, 0.02, 9), np.linspace(-0.006, 0, 4))
    right = left[0] + [0.03, 0, 0], left[1]
    points = np.vstack([left[0], right[0]])
    cells = np.vstack([left[1], right[1] + len(left[0])])
    source = arc((-0.02, 0, 0), (-0.012, 0, 0), power=600.0)
    reach = points[cells].mean(axis=1)[:, 0] < 0

    def run(points, cells, laid_for_arc):
        model = heat_model(points, cells)
        load = lambda a, b: model.mesh.power(laid_for_arc, source, a, b)[0]  # noqa: E731
        start = np.full(len(points), AMBIENT)
        return march(model, start, model.exchange(everything(model)), 4.0, 0.25, power=load)

    apart = run(points, cells, reach)
    assert apart[len(left[0]) :] == pytest.approx(AMBIENT, abs=1e-9), (
        "temperature of the plate beyond a gap, the furthest off [K]"
    )
    assert apart.max() > AMBIENT + 100, "hottest node of the heated plate, K"
    touching = run(*joined(points, cells), reach)
    whole_points, whole_cells = block(
        np.linspace(-0.03, 0.03, 13), np.linspace(-0.02, 0.02, 9), np.linspace(-0.006, 0, 4)
    )
    inside = whole_points[whole_cells].mean(axis=1)[:, 0] < 0
    whole = run(whole_points, whole_cells, inside)
    p, _ = joined(points, cells)
    assert touching[order(p)] == pytest.approx(whole[order(whole_points)], abs=1e-3), (
        "temperature of two plates with shared nodes against one plate, the furthest off [K]"
    )
    assert np.ptp(whole[whole_points[:, 0] > 0.001]) > 1.0, (
        "spread of the temperature in the second half of the plate, K"
    )


def test_symmetric_half_with_half_the_power():
    """Must hold 10: half the energy and the same temperatures."""
    full_points, full_cells = plate()
    full = heat_model(full_points, full_cells, steel_like(), film_coefficient=20.0)
    lines = np.linspace(-0.03, 0.03, 13), np.linspace(0, 0.02, 5), np.linspace(-0.006, 0, 4)
    half = heat_model(*block(*lines), steel_like(), film_coefficient=20.0)
    # no loss through the plane of symmetry
    p = half.points
    outside = [on_plane(p, 0, -0.03), on_plane(p, 0, 0.03), on_plane(p, 1, 0.02)]
    outside += [on_plane(p, 2, 0.0), on_plane(p, 2, -0.006)]
    exchange = skin_on(half, *outside)
    one = weld(full, arc(*LINE))
    other = weld(half, arc(*LINE, power=400.0), exchange=exchange)
    at = [nearest(full_points, *q) for q in p]
    assert other == pytest.approx(one[at], abs=1e-3), (
        "temperature of the half against the whole, the furthest off [K]"
    )
    stored = [
        m.stored(t, s) - m.stored(np.full(t.size, AMBIENT), s)
        for m, t, s in ((full, one, full.exchange(everything(full))), (half, other, exchange))
    ]
    assert stored[1] == pytest.approx(stored[0] / 2, rel=1e-6), (
        "heat in the half against half of the whole [J]"
    )


def split_plate():
    """A plate of which the part x > 0 is filler, laid later."""
    model = heat_model(*plate(skew=0.0), steel_like(), film_coefficient=50.0, emissivity=0.8)
    base = model.points[model.cells].mean(axis=1)[:, 0] < 0
    return model, base


def test_filler_that_is_not_laid_stores_and_conducts_nothing():
    """Must hold 11: the base alone gives the same as the base with filler not yet there."""
    model, base = split_plate()
    exchange = model.exchange(base)
    beyond = model.points[:, 0] > 0.001
    assert np.all(exchange.volume[beyond] == 0) and np.all(exchange.film_area[beyond] == 0), (
        "filler that is not laid has neither volume nor surface"
    )
    assert exchange.volume.sum() == pytest.approx(0.03 * 0.04 * 0.006, rel=1e-9), (
        "volume of the base alone [m3]"
    )
    area = 2 * (0.03 * 0.04 + 0.03 * 0.006 + 0.04 * 0.006)
    assert exchange.film_area.sum() == pytest.approx(area, rel=1e-9), (
        "surface of the base alone [m2]"
    )
    source = arc((-0.02, 0, 0), (-0.01, 0, 0))
    temperature = np.full(model.points.shape[0], AMBIENT)
    lines = np.linspace(-0.03, 0, 7), np.linspace(-0.02, 0.02, 9), np.linspace(-0.006, 0, 4)
    alone = heat_model(*block(*lines), steel_like(), film_coefficient=50.0, emissivity=0.8)
    single = np.full(alone.points.shape[0], AMBIENT)
    whole = alone.exchange(everything(alone))
    for i in range(8):
        a, b = 0.25 * i, 0.25 * (i + 1)
        power = model.mesh.power(base, source, a, b)[0]
        temperature, lost, _ = heat_step(model, temperature, exchange, base, power, b - a)
        power = alone.mesh.power(everything(alone), source, a, b)[0]
        single, out, _ = heat_step(alone, single, whole, everything(alone), power, b - a)
        assert lost == pytest.approx(out, rel=1e-6), (
            "heat lost in a step, filler not laid against no filler [J]"
        )
    at = [nearest(model.points, *q) for q in alone.points]
    assert temperature[at] == pytest.approx(single, abs=1e-3), (
        "temperature of the base, filler not laid against none, the furthest off [K]"
    )
    assert temperature[beyond] == pytest.approx(AMBIENT, abs=1e-12), (
        "temperature of filler that is not laid [K]"
    )
    assert single.max() > 1000.0, "hottest node of the base, K"


@pytest.mark.parametrize("hot", [AMBIENT, 900.0, 1780.0], ids=["cold", "hot", "melting"])
@pytest.mark.parametrize("ambient", [263.15, AMBIENT, 313.15])
def test_joining_filler_brings_its_own_heat(hot, ambient):
    """First law: the heat content grows by what the filler brings, rho V H(ambient) on the scale
    of the table, and by nothing else. The table's zero is a choice: at 20 degC filler brings
    nothing, in a warmer workshop something, in a colder one less than nothing."""
    model, base = split_plate()
    model = replace(model, ambient_temperature=ambient)
    before, after = model.exchange(base), model.exchange(everything(model))
    temperature = np.where(before.active, hot, ambient)
    joined, brought = model.activate(temperature, before, after)
    cold = model.tables.heat(np.array([ambient]))[0][0]
    added = (after.volume - before.volume).sum()
    assert brought == pytest.approx(DENSITY * added * cold, rel=1e-12), (
        f"heat that filler brings at {ambient - 273.15:.0f} degC [J]"
    )
    assert np.sign(brought) == (0 if ambient == AMBIENT else np.sign(ambient - AMBIENT)), (
        "sign of the heat that filler brings"
    )
    stored = model.stored(temperature, before)
    assert model.stored(joined, after) == pytest.approx(stored + brought, rel=1e-9, abs=1e-6), (
        "heat in the part once filler has joined [J]"
    )
    # warmth only where filler and base share a node; nothing overshoots
    low, high = min(hot, ambient), max(hot, ambient)
    assert joined.max() <= high + 1e-9 and joined.min() >= low - 1e-9, (
        "warmest and coldest node, within what was joined"
    )
    assert joined[model.points[:, 0] > 0.001] == pytest.approx(ambient, abs=1e-9), (
        "temperature of the filler away from the base [K]"
    )


def test_radiation_near_ambient_is_a_film():
    """Must hold 12: kelvin; h_rad -> 4 eps sigma Ta^3 = 4.57 W/m2K at 20 degC, emissivity 0.8."""
    model = heat_model(*plate(), emissivity=0.8)
    exchange = model.exchange(everything(model))
    warm = np.full(model.points.shape[0], AMBIENT + 0.01)
    out, slope = model.loss(warm, exchange)
    area = exchange.film_area.sum()
    assert area == pytest.approx(2 * (0.06 * 0.04 + 0.06 * 0.006 + 0.04 * 0.006), rel=1e-9), (
        "surface of the plate [m2]"
    )
    assert out.sum() / area / 0.01 == pytest.approx(4.57, abs=0.005), (
        "heat lost by radiation 0.01 K above 20 degC [W/(m2 K)]"
    )
    assert slope.sum() / area == pytest.approx(4.57, abs=0.005), (
        "slope of the heat lost by radiation at 20 degC [W/(m2 K)]"
    )
    hot = np.full(model.points.shape[0], 1273.15)
    expected = 0.8 * 5.670374e-8 * (1273.15**4 - AMBIENT**4)
    assert model.loss(hot, exchange)[0].sum() / area == pytest.approx(expected, rel=1e-6), (
        "heat radiated at 1000 degC [W/m2]"
    )


def test_grip_replaces_film_and_radiation():
    """A gripped face conducts into the clamp; it does not also lose heat to the air."""
    points, cells = plate()
    nodes = np.flatnonzero(points[:, 0] < -0.0149)  # three of twelve cell rows
    model = heat_model(
        points, cells, film_coefficient=10.0, clamp_contacts={"vise": (nodes, 500.0)}
    )
    held, free = model.exchange(everything(model), ("vise",)), model.exchange(everything(model))
    clamped = 2 * 0.015 * 0.04 + 2 * 0.015 * 0.006 + 0.04 * 0.006
    assert held.contact.sum() == pytest.approx(500.0 * clamped, rel=1e-9), (
        "conductance of the clamped faces [W/K]"
    )
    assert held.film_area.sum() == pytest.approx(free.film_area.sum() - clamped, rel=1e-9), (
        "surface left to the air by the clamp [m2]"
    )
    assert free.contact.sum() == 0.0, "conductance without the clamp"


@pytest.mark.parametrize("step", [0.05, 0.5, 2.0])
@pytest.mark.parametrize(
    "cells, allowed", [((24, 24, 4), 1e-9), ((8, 24, 4), 5e-3)], ids=["cubes", "long cells"]
)
def test_arc_chills_nothing_below_ambient(cells, allowed, step):
    """Must hold 7 under an arc of 7 mm: none on cubes, a small undershoot (0.5 % of the peak
    rise) where a cell is three times as long as wide and conduction couples some corners the
    wrong way."""
    model = heat_model(*plate(cells, (0.042, 0.042, 0.006)), steel_like(), film_coefficient=10.0)
    seam = Seam(np.array([-0.015, 0, 0]), np.array([0.015, 0, 0]), DOWN)
    torch = DoubleEllipsoid(1386.0, 0.0035, 0.007, 0.0035, 0.0035, 0.0013, seam)
    low, high = [], []

    def watch(t, temperature, power, lost):
        low.append(temperature.min() - AMBIENT)
        high.append(temperature.max() - AMBIENT)

    weld(model, torch, end=2.0, step=step, watch=watch)
    assert max(high) > 1000.0, "hottest rise under the arc, K"
    assert min(low) >= -allowed * max(high), (
        "coldest node less ambient, against the share allowed of the hottest, K"
    )
