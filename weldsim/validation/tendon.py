"""Longitudinal shrinkage of a straight bead: the tendon force over the heat in the part."""

from __future__ import annotations

import numpy as np

from weldsim.case.load import parse_case
from weldsim.physics.heat_conduction import HeatModel, heat_step
from weldsim.physics.heat_tables import HeatTables
from weldsim.plots.style import inline_svg, new_figure, styled
from weldsim.runs.solving import solve
from weldsim.system.palette import LINES
from weldsim.validation.blocks import ZERO, block, closed, everything, graded
from weldsim.validation.bodies import box, constant, step
from weldsim.validation.rows import Check, Found, near

E, NU, ALPHA, YIELD = 200e9, 0.3, 1.2e-5, 235e6
DENSITY, SPECIFIC_HEAT, CONDUCTIVITY = 7850.0, 600.0, 40.0
CAPACITY = DENSITY * SPECIFIC_HEAT  # 0.00471 J/mm3K
THICKNESS, HALF_WIDTH = 0.006, 0.5  # m
SLICE = 0.005  # m along the weld
ARC = 0.2  # s in which the heat comes
STRIP = 0.005  # m, half width of the metal that takes up the heat
REACH = 0.05  # m, half width of the zone that comes to yield; sets the heat
LIMIT = np.log(2) * np.sqrt(2 / (np.pi * np.e))  # 0.3354


def exact_limit(quick: bool) -> Found:
    """Force that a narrow hot line leaves in a wide straight plate of constant properties.

    Thin plate, heat in a line at once: the highest rise at a distance y is
    sqrt(2/(pi e)) q/(2 rho c h y), fibres that would swell by 2 yield strains or more end at
    yield, those between one and two in proportion; the integral is ln2 sqrt(2/(pi e)) alpha E /
    (rho c) times q, whatever the yield stress.
    """
    rise = YIELD / (E * ALPHA)  # K at which a held fibre comes to yield
    heat = REACH * 2 * CAPACITY * THICKNESS * rise / np.sqrt(2 / (np.pi * np.e))  # J/m
    times, y, history = _line_in_a_plate(heat)
    force = _force_left(times, y, history)
    factor = force / heat / (ALPHA * E / CAPACITY)
    note = (
        f"{heat / 1e3:.0f} J/mm in a plate of {1e3 * THICKNESS:.0f} mm, "
        f"{2e3 * HALF_WIDTH:.0f} mm wide, leave {force / 1e3:.1f} kN: {force / heat * 1e0:.3f} kN "
        "per J/mm."
    )
    return Found((near("factor on alpha E / (rho c)", LIMIT, factor, 0.05),), note)


