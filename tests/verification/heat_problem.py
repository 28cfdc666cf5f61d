"""Small blocks, bars and steps that the heat checks share."""

import numpy as np

from weldsim.physics.heat_conduction import HeatModel, heat_step
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.surface_exchange import SurfaceExchange

ZERO_CELSIUS = 273.15

# Property set P of the worked values: k, rho, c and what follows from them.
CONDUCTIVITY, DENSITY, SPECIFIC_HEAT = 40.0, 7850.0, 600.0
DIFFUSIVITY = CONDUCTIVITY / (DENSITY * SPECIFIC_HEAT)
AMBIENT = 20.0 + ZERO_CELSIUS


def constant_tables(conductivity=CONDUCTIVITY, density=DENSITY, specific_heat=SPECIFIC_HEAT):
    """Tables of a metal whose properties do not change; straight lines continue beyond."""
    span = np.array([0.0, 5000.0])
    enthalpy = specific_heat * (span - AMBIENT)
    return HeatTables(density, (span, enthalpy), (span, np.full(2, conductivity)))


def graded(*pieces):
    """Grid lines from (end, number of cells, growth a cell) pieces starting at the first number."""
    lines = [np.array([pieces[0]], dtype=float)]
    for end, cells, growth in pieces[1:]:
        begin = lines[-1][-1]
        sizes = growth ** np.arange(cells)
        lines.append(begin + (end - begin) * np.cumsum(sizes) / sizes.sum())
    return np.concatenate(lines)


def block(x, y, z):
    """Points and brick cells of a block with the given grid lines. [m]"""
    import skfem

    mesh = skfem.MeshHex1.init_tensor(np.asarray(x), np.asarray(y), np.asarray(z))
    return mesh.p.T.copy(), mesh.t.T.copy()


def rod(x, side=1.0):
    """One cell across, so that the heat flow is one-dimensional."""
    return block(x, [0.0, side], [0.0, side])


def skewed(points, amount):
    """Inner points moved off their lattice; the outside stays where it is."""
    low, high = points.min(axis=0), points.max(axis=0)
    s = (points - low) / (high - low)
    bump = np.prod(np.sin(np.pi * s), axis=1)
    pattern = np.cos(np.arange(points.size).reshape(points.shape) * 2.399)  # no symmetry
    return points + amount * bump[:, None] * pattern


def on_plane(points, axis, value):
    """Mask of the points on a plane across an axis."""
    return np.isclose(points[:, axis], value, atol=1e-9)


def nearest(points, *place):
    """Number of the point at a place; fails if there is none."""
    distance = np.linalg.norm(points - np.asarray(place), axis=1)
    assert distance.min() < 1e-9, f"no mesh point at {place}"
    return int(distance.argmin())


def heat_model(points, cells, tables=None, **surroundings):
    surroundings.setdefault("ambient_temperature", AMBIENT)
    mesh = HeatMesh.of(points, cells, threads=1)
    return HeatModel(mesh, tables or constant_tables(), **surroundings)


def everything(model):
    return np.ones(model.cells.shape[0], dtype=bool)


def face_area(model, mask):
    """Area at the nodes of the outer facets whose corners are all in `mask`. [m2]"""
    outer = (model.mesh.facet_cells[1] < 0) & mask[model.mesh.facet_nodes].all(axis=1)
    area = np.zeros(model.points.shape[0])
    np.add.at(area, model.mesh.facet_nodes[outer], model.mesh.facet_share[outer][:, None])
    return area


def skin_on(model, *masks):
    """A skin that loses heat only through the faces given by node masks."""
    full = model.exchange(everything(model))
    film_coefficient = sum((face_area(model, m) for m in masks), np.zeros(model.points.shape[0]))
    return SurfaceExchange(film_coefficient, full.contact, full.volume, full.active)


def march(
    model, temperature, exchange, end, time_step, begin=0.0, power=None, held=None, watch=None
):
    """Equal steps from `begin` to `end`.

    `power(a, b)` is the nodal power of a step, `held(t)` nodes and temperatures, and `watch` is
    called with (time, temperature, power, lost) after every step.
    """
    active = everything(model)
    steps = max(1, round((end - begin) / time_step))
    times = np.linspace(begin, end, steps + 1)
    nothing = np.zeros(model.points.shape[0])
    for a, b in zip(times[:-1], times[1:], strict=True):
        load = nothing if power is None else power(a, b)
        fixed = None if held is None else held(b)
        temperature, lost, _ = heat_step(model, temperature, exchange, active, load, b - a, fixed)
        if watch is not None:
            watch(b, temperature, load, lost)
    return temperature


def steady(model, temperature, exchange, held=None, power=None):
    """Steady state: steps so long that nothing is left of the start."""
    active = everything(model)
    load = np.zeros(model.points.shape[0]) if power is None else power
    for _ in range(3):
        temperature, _, _ = heat_step(model, temperature, exchange, active, load, 1e12, held)
    return temperature
