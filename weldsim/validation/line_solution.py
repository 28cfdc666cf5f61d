"""Cooling of a bead on a plate in one dimension, by SciPy: what the curves of a metal come to.

Where heat flows in the plane of a plate, the temperature depends on the distance across alone, and
where it flows in depth, on the radius. Either way rho dh/dt = div(k(T) grad T) is one equation in
one place, cut into finite volumes and left to SciPy's integrator: steps and order are its own.
Nothing is shared with weldsim's conduction but the curves of the metal and the heat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.physics.heat_tables import HeatTables
from weldsim.validation.blocks import ZERO
from weldsim.validation.plates import AIR, ARC_TIME, SPREAD

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4)
REACH, FINEST, VOLUMES = 0.15, 4e-4, 100  # m, m: half the plate, and its first volume
RELATIVE, ABSOLUTE = 1e-4, 100.0  # what SciPy may be off by in the enthalpy. [1, J/kg]
LONGEST = 2000.0  # s


@dataclass(frozen=True)
class Line:
    """Volumes across a plate or around a bead, a metre of it.

    Attributes
    ----------
    places : ndarray, shape (n,)
        Middles of the volumes. [m]
    volume, skin : ndarray, shape (n,)
        Volume and area that meets the air. [m2, m]
    faces : ndarray, shape (n + 1,)
        Area between them. [m]
    """

    places: np.ndarray
    volume: np.ndarray
    skin: np.ndarray
    faces: np.ndarray


def across(thickness: float) -> Line:
    """Half a plate, heat flowing in its plane. [m]"""
    edges = np.concatenate([[0.0], np.geomspace(FINEST, REACH, VOLUMES)])
    wide = np.diff(edges)
    area = np.full(edges.size, thickness)
    return Line((edges[1:] + edges[:-1]) / 2, thickness * wide, 2 * wide, area)


def around() -> Line:
    """Half of a half cylinder below a bead, heat flowing in depth."""
    edges = np.concatenate([[0.0], np.geomspace(FINEST, REACH, VOLUMES)])
    volume = np.pi / 4 * np.diff(edges**2)
    return Line((edges[1:] + edges[:-1]) / 2, volume, np.zeros(VOLUMES), np.pi / 2 * edges)


def cooled(
    line: Line, heat: float, preheat: float, tables: HeatTables, losses: bool = False
) -> float:
    """t8/5 at the first volume. [s]

    Parameters
    ----------
    line : Line
        Half of what is heated.
    heat, preheat : float
        Net, coming in evenly within `ARC_TIME`. [kJ/mm, degC]
    tables : HeatTables
        Of the metal.
    losses : bool
        Through the skin to the air of the starters.

    Returns
    -------
    float
        Between 800 and 500 degC. [s]
    """
    from scipy.integrate import solve_ivp
    from scipy.sparse import diags_array

    spread = np.exp(-3 * line.places**2 / (SPREAD**2 * heat)) * line.volume
    power = 0.5 * heat * 1e6 * spread / spread.sum() / ARC_TIME  # W per metre of the bead
    film, emissivity = AIR if losses else (0.0, 0.0)
    air = 20.0 + ZERO

    def rate(enthalpy: np.ndarray, source: np.ndarray) -> np.ndarray:
        t = tables.temperature(enthalpy)
        k = np.interp((t[1:] + t[:-1]) / 2, *tables.conductivity)
        flow = np.zeros(t.size + 1)
        flow[1:-1] = -k * line.faces[1:-1] * np.diff(t) / np.diff(line.places)
        out = film * (t - air) + emissivity * STEFAN_BOLTZMANN * (t**4 - air**4)
        return (source - np.diff(flow) - line.skin * out) / (line.volume * tables.density)

    def cold(_: float, enthalpy: np.ndarray) -> float:
        return float(tables.temperature(enthalpy[:1])[0]) - 490.0 - ZERO

    cold.terminal = True  # type: ignore[attr-defined]
    n = line.places.size
    how = {
        "method": "BDF", "rtol": RELATIVE, "atol": ABSOLUTE,
        "jac_sparsity": diags_array([np.ones(n - 1), np.ones(n), np.ones(n - 1)],
                                    offsets=[-1, 0, 1]),
    }  # fmt: skip
    start = np.full(n, float(tables.heat(np.array([preheat + ZERO]))[0][0]))
    hot = solve_ivp(lambda _, h: rate(h, power), (0.0, ARC_TIME), start, **how).y[:, -1]
    rest = solve_ivp(lambda _, h: rate(h, 0.0 * power), (ARC_TIME, LONGEST), hot, events=cold,
                     dense_output=True, **how)  # fmt: skip
    times = np.geomspace(ARC_TIME, rest.t[-1], 4000)
    history = tables.temperature(rest.sol(times)[0]) - ZERO
    peak = int(history.argmax())
    down = -history[peak:]
    return float(np.interp(-500.0, down, times[peak:]) - np.interp(-800.0, down, times[peak:]))