def _line_in_a_plate(heat: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, places across and rises (times, places) of half a plate. [s, m, K]"""
    y = graded(HALF_WIDTH, 0.06, 0.0025, 1.15)
    model = HeatModel(block(np.array([0.0, SLICE]), y, np.array([0.0, THICKNESS])), _constants(),
                      20.0 + ZERO)  # fmt: skip
    active, exchange = everything(model), closed(model)
    at = model.points
    line = np.array([np.flatnonzero(np.isclose(at[:, 1], v))[0] for v in y])
    inside = np.where(at[:, 1] <= STRIP + 1e-9, exchange.volume, 0.0)
    power = 0.5 * heat * SLICE * inside / inside.sum() / ARC
    temperature, now, history, times = np.full(len(at), 20.0 + ZERO), 0.0, [], []
    peak_time = REACH**2 * CAPACITY / (2 * CONDUCTIVITY)
    while now < 6 * peak_time:
        length = ARC / 20 if now < ARC - 1e-9 else 0.04 * now
        load = power if now < ARC - 1e-9 else np.zeros(len(at))
        temperature, _, _ = heat_step(model, temperature, exchange, active, load, length)
        now += length
        times.append(now)
        history.append(temperature[line] - 20.0 - ZERO)
    return np.array(times), y, np.array(history)


def _constants() -> HeatTables:
    span = np.array([0.0, 1e5])
    return HeatTables(DENSITY, (span, SPECIFIC_HEAT * span), (span, np.full(2, CONDUCTIVITY)))


def _force_left(times: np.ndarray, y: np.ndarray, history: np.ndarray) -> float:
    """Pull along the weld of the whole plate when it is cold, its ends held. [N]"""
    body = box([0.0, SLICE], y, [0.0, THICKNESS])
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0) | body.on(0, SLICE), 0] = True
    fixed[body.on(1, 0.0), 1] = True
    fixed[body.on(2, 0.0), 2] = True
    u, memory = np.zeros_like(body.points), body.virgin()
    across = body.at[..., 1]
    cooled = history[-1] * np.linspace(1, 0, 6)[1:, None]
    for rise in (*history, *cooled):
        law = constant(body, E, NU, ALPHA * np.interp(across, y, rise), YIELD)
        found, memory = step(body, u, memory, law, fixed)
        u = found.displacement
    return 2 * float((found.stress[..., 0] * body.model.weight).sum()) / SLICE


BAR = """
title = "bead along one edge of a free bar"
[part]
kind = "bar"
length = "{length} mm"
width = "100 mm"
thickness = "6 mm"
material = "carbon-steel"
[clamping]
kind = "free"
[[weld]]
name = "A"
face = "top"
from = "0 mm"
to = "{length} mm"
travel = "+x"
process = "135"
current = "{current} A"
voltage = "20 V"
efficiency = 0.8
speed = "12 mm/s"
bead_width = "5 mm"
bead_height = "1 mm"
start = "0 s"
[surroundings]
film_coefficient = "50 W/m2/K"
{gauges}
[solve]
grade = "sketch"
end = "cold"
"""
DIAL = (
    '[[gauge]]\nname = "z{n}"\nkind = "dial"\nat = ["{x} mm", "0 mm", "0 mm"]\ndirection = "+z"\n'
)
TABLE = {0.25: 0.149, 0.40: 0.128, 0.60: 0.116}  # q/A, J/mm3: kN per J/mm; edge bead, S355, B 100
LENGTH, AREA, INERTIA = 300, 600.0, 500e3  # mm, mm2, mm4


def edge_bead(quick: bool) -> Found:
    """Force over heat from the curvature of the middle third of a free bar."""
    some = []
    for share, expected in TABLE.items():
        current = share * AREA * 12 / (20 * 0.8)
        spots = (LENGTH / 3, LENGTH / 2, 2 * LENGTH / 3)
        gauges = "".join(DIAL.format(n=n, x=round(x, 3)) for n, x in enumerate(spots))
        text = BAR.format(length=LENGTH, current=round(current, 3), gauges=gauges)
        result = solve(parse_case(text, "edge bead", []), frames=0, threads=1)
        low, mid, high = (1e3 * result.gauges[f"z{n}", "travel"][-1] for n in range(3))
        curvature = abs(low - 2 * mid + high) / (LENGTH / 6) ** 2  # 1/mm
        force = 210.0 * INERTIA * curvature / 50  # kN at the edge
        label = f"force over heat at {share:g} J/mm3"
        some.append(near(label, expected, force / (share * AREA), 0.20, "kN per J/mm"))
    note = "Read from the curvature of the middle third, F = E I kappa / (B / 2)."
    return Found(tuple(some), note, _picture(some))


@styled
def _picture(some) -> str:
    """Force over heat against heat over section."""
    figure = new_figure(4.4, 3.2)
    axes = figure.add_subplot()
    x = np.array(list(TABLE))
    wanted = np.array([c.expected for c in some])
    axes.fill_between(x, 0.8 * wanted, 1.2 * wanted, color=LINES[0], alpha=0.15, lw=0,
                      label="± 20 %")  # fmt: skip
    axes.plot(x, wanted, color=LINES[0], label="fibres")
    axes.plot(x, [c.computed for c in some], "o", color=LINES[1], label="computed")
    axes.set(
        xlabel="heat over section, J/mm³", ylabel="force over heat, kN per J/mm", ylim=(0, None)
    )
    axes.legend()
    figure.tight_layout()
    return inline_svg(figure, "tendon force over heat against heat over the section")


CHECKS = (
    Check(
        "tendon-limit", "shrinkage", "Pull of a narrow bead in a wide straight plate",
        "ln2 sqrt(2/(pi e)) alpha E/(rho c) = 0.3354 alpha E/(rho c): integral over fibres that "
        "yield, of the exact rise of an instantaneous line source; the form is N. O. Okerblom's "
        "(1958, from memory)",
        "derived, exact in the limit; recomputed with fibres to 3 %",
        "Constant properties, ends held, heat at once: what the closed form is about. Heat "
        "conduction and mechanics on a slice across the plate.",
        exact_limit, ("bar", "plate-butt", "plate-tee"), 20.0, against="derived",
        tolerance="5 %: the heat comes in over 10 mm instead of a line (1 %), steps in time (2 %), "
        "cells.",
    ),
    Check(
        "tendon-edge-bead", "shrinkage", "Pull of a bead along the edge of a free bar",
        "fibre calculation with the curves of EN 1993-1-2: plane sections, heat at once, edge bead "
        "on a bar 100 mm wide, yield 355 MPa",
        "computed for the reference in one dimension; grid halved twice, below 0.1 %",
        "Grade sketch, bar three widths long (its ends carry less), arc at 12 mm/s, film "
        "coefficient 50 W/m2K to shorten the cooling.",
        edge_bead, ("bar",), 200.0, False, "derived",
        "20 %: fibres that stay plane stand for a bar with ends, heat at once for an arc.",
    ),
)  # fmt: skip
