"""Textbook conduction: semi-infinite solids, slabs, lumped bodies, melting, non-linear slab.

H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids (1959): instantaneous plane source,
semi-infinite solid (ch. II), slab with convection (ch. III), melting (ch. XI). Lumped times are
quadratures of the energy balance. Default metal: k = 40, rho c = 4.71e6, 20 degC.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erf, erfc

from tests.verification.heat_problem import (
    AMBIENT,
    DENSITY,
    DIFFUSIVITY,
    SPECIFIC_HEAT,
    ZERO_CELSIUS,
    block,
    constant_tables,
    everything,
    face_area,
    graded,
    heat_model,
    march,
    nearest,
    on_plane,
    rod,
    skin_on,
    steady,
)
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.surface_exchange import STEFAN_BOLTZMANN

CAPACITY = DENSITY * SPECIFIC_HEAT


def along(model, x):
    """Node on the axis of a rod at x."""
    return nearest(model.points, x, 0, 0)


def long_rod(**surroundings):
    """Half-space stand-in: 0.25 mm cells to 20 mm, then growing to 200 mm."""
    lines = graded(0.0, (0.020, 80, 1.0), (0.2, 40, 1.08))
    return heat_model(*rod(lines), **surroundings)


def test_suddenly_held_surface():
    """T = T0 + (Ts - T0) erfc(x / 2 sqrt(alpha t)), Ts = 500 degC."""
    model = long_rod()
    face = np.flatnonzero(on_plane(model.points, 0, 0.0))
    held = lambda t: (face, 500.0 + ZERO_CELSIUS)  # noqa: E731
    start = np.full(model.points.shape[0], AMBIENT)
    early = march(model, start, skin_on(model), 10.0, 0.02, held=held)
    late = march(model, early, skin_on(model), 60.0, 0.1, begin=10.0, held=held)
    got = [early[along(model, 0.005)], early[along(model, 0.010)], late[along(model, 0.010)]]
    expected = np.array([356.594, 232.593, 381.964])
    assert np.array(got) - ZERO_CELSIUS == pytest.approx(expected, abs=0.005 * 212), (
        "temperature 5 and 10 mm deep after 10 s, 10 mm after 60 s, the furthest off [degC]"
    )
    wall = 20 + 480 * erfc(0.005 / (2 * np.sqrt(DIFFUSIVITY * 10)))
    assert wall == pytest.approx(356.594, abs=1e-3), (
        "formula 5 mm deep after 10 s, against the worked value [degC]"
    )


def test_constant_flux_on_a_surface():
    """q0 = 1 MW/m2: T - T0 = 2 q0/k sqrt(alpha t/pi) e^-eta^2 - q0 x/k erfc(eta)."""
    model = long_rod()
    flux = 1e6 * face_area(model, on_plane(model.points, 0, 0.0))
    start = np.full(model.points.shape[0], AMBIENT)
    exchange = skin_on(model)
    early = march(model, start, exchange, 10.0, 0.05, power=lambda a, b: flux)
    late = march(model, early, exchange, 30.0, 0.1, begin=10.0, power=lambda a, b: flux)
    places = [along(model, x) for x in (0.0, 0.005, 0.010)]
    rise = 0.005 * np.array([260, 154, 83, 450, 244])
    got = np.r_[early[places], late[[places[0], places[2]]]] - ZERO_CELSIUS
    expected = np.array([279.965, 173.865, 102.947, 470.272, 263.747])
    assert (abs(got - expected) / rise).max() < 1, (
        "temperature on and under the heated face, largest error over what is allowed"
    )


def test_surface_with_convection():
    """Ti = 500, Ta = 20 degC, h = 1000 W/m2K on a semi-infinite solid."""
    model = long_rod(film_coefficient=1000.0)
    exchange = skin_on(model, on_plane(model.points, 0, 0.0))
    start = np.full(model.points.shape[0], 500.0 + ZERO_CELSIUS)
    early = march(model, start, exchange, 10.0, 0.05)
    late = march(model, early, exchange, 60.0, 0.2, begin=10.0)
    places = [along(model, x) for x in (0.0, 0.010, 0.020)]
    got = np.r_[early[places[:2]], late[places]] - ZERO_CELSIUS
    expected = np.array([396.872, 465.710, 300.386, 363.823, 413.006])
    # 0.5 % of the fall from 500 degC
    allowed = np.maximum(0.005 * (500 - expected), 0.3)
    assert (abs(got - expected) / allowed).max() < 1, (
        "temperature on and under the cooled face, largest error over what is allowed"
    )


def test_slab_cooled_on_both_faces():
    """20 mm slab, h = 1000 on both faces, 500 -> 20 degC, Bi = 0.25; cosine series."""
    # first root and coefficient of zeta tan zeta = Bi
    zeta = brentq(lambda s: s * np.tan(s) - 0.25, 0.1, 1.0)
    assert zeta == pytest.approx(0.480094, abs=1e-6), "first root of the series"
    model = heat_model(*rod(np.linspace(0, 0.020, 41)), film_coefficient=1000.0)
    exchange = skin_on(model, on_plane(model.points, 0, 0.0), on_plane(model.points, 0, 0.020))
    start = np.full(model.points.shape[0], 500.0 + ZERO_CELSIUS)
    first = march(model, start, exchange, 20.0, 0.05)
    second = march(model, first, exchange, 60.0, 0.05, begin=20.0)
    places = [along(model, x) for x in (0.010, 0.015, 0.020, 0.005, 0.0)]
    for got, centre, middle, surface in (
        (first, 356.896, 347.237, 318.811),
        (second, 173.975, 169.560, 156.569),
    ):
        expected = np.array([centre, middle, surface, middle, surface])
        assert got[places] - ZERO_CELSIUS == pytest.approx(expected, abs=0.005 * 154), (
            "temperature at centre, quarter points and faces of the slab, the furthest off [degC]"
        )


def test_instantaneous_plane_source():
    """10 kJ in 240 mm2 at x = 0: (Q/A) / (rho c sqrt(4 pi alpha t)) exp(-x^2 / 4 alpha t).

    Half of it in half a rod, put into the first half cell, released in one short step.
    """
    model = long_rod()
    face = face_area(model, on_plane(model.points, 0, 0.0))
    short = 1e-4
    pulse = 0.5 * 10e3 / 240e-6 * face / short
    exchange, active = skin_on(model), everything(model)
    assert active.all(), "all of the rod is there"
    start = np.full(model.points.shape[0], AMBIENT)
    hot = march(model, start, exchange, short, short, power=lambda a, b: pulse)
    # Euler needs steps small against the age of the pulse: they grow with it.
    age = short
    seen, temperature = {}, hot
    for end in (1.0, 5.0, 20.0):
        count = int(np.ceil(np.log(end / age) / 0.01))
        for t in np.geomspace(age, end, count + 1)[1:]:
            temperature = march(model, temperature, exchange, t, t - age, begin=age)
            age = t
        seen[end] = temperature
    table = {(0, 1.0): 876.334, (0.010, 5.0): 232.553, (0.020, 20.0): 126.277}  # degC
    for (x, t), worked in table.items():
        spread = np.sqrt(4 * np.pi * DIFFUSIVITY * t)
        rise = 10e3 / 240e-6 / (CAPACITY * spread) * np.exp(-(x**2) / (4 * DIFFUSIVITY * t))
        assert 20 + rise == pytest.approx(worked, abs=2e-3), (
            f"formula {1e3 * x:g} mm from the source after {t:g} s, against the worked value [degC]"
        )
        assert seen[t][along(model, x)] - AMBIENT == pytest.approx(rise, rel=0.005), (
            f"rise {1e3 * x:g} mm from the source after {t:g} s [K]"
        )


def test_moving_plane_source_in_a_bar():
    """D. Rosenthal, Trans. ASME 68 (1946): 500 W through 240 mm2 at 5 mm/s; rise 88.464 K behind,
    27.251 K at 2 mm and 4.659 K at 5 mm ahead, once the travel is long against alpha / v.

    The plane is smeared over one cell and averaged over the step, as the arc's heat is.
    """
    speed, area, cell = 0.005, 240e-6, 0.5e-3
    model = heat_model(*rod(np.arange(0, 281) * cell, np.sqrt(area)))
    x = model.points[:, 0]
    lines = np.unique(np.round(x, 9))

    def power(begin, end):
        # each node takes the time the plane spends in its half cells
        low, high = np.clip([lines - cell / 2, lines + cell / 2], 0.0, lines[-1])
        spent = np.clip(np.minimum(high, speed * end) - np.maximum(low, speed * begin), 0, None)
        share = spent / (speed * (end - begin))
        return 500.0 * share[np.searchsorted(lines, x - 1e-12)] / 4

    start = np.full(x.size, AMBIENT)
    got = march(model, start, skin_on(model), 20.0, 0.0125, power=power) - AMBIENT
    place = lambda ahead: got[along(model, 0.100 + ahead)]  # noqa: E731
    behind = 500 / (CAPACITY * area * speed)
    assert behind == pytest.approx(88.464, abs=1e-3), (
        "formula behind the source, against the worked value [K]"
    )
    # 9 alpha / v behind the plane and far from its start
    assert place(-0.015) == pytest.approx(88.464, rel=0.01), "rise 15 mm behind the source [K]"
    assert place(0.002) == pytest.approx(27.251, rel=0.03), "rise 2 mm ahead of the source [K]"
    assert place(0.005) == pytest.approx(4.659, abs=0.03 * 27.251), (
        "rise 5 mm ahead of the source [K]"
    )


def times_to_reach(levels, begin, surroundings, tables=None, share=0.001):
    """Cooling times of a bar 40 x 6 mm with insulated ends: one cell, so exactly lumped. [s]

    Steps lose `share` of the rise over ambient, so Euler is off by half of it.
    """
    model = heat_model(*block([0, 0.1], [0, 0.006], [0, 0.040]), tables, **surroundings)
    p = model.points
    sides = [on_plane(p, a, v) for a, v in ((1, 0.0), (1, 0.006), (2, 0.0), (2, 0.040))]
    exchange = skin_on(model, *sides)
    temperature = np.full(8, begin + ZERO_CELSIUS)
    time, found = 0.0, []
    for level in levels:
        while temperature[0] > level + ZERO_CELSIUS:
            before = temperature[0]
            loss = model.loss(temperature, exchange)[0].sum()
            slope = model.tables.heat(temperature)[1][0] * DENSITY * exchange.volume.sum()
            step = share * (before - AMBIENT) * slope / loss
            temperature = march(model, temperature, exchange, step, step)
            time += step
        # back to the level on the straight line of the last step
        over = (level + ZERO_CELSIUS - temperature[0]) / (before - temperature[0])
        found.append(time - over * step)
    assert np.ptp(temperature) < 1e-6, "spread of the temperature in a bar that cools evenly"
    return np.array(found)


LEVELS = (800, 500, 200, 100)


@pytest.mark.parametrize(
    "surroundings, expected",
    [
        (dict(film_coefficient=10.0), (280.46, 877.00, 2082.14, 3078.53)),
        (dict(emissivity=0.8), (29.425, 153.308, 868.054, 2074.006)),
        (dict(film_coefficient=10.0, emissivity=0.8), (26.591, 128.339, 566.893, 1110.180)),
    ],
    ids=["convection", "radiation", "both"],
)
def test_lumped_bar_cools(surroundings, expected):
    """Time from 1000 degC: quadrature of rho c V dT/dt = -A [h (T-Ta) + eps sigma (T^4 - Ta^4)]."""
    h, eps = surroundings.get("film_coefficient", 0), surroundings.get("emissivity", 0)
    area_per_volume = 2 * (0.040 + 0.006) / (0.040 * 0.006)

    def slowness(t):
        loss = h * (t - AMBIENT) + eps * STEFAN_BOLTZMANN * (t**4 - AMBIENT**4)
        return CAPACITY / (area_per_volume * loss)

    exact = [quad(slowness, v + 273.15, 1273.15)[0] for v in LEVELS]
    assert exact == pytest.approx(expected, rel=1e-4), (
        f"formula for the times to 800 ... 100 degC, film {h:g}, emissivity {eps:g} [s]"
    )
    assert times_to_reach(LEVELS, 1000.0, surroundings) == pytest.approx(expected, rel=2e-3), (
        f"times from 1000 to 800 ... 100 degC, film {h:g}, emissivity {eps:g}, the furthest off [s]"
    )


def test_lumped_bar_of_carbon_steel_cools():
    """The same with c(T) of EN 1993-1-2, 3.4.1.2: the peak at 735 degC takes its time."""
    tables = carbon_steel()
    surroundings = dict(film_coefficient=10.0, emissivity=0.8)
    got = times_to_reach(LEVELS, 1000.0, surroundings, tables)
    assert got == pytest.approx((30.313, 183.609, 600.994, 1059.425), rel=2e-3), (
        "time to cool from 1000 to 800, 500, 200, 100 degC, the furthest off [s]"
    )


# Melting set: k = 30, rho = 7400, c = 700, L = 270 kJ/kg, melting point 1500 degC.
MELT, LATENT, RANGE = 1500.0 + ZERO_CELSIUS, 270e3, 4.0


def melting_tables():
    """Enthalpy with the latent heat spread over 4 K around the melting point."""
    t = np.array([0.0, MELT - RANGE / 2, MELT + RANGE / 2, 5000.0])
    h = 700.0 * t + np.array([0, 0, LATENT, LATENT])
    return HeatTables(7400.0, (t, h), (t[[0, -1]], np.full(2, 30.0)))


@pytest.mark.parametrize(
    "wall, initial, root, front, places",
    [
        (500, 1500, 0.872601, 13.2813, {2: 688.33, 5: 957.03, 10: 1326.75}),
        (500, 1600, 0.784090, 11.9342, {2: 701.26, 5: 988.41, 10: 1383.52, 20: 1576.40}),
        (20, 1600, 0.897133, 13.6547, {2: 294.29, 5: 685.64, 10: 1224.13, 20: 1569.14}),
        (2000, 20, 0.214558, 3.2657, {2: 1690.86, 5: 1268.10, 10: 705.64, 20: 142.67}),
    ],
    ids=["one phase", "two phases", "two phases, cold wall", "melting"],
)
def test_stefan_problem(wall, initial, root, front, places):
    """Neumann's solution, Carslaw & Jaeger ch. XI: front S = 2 lambda sqrt(alpha t) within one
    cell at 10 s, temperatures, and the heat through the wall within 1 %."""
    alpha, cell = 30 / (7400 * 700), 0.25e-3
    melt, latent = 1500.0, 270e3 / 700
    freezing = wall < melt
    sign = 1 if freezing else -1

    def balance(r):
        near, far = abs(melt - wall), abs(initial - melt)
        return (
            np.exp(-r * r) / erf(r)
            - far / near * np.exp(-r * r) / erfc(r)
            - r * np.sqrt(np.pi) * latent / near
        )

    assert brentq(balance, 1e-3, 3) == pytest.approx(root, abs=2e-6), (
        "root of the equation for the front, against the worked value"
    )
    model = heat_model(*rod(graded(0.0, (0.025, 100, 1.0), (0.08, 40, 1.04))), melting_tables())
    face = np.flatnonzero(on_plane(model.points, 0, 0.0))
    # An all-liquid start at the melting point stands at the upper end of the melting range.
    start_at = max(initial, melt + RANGE / 2) if initial == melt else initial
    start = np.full(model.points.shape[0], start_at + ZERO_CELSIUS)
    exchange = skin_on(model)
    before = model.stored(start, exchange)
    held = lambda t: (face, wall + ZERO_CELSIUS)  # noqa: E731
    got = march(model, start, exchange, 10.0, 0.02, held=held)
    axis = np.flatnonzero(np.all(np.isclose(model.points[:, 1:], 0), axis=1))
    axis = axis[np.argsort(model.points[axis, 0])]
    x, t = model.points[axis, 0], got[axis] - ZERO_CELSIUS
    place = np.interp(melt * sign, t * sign, x)
    assert place == pytest.approx(front * 1e-3, abs=cell), (
        f"place of the front after 10 s, wall {wall} degC, start {initial} degC [m]"
    )
    span = abs(initial - wall)
    for mm, expected in places.items():
        assert np.interp(mm * 1e-3, x, t) == pytest.approx(expected, abs=0.01 * span), (
            f"temperature {mm} mm deep after 10 s, wall {wall} degC, start {initial} degC [degC]"
        )
    # wall flux k (Tm - Tw) / (erf(lambda) sqrt(pi alpha t)), integrated
    heat = 2 * 30.0 * (melt - wall) * np.sqrt(10 / (np.pi * alpha)) / erf(root)
    if initial == 1500:
        assert heat == pytest.approx(56.8228e6, rel=1e-5), (
            "formula for the heat through the wall, against the worked value [J/m2]"
        )
    assert before - model.stored(got, exchange) == pytest.approx(heat, rel=0.01), (
        f"heat through the wall, wall {wall} degC, start {initial} degC [J/m2]"
    )


def test_steady_slab_with_conductivity_of_steel():
    """k = 54 - 0.0333 T between 20 and 700 degC over 0.1 m (Kirchhoff integral): 285 681.6 W/m2,
    160.033 / 314.989 / 490.986 degC at the quarters."""
    span = np.array([0.0, 1500.0]) + ZERO_CELSIUS
    k = 54 - 3.33e-2 * (span - ZERO_CELSIUS)
    tables = HeatTables(7850.0, (span, 600.0 * span), (span, k))
    model = heat_model(*rod(np.linspace(0, 0.1, 41)), tables)
    p = model.points
    ends = np.flatnonzero(on_plane(p, 0, 0.0) | on_plane(p, 0, 0.1))
    values = np.where(p[ends, 0] < 0.05, 20.0, 700.0) + ZERO_CELSIUS
    start = np.full(p.shape[0], AMBIENT)
    got = steady(model, start, skin_on(model), (ends, values)) - ZERO_CELSIUS
    at = [along(model, x) for x in (0.025, 0.050, 0.075)]
    assert got[at] == pytest.approx([160.033, 314.989, 490.986], rel=1e-4), (
        "temperature at the quarters of the slab, the furthest off [degC]"
    )
    one, two = got[along(model, 0.05)], got[along(model, 0.0525)]
    flux = np.interp((one + two) / 2 + ZERO_CELSIUS, span, k) * (two - one) / 0.0025
    assert flux == pytest.approx(285_681.6, rel=1e-4), "heat through the slab [W/m2]"


def carbon_steel():
    from weldsim.materials.material import load_material

    return HeatTables.of(load_material("carbon-steel"))


def test_adiabatic_block_does_not_miss_the_specific_heat_peak():
    """1e8 W/m3 in carbon steel, EN 1993-1-2 c(T): 748.80 degC at 40 s with steps of 1 s."""
    model = heat_model(*rod(np.linspace(0, 0.01, 3), 0.01), carbon_steel())
    exchange = skin_on(model)
    seen = {}
    march(
        model,
        np.full(model.points.shape[0], AMBIENT),
        exchange,
        50.0,
        1.0,
        power=lambda a, b: 1e8 * exchange.volume,
        watch=lambda t, temperature, power, lost: seen.update({round(t): temperature}),
    )
    for t, expected in {10: 272.26, 20: 484.92, 30: 658.86, 40: 748.80, 50: 907.51}.items():
        # 1e-4 of the value; the table is straight between nodes at most 1 K apart
        assert seen[t] - ZERO_CELSIUS == pytest.approx(expected, abs=0.05), (
            f"temperature of the heated block after {t} s [degC]"
        )


def test_whole_part_energy():
    """40 kJ into a bar 300 x 40 x 6 mm: +117.952 K with c = 600, 166.728 degC with EN c(T)."""
    grid = block(np.linspace(0, 0.3, 7), np.linspace(0, 0.006, 2), np.linspace(0, 0.04, 3))
    for tables, expected in ((constant_tables(), 137.952), (carbon_steel(), 166.728)):
        model = heat_model(*grid, tables)
        exchange = skin_on(model)
        power = np.zeros(model.points.shape[0])
        power[0] = 40e3 / 100.0  # into one corner
        start = np.full(power.size, AMBIENT)
        hot = march(model, start, exchange, 100.0, 10.0, power=lambda a, b, p=power: p)
        even = march(model, hot, exchange, 1e7, 1e6)
        assert even - ZERO_CELSIUS == pytest.approx(expected, abs=0.02), (
            "temperature of the whole bar once it is even [degC]"
        )
