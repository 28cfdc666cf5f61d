"""Cooling times t8/5 of a bead on a plate: EN 1011-2:2001, Annex D (F2 = F3 = 1), and computed."""

from __future__ import annotations

import numpy as np

from weldsim.materials.material import load_material
from weldsim.physics.heat_conduction import HeatModel, heat_step
from weldsim.physics.heat_tables import HeatTables
from weldsim.validation.blocks import ZERO, block, everything, graded, through_levels

HEATS = (0.5, 1.0, 1.5, 2.0, 3.0)  # kJ/mm, net
THICKNESSES = (6, 10, 15, 25, 50)  # mm
PREHEATS = (20, 150)  # degC
NEAR = (0.8, 1.2)  # of the transition thickness: neither formula holds there
LONGEST = 135.0  # s; longer ones would burn through or lie outside the data of the formula
SCATTER = 0.15  # of the formula about its measurements (common practice)
SPREAD = (
    0.007  # m at 1 kJ/mm, half width and depth of the heat; goes with the square root: the metal
)
# in it then takes up about 1.5 MJ/kg, which is what a pool holds. Otherwise a shift in time alone.
SLICE = 0.001  # m of the plate that is computed: nothing flows along a long bead
ARC_TIME = 0.5  # s in which the heat comes in
AIR = (10.0, 0.8)  # W/(m2 K) and emissivity of the starters' surroundings


def thick(heat: float, preheat: float) -> float:
    """t8/5 where heat flows in three dimensions. [s]"""
    return (6700 - 5 * preheat) * heat * (1 / (500 - preheat) - 1 / (800 - preheat))


def thin(heat: float, thickness: float, preheat: float) -> float:
    """t8/5 where heat flows in the plane of a plate. [s]"""
    span = 1 / (500 - preheat) ** 2 - 1 / (800 - preheat) ** 2
    return (4300 - 4.3 * preheat) * 1e5 * (heat / thickness) ** 2 * span


def conditions() -> list[tuple[float, int, int]]:
    """Net heat [kJ/mm], thickness [mm], preheat [degC] where one of the formulas holds."""
    out = []
    for preheat in PREHEATS:
        for heat in HEATS:
            for d in THICKNESSES:
                t2, t3 = thin(heat, d, preheat), thick(heat, preheat)
                from_transition = np.sqrt(t3 / t2)  # thin goes with 1 / d2, thick with 1
                if not NEAR[0] < from_transition < NEAR[1] and max(t2, t3) < LONGEST:
                    out.append((heat, d, preheat))
    return out


def constants(preheat: float) -> HeatTables:
    """The metal behind the formulas: constants that their factors are made of.

    1/(2 pi k) is 6700 - 5 Tp and 1/(4 pi k rho c) is (4300 - 4.3 Tp) 1e5, in the standard's units.
    """
    k = 1e6 / (2 * np.pi * (6700 - 5 * preheat))
    capacity = 1e12 / (4 * np.pi * k * (4300 - 4.3 * preheat) * 1e5)
    span = np.array([0.0, 6000.0])
    return HeatTables(7850.0, (span, capacity * 1e6 / 7850.0 * span), (span, np.full(2, k)))


def cooling_time(
    heat: float,
    thickness: float,
    preheat: float,
    factor: float = 1.0,
    losses: bool = False,
    tables: HeatTables | None = None,
) -> float:
    """t8/5 on top of a bead on a plate. [s]

    Half the cross-section, one cell long: heat flow along a long bead is small. The heat comes in
    half a second. Euler steps of 2 % of the time since: 1 % of t8/5.

    Parameters
    ----------
    heat, thickness, preheat : float
        [kJ/mm, mm, degC]
    factor : float
        On the heat.
    losses : bool
        To the air of the starters, `AIR`; otherwise none, as in the solutions that the formulas
        have the shape of.
    tables : HeatTables, optional
        Of the metal; the real curves of carbon steel when left out.
    """
    d = 1e-3 * thickness
    z = np.linspace(0.0, d, 8) if thickness < 20 else graded(d, 0.012, 0.001, 1.25)
    mesh = block(np.array([0.0, SLICE]), graded(0.150, 0.012, 0.001, 1.2), z)
    tables = tables or HeatTables.of(load_material("carbon-steel"))
    film, emissivity = AIR if losses else (0.0, 0.0)
    model = HeatModel(mesh, tables, 20.0 + ZERO, film_coefficient=film, emissivity=emissivity)
    active, exchange = everything(model), through_levels(model, (0.0, d))
    p = mesh.points
    weight = exchange.volume * np.exp(-3 * (p[:, 1] ** 2 + p[:, 2] ** 2) / (SPREAD**2 * heat))
    power = 0.5 * factor * heat * 1e6 * SLICE * weight / weight.sum() / ARC_TIME
    top = int(np.argmin((p**2).sum(axis=1)))
    temperature = np.full(len(p), preheat + ZERO)
    now, times, history = 0.0, [], []
    while now < ARC_TIME or temperature[top] > 490.0 + ZERO:
        arc = now < ARC_TIME - 1e-9
        step = ARC_TIME / 10 if arc else 0.02 * now
        load = power if arc else np.zeros(len(p))
        temperature, _, _ = heat_step(model, temperature, exchange, active, load, step)
        now += step
        times.append(now)
        history.append(temperature[top] - ZERO)
    peak = int(np.argmax(history))
    t, v = np.array(times[peak:]), np.array(history[peak:])
    return float(np.interp(-500, -v, t) - np.interp(-800, -v, t))
