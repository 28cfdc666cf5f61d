"""Rows on cooling time t8/5: of the standard's formulas, and of the curves that weldsim has."""

from __future__ import annotations

import numpy as np

from weldsim.materials.material import load_material
from weldsim.physics.heat_tables import HeatTables
from weldsim.plots.style import inline_svg, new_figure, styled
from weldsim.system.palette import LINES
from weldsim.validation import copies
from weldsim.validation.line_solution import across, around, cooled
from weldsim.validation.plates import SCATTER, conditions, constants, cooling_time, thick, thin
from weldsim.validation.rows import Check, Comparison, Found, near

STANDARD = (
    "EN 1011-2:2001, Annex D, bead on plate (F2 = F3 = 1): t8/5 over net heat 0.5 to 3 kJ/mm, "
    "plates of 6 to 50 mm, preheat 20 and 150 degC, away from the transition thickness"
)
MEASURED = (
    "formulas seen in several public copies; they are fits to measurements with a scatter of about "
    "15 % (from memory)"
)
STEPS = "5 %: steps of 2 % of the time (1 %), cells of a millimetre, heat over half a second."
OF_FORMULA = "15 %: scatter of the formulas about their measurements (from memory)."
QUICK_STEP = 4  # of the conditions, the quick list has every so-manieth
FORMULA = (
    "the formulas are a regression of measured welds with the constants of no steel: 1/(2 pi k) = "
    "6600 stands for 24 W/(m K) at every temperature, below the lowest conductivity, 27.3, that EN "
    "1993-1-2 gives for the same steel. No solution with the curves of the one standard meets the "
    "formulas of the other: an integrator of SciPy comes to what weldsim comes to (t85-curves). "
    "So a cooling time of a run is that of its material file, and no value of EN 1011-2. "
)
LOSSES = (
    "Nor do the formulas have the loss to the air as a term of its own, which decides how a thin "
    "plate cools within a minute or more. "
)


def grid_with_constants(quick: bool) -> Found:
    """The standard's own constants: conduction and its books alone.

    5 %: Euler steps of 2 % of the time (1 %), cells of a millimetre, and heat that comes in over
    half a second and a few millimetres instead of in a line at once.
    """
    return _grid(quick, True, False, 0.05)


def grid_with_steel(quick: bool) -> Found:
    """The program's own carbon steel, nothing lost to the air, as in the formulas."""
    return _grid(quick, False, False, SCATTER, FORMULA)


def grid_in_air(quick: bool) -> Found:
    """The program's own carbon steel in the starters' air: what a user gets."""
    return _grid(quick, False, True, SCATTER, FORMULA + LOSSES)


def curves_by_scipy(quick: bool) -> list[Found]:
    """The same grid with the same curves by SciPy in one dimension, without losses and with them.

    5 %, as for the constants: steps of 2 % of the time (1 %), cells of a millimetre.
    """
    tables = HeatTables.of(load_material("carbon-steel"))
    out: dict[bool, list[Comparison]] = {False: [], True: []}
    for heat, d, preheat in conditions()[:: 2 * QUICK_STEP if quick else 1]:
        plane = thin(heat, d, preheat) > thick(heat, preheat)
        line = across(1e-3 * d) if plane else around()
        # in depth the air meets the top alone, which one dimension does not know
        for losses in (False, True) if plane else (False,):
            label = f"t8/5 at {heat:g} kJ/mm, {d} mm, {preheat} degC"
            wanted = cooled(line, heat, preheat, tables, losses)
            got = cooling_time(heat, d, preheat, losses=losses, tables=tables)
            out[losses].append(near(label, wanted, got, 0.05, "s"))
    return [
        Found(tuple(out[False]), part="no-loss",
              title="Cooling time over the grid of the standard, steel, beside SciPy"),
        Found(tuple(out[True]), part="air", note="Where heat flows in the plane of the plate.",
              title="Cooling time over the grid of the standard in still air, beside SciPy"),
    ]  # fmt: skip


