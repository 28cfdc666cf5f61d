"""Rows on what welds do across: transverse shrinkage of fillets, angular change of a plate."""

from __future__ import annotations

from collections import deque
from importlib.resources import files

import numpy as np

from weldsim.case.load import Case, parse_case
from weldsim.plots.style import inline_svg, new_figure, styled
from weldsim.runs.solving import solve
from weldsim.simulation.steps import build_model, simulate
from weldsim.system.palette import LINES
from weldsim.validation.rows import Check, Found, between

# Okerblom's limit at the carbon steel of the rules: alpha / (rho c). [mm3/J]
SWELL = 3.1e-3
EDGES = """
[[gauge]]
name = "front-edge"
kind = "dial"
at = ["{x} mm", "{half} mm", "{z} mm"]
direction = "+y"

[[gauge]]
name = "back-edge"
kind = "dial"
at = ["{x} mm", "-{half} mm", "{z} mm"]
direction = "+y"
"""


def satoh(heat: float, thickness: float) -> float:
    """Transverse shrinkage of a bead on a plate, Satoh and Terasaki (1976). [J/mm, mm; mm]"""
    x = heat / thickness**2
    return thickness * (1.16e-3 * x if x <= 6.27 else 7.27e-3 + 2.85e-3 * (x - 6.27))


def _tee(*changes: str) -> Case:
    """The starter of a tee of plates with a dial on both edges of its base, at mid-thickness."""
    text = (files("weldsim") / "data" / "starters" / "plate-tee.toml").read_text(encoding="utf-8")
    bare = parse_case(text, "plate-tee", changes)
    part = bare.part
    gauges = EDGES.format(
        x=500 * part.length, half=500 * part.base_width, z=-500 * part.base_thickness
    )
    return parse_case(text + gauges, "plate-tee", changes)


def shrunk(case: Case) -> tuple[float, float, float]:
    """Shrinkage of the base across [mm], heat of one fillet that enters it [J/mm], thickness [mm].

    Of the heat of a fillet the base has two arms, the stem one: 2 t / (2 t + tw).
    """
    result = solve(case, frames=0, threads=1)
    moved = [1e3 * result.gauges[f"{side}-edge", "travel"][-1] for side in ("back", "front")]
    arc, part = case.welds[0].arc, case.part
    t, tw = 1e3 * part.base_thickness, 1e3 * part.stem_thickness
    heat = arc.power / arc.speed / 1e3 * 2 * t / (2 * t + tw)
    return moved[0] - moved[1], heat, t


def heat_limit(quick: bool) -> Found:
    """Two fillets draw the base together by no more than all of their heat could make it swell."""
    case = _tee("part.length=60 mm", "solve.grade=coarse", "solve.end=1500 s")
    across, heat, t = shrunk(case)
    most = 2 * SWELL * heat / t
    note = (
        f"Two fillets of 4 mm on 6 mm, {heat:.0f} J/mm of each into the base: {across:.3f} mm. The "
        f"rule 1.02 leg / thickness gives {1.02 * 4 / t:.2f} mm: it is an allowance for several "
        "runs by hand, above what this heat can do, and no reference."
    )
    some = between("shrinkage of the base across", 0.0, most, across, "mm")
    return Found((some,), note)


def wide_fillets(quick: bool) -> Found:
    """Two fillets on plates wide and long enough for the bead-on-plate line with its share."""
    case = _tee(
        "part.length=150 mm", "part.base_width=126 mm", "part.base_thickness=3 mm",
        "part.stem_thickness=3 mm", "part.stem_height=60 mm", "part.leg=3 mm",
        "part.penetration=1.2 mm", "arc.current=80 A", "arc.speed=4 mm/s", "solve.grade=coarse",
        "solve.end=1500 s",
    )  # fmt: skip
    across, heat, t = shrunk(case)
    line, most = 2 * satoh(heat, t), 2 * SWELL * heat / t
    note = (
        f"Two fillets of 3 mm on 3 mm, {heat:.0f} J/mm of each into the base (Q / h2 = "
        f"{heat / t**2:.0f} J/mm3), base 20 thicknesses wide on each side, seam 50 long."
    )
    return Found(
        (between("shrinkage over twice the line at the heat's share", 0.7, 1.5, across / line),
         between("shrinkage over the heat limit", 0.0, 1.0, across / most)), note,
    )  # fmt: skip


BEAD = """
title = "bead on a flat bar"

[part]
kind = "bar"
length = "{length} mm"
width = "{width} mm"
thickness = "6 mm"
material = "carbon-steel"

[clamping]
{hold}

[[weld]]
name = "A"
face = "front"
{where}
process = "135"
current = "{current} A"
voltage = "18.75 V"
efficiency = 0.8
speed = "5 mm/s"
bead_width = "7 mm"
bead_height = "{height} mm"

[surroundings]
film_coefficient = "100 W/m2/K"
"""
ACROSS = 'at = "60 mm"\ntravel = "up"'
TIP = """
[[gauge]]
name = "tip"
kind = "pointer"
at = "free end"
aim = "+x"
up = "+y"
throw = "1 m"
"""
CURRENTS = (67, 140, 300)  # A: 200, 420, 900 J/mm
GRADE = "quick"


