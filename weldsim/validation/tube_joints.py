"""Rows on joints of tubes: how a chord bends when it shortens, how fast its seams cool."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files

import numpy as np

from weldsim.case.load import Case, parse_case
from weldsim.joints.assembly import fillet_area
from weldsim.materials.material import Material, load_material
from weldsim.runs.solving import solve
from weldsim.runs.summary import cooling_time
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import heat_to_limit, next_event, start_state
from weldsim.validation import copies
from weldsim.validation.blocks import ZERO
from weldsim.validation.plates import thin
from weldsim.validation.rows import Check, Found, between, near
from weldsim.validation.shrinkage import SWELL

# The metal behind the standard's thin-plate formula at 20 degC: see `plates.constants`.
CONDUCTIVITY, CAPACITY = 24.1, 7.83e6  # W/(m K), J/(m3 K)
MESH = 0.05  # of a time on the coarse meshes of joints
BUTT = 0.15  # of a time: the standard's table has 0.9 for a run of a butt; and the mesh
REACH = 148  # mm from the middle of the chord of the starter to the dials near its ends
DIAL = """
[[gauge]]
name = "{n}"
kind = "dial"
at = ["{x} mm", "0 mm", "{z} mm"]
direction = "+x"
"""


def starter(kind: str, *changes: str, gauges: str = "") -> Case:
    """The starter of a joint, changed."""
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    return parse_case(text + gauges, kind, changes)


def kink(quick: bool) -> Found:
    """Bend of a chord over its shortening, all seams of its branch on one of its walls.

    A strip that shrinks by S over an area a1 at a distance e from the axis of a beam turns its ends
    by S a1 e / I and shortens its axis by S a1 / A: whatever shrinks, and by how much, the one over
    the other is e A / I. By reciprocity that holds for each piece of the seams, along the chord and
    across it, with its own e: none lies deeper than the inner face of the wall, none higher than
    the fillets.
    """
    walls = {"top": -1.5, "bottom": -48.5}  # mm from the top face of the chord: amid its walls
    ends = {"start": -REACH, "end": REACH}
    dials = "".join(
        DIAL.format(n=f"{end}-{wall}", x=x, z=z)
        for end, x in ends.items() for wall, z in walls.items()
    )  # fmt: skip
    case = starter(
        "square-tube-tee", 'clamping.kind="free"', "solve.grade=sketch", "solve.end=1800 s",
        "surroundings.film_coefficient=60 W/m2/K", gauges=dials,
    )  # fmt: skip
    read = solve(case, frames=0, threads=1).gauges
    upper, lower = (  # how much nearer the ends of a wall have come [mm]
        1e3 * (read[f"start-{wall}", "travel"][-1] - read[f"end-{wall}", "travel"][-1])
        for wall in walls
    )
    apart = walls["top"] - walls["bottom"]
    turn, short = 1e3 * (upper - lower) / apart, (upper + lower) / 2  # mrad, mm
    part = case.part
    width, wall, leg = (1e3 * v for v in (part.chord_width, part.chord_wall, part.leg))
    area = width**2 - (width - 2 * wall) ** 2
    inertia = (width**4 - (width - 2 * wall) ** 4) / 12
    low, high = (1e3 * e * area / inertia for e in (width / 2 - wall, width / 2 + leg))
    heat = sum(w.arc.power / w.arc.speed for w in case.welds) * part.branch_width  # J
    most = SWELL * heat / area
    note = (
        f"Four fillets around a branch of {1e3 * part.branch_width:.0f} mm on a chord of "
        f"{width:.0f} x {width:.0f} x {wall:.0f} mm, {heat / 1e3:.0f} kJ in all: it bends by "
        f"{turn:.2f} mrad toward the branch and is {short:.3f} mm shorter."
    )
    return Found(
        (between("bend of the chord over its shortening", low, high, turn / short, "mrad/mm"),
         between("shortening of the chord", 0.0, most, short, "mm")), note,
    )  # fmt: skip


def seam_cooling(case: Case, metal: Material | None = None) -> float:
    """t8/5 under the middle of the first weld, mechanics left out, grade coarse. [s]

    With a metal of one's own nothing is lost to the air, as in the formulas.
    """
    if metal is not None:
        air = replace(case.surroundings, film_coefficient=0.0, emissivity=0.0)
        case = replace(case, surroundings=air)
    model = build_model(case, "coarse", threads=1, material=metal)
    state = start_state(model)
    times, under = [], []
    while (event := next_event(model, state)) is not None:
        state, _ = heat_to_limit(model, state, event)
        times.append(state.time)
        under.append(state.temperature[model.activation.middle_points[0]] - ZERO)
    return cooling_time(np.array(times), np.array(under), 0.0, np.inf) or np.nan


def constant_metal() -> Material:
    """Carbon steel with the constants behind the formula, without latent heat."""
    bare = replace(
        load_material("carbon-steel"), density=7830.0, latent_heat=0.0, melt_conductivity_factor=1.0
    )
    return bare.with_curves(conductivity=CONDUCTIVITY, specific_heat=CAPACITY / 7830.0)


def in_three_arms(heat: float, thickness: float, corner: float) -> float:
    """t8/5 of a line of heat [J/m] that goes out through three equal arms. [s]

    Each arm takes a third, so it is as warm as a plate of two arms under two thirds of the heat:
    T = Q / (3 d rho c sqrt(pi a t)), the thin-plate formula with F2 = 4/9. Metal of section
    `corner` [m2] where the arms meet, as warm as their ends, keeps rho c T of it to itself.
    """

    def when(rise: float) -> float:
        reach = (heat / CAPACITY / rise - corner) / (3 * thickness)  # sqrt(pi a t)
        return reach**2 / (np.pi * CONDUCTIVITY / CAPACITY)

    return when(480.0) - when(780.0)


def girth_cooling(quick: bool) -> Found:
    """A girth weld is a line of heat through a wall."""
    case = starter("round-tube-butt", "solve.end=140 s")
    part, arc = case.part, case.welds[0].arc
    # the arc goes around outside; its heat is spread over the middle of the wall, which is shorter
    heat = arc.power / arc.speed * part.diameter / (part.diameter - part.wall)
    line = thin(heat / 1e6, 1e3 * part.wall, 20.0)
    note = (
        f"{heat / 1e3:.0f} J/mm in a wall of {1e3 * part.wall:.0f} mm: {line:.1f} s by the formula."
    )
    some = near("t8/5 under a girth weld", line, seam_cooling(case, constant_metal()), BUTT, "s")
    return Found((some,), note)


def fillet_cooling(quick: bool) -> Found:
    """Heat of a fillet between two tubes has three ways out."""
    case = starter(
        "square-tube-tee", "solve.end=60 s", "arc.speed=4 mm/s", 'schedule.order=["front:+x"]'
    )
    wall, heat = case.part.chord_wall, case.welds[0].arc.power / case.welds[0].arc.speed
    corner = wall**2 + fillet_area(0.0, case.part.leg)
    low = (1 - MESH) * in_three_arms(heat, wall, corner)
    high = (1 + MESH) * in_three_arms(heat, wall, 0.0)
    found = seam_cooling(case, constant_metal())
    note = (
        f"{heat / 1e3:.0f} J/mm between walls of {1e3 * wall:.0f} mm. Least with the fillet and "
        "the square below it as warm as the ends of the three walls, most without."
    )
    return Found((between("t8/5 under a fillet", low, high, found, "s"),), note)


CONSTANTS = (
    "Heat alone, grade coarse; the constants behind the formula, nothing lost to the air, which it "
    "does not have."
)
CHECKS = (
    Check(
        "tube-kink", "joints", "A chord bends by what its shortening at one wall asks for",
        "beam statics: end turn over shortening is e A / I for whatever shrinks at a distance e "
        "from the axis",
        "derived; section values recomputed in tests/verification/test_tubes.py",
        "The starter, but with free ends; film coefficient 60 W/m2K to shorten the cooling; grade "
        "sketch, since neither what shrinks nor how much is asked.",
        kink, ("square-tube-tee", "square-tube-frame"), 20.0, against="derived",
        tolerance="e from the inner face of the wall to the top of the fillets: all that shrinks "
        "lies there.",
    ),
    Check(
        "tube-girth-cooling", "joints", "Cooling time of a girth weld",
        "EN 1011-2:2001, Annex D, thin plate, F2 = 1: a line of heat through a wall",
        "formula seen in several public copies", CONSTANTS, girth_cooling, ("round-tube-butt",),
        3.0, against="published", links=copies.T85,
        tolerance="15 %: Table D.1 has 0.9 for a run between runs of a butt; 5 % for the mesh.",
    ),
    Check(
        "tube-fillet-cooling", "joints", "Cooling time of a fillet between two tubes",
        "line of heat with three ways out: 4/9 of the time of EN 1011-2:2001, Annex D, thin plate, "
        "less what the corner keeps", "derived",
        f"{CONSTANTS} Arc at 4 mm/s, so that the seam is long beside the reach of the heat.",
        fillet_cooling, ("square-tube-tee", "square-tube-frame"), 3.0, against="derived",
        tolerance="From a corner as warm as the walls beside it to none, and 5 % for the mesh.",
    ),
)  # fmt: skip