def _grid(quick: bool, constant: bool, losses: bool, share: float, not_claimed: str = "") -> Found:
    rows = conditions()[:: QUICK_STEP if quick else 1]
    out, flows = [], []
    for heat, d, preheat in rows:
        t2, t3 = thin(heat, d, preheat), thick(heat, preheat)
        metal = constants(preheat) if constant else None
        got = cooling_time(heat, d, preheat, losses=losses, tables=metal)
        label = f"t8/5 at {heat:g} kJ/mm, {d} mm, {preheat} degC"
        out.append(near(label, max(t2, t3), got, share, "s"))
        flows.append(t2 > t3)
    ratio = np.array([c.computed / c.expected for c in out])
    plane = np.array(flows)
    note = "; ".join(
        f"{words}: {100 * (r.min() - 1):+.0f} to {100 * (r.max() - 1):+.0f} %"
        for words, r in (("Heat in the plane of the plate", ratio[plane]),
                         ("heat in depth", ratio[~plane])) if r.size
    )  # fmt: skip
    return Found(tuple(out), note, _picture(out, plane, share), not_claimed=not_claimed)


@styled
def _picture(rows, plane, share: float) -> str:
    """Computed against the standard, with the band that is allowed."""
    figure = new_figure(4.6, 3.4)
    axes = figure.add_subplot()
    expected = np.array([c.expected for c in rows])
    got = np.array([c.computed for c in rows])
    line = np.array([expected.min() * 0.8, expected.max() * 1.25])
    axes.fill_between(line, line * (1 - share), line * (1 + share), color=LINES[0], alpha=0.15,
                      lw=0, label=f"± {100 * share:.0f} %")  # fmt: skip
    axes.plot(line, line, color=LINES[0], lw=1)
    for chosen, marker, name, colour in ((plane, "o", "heat in the plane", LINES[1]),
                                         (~plane, "s", "heat in depth", LINES[2])):  # fmt: skip
        if chosen.any():
            axes.plot(expected[chosen], got[chosen], marker, color=colour, ms=5, label=name)
    axes.set(xscale="log", yscale="log", xlabel="EN 1011-2, t8/5 in s", ylabel="computed, s")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter("{x:g}")
    axes.legend()
    figure.tight_layout()
    return inline_svg(figure, "computed cooling times against those of the standard")


CHECKS = (
    Check(
        "t85-constants", "cooling", "Cooling time over the standard's grid, its own constants",
        STANDARD + "; the constants its factors are made of",
        "formulas seen in several public copies; the constants follow from them",
        "Constant properties behind the formulas instead of a material file; no heat to the air, "
        "as in the solutions they have the shape of. Heat conduction on half a cross-section.",
        grid_with_constants, seconds=10.0, against="published", tolerance=STEPS, links=copies.T85,
    ),
    Check(
        "t85-curves", "cooling", "Cooling time over the grid of the standard, steel, beside SciPy",
        "the equation of heat flow in one dimension, finite volumes, SciPy's BDF integrator; "
        "conditions of EN 1011-2:2001, Annex D; curves of EN 1993-1-2:2005",
        "computed, not measured: shows that the curves are followed, not that they are right",
        "Material file as supplied, the standard's net heat. Heat conduction on half a "
        "cross-section.",
        curves_by_scipy, seconds=60.0, against="program", tolerance=STEPS, links=copies.STEEL,
    ),
    Check(
        "t85-steel", "cooling", "Cooling time over the standard's grid, carbon steel as supplied",
        STANDARD, MEASURED,
        "No heat to the air, as in the formulas. Material file as supplied, the standard's net "
        "heat. Heat conduction on half a cross-section, heat spread over what a pool holds.",
        grid_with_steel, seconds=20.0, against="published", tolerance=OF_FORMULA,
        links=copies.T85,
    ),
    Check(
        "t85-air", "cooling", "Cooling time over the standard's grid, carbon steel in still air",
        STANDARD, MEASURED,
        "None: material file and surroundings of the starters, the standard's net heat. Heat "
        "conduction on half a cross-section, heat spread over what a pool holds.",
        grid_in_air, seconds=20.0, against="published", tolerance=OF_FORMULA, links=copies.T85,
    ),
)  # fmt: skip