def bent(current: float) -> tuple[float, float]:
    """Angle [mrad] toward the bead, and share of the thickness softened, of a bead across a bar.

    The bar is clamped beyond the reach of the heat, without losing any to the clamp.
    """
    text = BEAD.format(
        length=120, width=30, where=ACROSS, current=current, height=1.5,
        hold='kind = "one end"\nlength = "10 mm"\nconductance = "0 W/m2/K"',
    ) + TIP  # fmt: skip
    model = build_model(parse_case(text, "bead", []), GRADE, threads=1)
    last = deque(simulate(model), maxlen=1)[-1]
    at = model.heat.points
    under = (np.abs(at - [0.06, 0.0, 0.0]) < [1e-4, 3.1e-3, 2e-3]).all(axis=1)
    depth, peak = 3e-3 - at[under, 1], last.state.peak_temperature[under]
    depths = np.unique(depth.round(6))
    hottest = [peak[np.abs(depth - d) < 1e-6].mean() for d in depths]
    soft = model.material.softening_temperature
    deep = depths[-1] if hottest[-1] > soft else np.interp(-soft, -np.array(hottest), depths)
    return 1e3 * last.gauges["tip", "up"], deep / 6e-3 if hottest[0] > soft else 0.0


def angular_change(quick: bool) -> Found:
    """It rises with the heat, is largest where the hot zone goes about half through, and falls.

    A strip of inherent strain of depth d in a plate of thickness h gives d (h - d), most at h / 2:
    about half is what comes within a fifth of that most.
    """
    angle, deep = np.array([bent(current) for current in CURRENTS]).T
    heat = np.array(CURRENTS) * 18.75 * 0.8 / 5
    some = (
        between("angle at the least heat, toward the bead", 0.0, np.inf, angle[0], "mrad"),
        between("depth softened at the largest angle, over the thickness", 0.276, 0.724, deep[1]),
        between("largest angle over that of the least heat", 2.0, np.inf, angle[1] / angle[0]),
        between("angle with the heat through the plate, over the largest", -np.inf, 0.5,
                angle[2] / angle[1]),
        between("depth softened with most heat, over the thickness", 0.9, 1.0, deep[2]),
    )  # fmt: skip
    note = "; ".join(
        f"Q / h2 = {q / 36:.0f} J/mm3: {a:.1f} mrad, {100 * d:.0f} % softened"
        for q, a, d in zip(heat, angle, deep, strict=True)
    )
    return Found(some, note, _picture(heat / 36, angle))


@styled
def _picture(x: np.ndarray, angle: np.ndarray) -> str:
    figure = new_figure(4.4, 3.0)
    axes = figure.add_subplot()
    axes.plot(x, angle, "o-", color=LINES[1])
    axes.axhline(0.0, color=LINES[0], lw=0.8)
    axes.set(xlabel="heat over thickness squared, J/mm³", ylabel="angle toward the bead, mrad")
    figure.tight_layout()
    return inline_svg(figure, "angular change against heat over thickness squared")


SHARE = (
    "Satoh and Terasaki, J. Japan Welding Society 45 (1976), bead on plate, applied with the share "
    "of a fillet's heat that enters the base; S = alpha Q / (rho c t) of all the heat as its limit"
)
CHECKS = (
    Check(
        "fillet-heat-limit", "shrinkage", "Two fillets: shrinkage across below what heat can do",
        "balance of heat: no free plate contracts by more than all of its heat could make it swell",
        "derived; alpha / (rho c) = 3.1e-3 mm3/J at the mean hot temperature",
        "The starter of the joint at 60 mm length, grade coarse.",
        heat_limit, ("plate-tee",), 60.0, against="laws", tolerance="None: it is a limit.",
    ),
    Check(
        "fillet-shrinkage", "shrinkage", "Two fillets: shrinkage across on wide plates", SHARE,
        "line from memory, its second slope uncertain; limit derived",
        "Plates of 3 mm, so that the width and length the line asks for can be computed; 80 A at "
        "4 mm/s; grade coarse.",
        wide_fillets, ("plate-tee",), 200.0, False, "published",
        "0.7 to 1.5 of the line: scatter of single tests, 25 %, and its uncertain second slope.",
    ),
    Check(
        "angular-change", "shrinkage", "Angular change of a plate against heat",
        "strip of inherent strain in a plate, largest at half depth; common practice: one deep run "
        "turns less than one that goes half through",
        "formula derived; the trend from a handbook article",
        "A bar 120 x 30 x 6 mm with a bead across, clamped beyond the heat; film coefficient 100 "
        "W/m2K to shorten the cooling; grade quick.",
        angular_change, ("bar", "plate-butt", "plate-tee"), 120.0, False, "practice",
        "Signs and order; the depth within what comes to a fifth of the largest angle.",
    ),
)  # fmt: skip
