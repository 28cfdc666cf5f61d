"""Files of tests whose functions are rows: what each supports, and where its numbers come from."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.validation import copies
from weldsim.validation.rows import Links

DERIVED = "derived for the check and recomputed a second way"
FACT = "common practice of the trade: signs and orders, wide brackets"
ROUNDING = "Rounding of the arithmetic, or what Newton's method leaves, where nothing else is said."


@dataclass(frozen=True)
class File:
    """A file of tests.

    Attributes
    ----------
    path : str
        Below `tests`.
    group, source, known, kinds, seconds, quick, against, tolerance, links
        As in `rows.Check`.
    title : str
        What its tests are about.
    """

    path: str
    group: str
    title: str
    source: str
    known: str
    against: str
    tolerance: str
    seconds: float
    kinds: tuple[str, ...] = ()
    quick: bool = True
    links: Links = ()


KINDS_OF_TESTS = {  # word in a test's name -> the joint kinds that it is about
    "butt": ("plate-butt",), "tee": ("square-tube-tee",), "stem": ("plate-tee",),
    "fillet_on_a_tee": ("plate-tee",), "girth": ("round-tube-butt",), "bead": ("bar",),
    "saddle": ("round-tube-saddle",), "boxed": ("square-tube-tee",),
    "kink_of_a_tube": ("square-tube-tee", "square-tube-frame"),
    "seam": ("square-tube-tee",),
}  # fmt: skip

TITLES = {  # of tests whose name says too little to somebody who has not read the file
    "case_a_formula_gives_the_table": "Arc on a thick plate: one formula, two programs",
    "case_b_formula_gives_the_table": "Arc along a flat bar: one formula, two programs",
    "case_a_formula_holds_the_energy": "Arc on a thick plate: the formula holds all of the heat",
    "case_a_half_space": "Arc on a thick plate: temperatures over time",
    "case_b_flat_bar": "Arc along a flat bar: temperatures over time",
    "t2_radiating_bar": "NAFEMS T2: bar that radiates at its end",
    "t3_transient_bar": "NAFEMS T3: bar heated and cooled in turn",
    "t4_plate_with_convection": "NAFEMS T4: plate cooled by convection",
    "whole_part_energy": "Heat put into an insulated part, and its even temperature",
    "restrained_bar_en_s355_loop": "Restrained bar of S355, heated and cooled",
    "restrained_bar_en_s355_from_600": "Restrained bar of S355, from 600 °C",
    "restrained_bar_en_s355_from_300": "Restrained bar of S355, from 300 °C",
    "three_bars": "Three bars side by side, the middle one heated",
    "grip_replaces_film_and_radiation": "A clamp takes the place of air and radiation",
    "radiation_near_ambient_is_a_film": "Radiation near the ambient is a heat loss in proportion",
    "held_directions": "A heated block held in one, two or three directions",
    "formulas_are_the_conduction_solutions_of_those_constants":
        "The standard's formulas are conduction with constant properties",
    "strain_path_one_step_a_leg": "Plastic strain path, one step a leg",
    "strain_path_converged": "Plastic strain path, converged",
    "a_strip_that_curls_up_leaves_the_table": "A strip that curls up leaves its table",
    "worked_value_and_where_the_angle_is_largest":
        "Angle of a free plate: a worked value, and the depth that turns it most",
}  # fmt: skip

FILES = (
    File("verification/test_source.py", "heat", "The arc's heat, where it goes in",
         "J. Goldak, A. Chakravarti, M. Bibby, Metall. Trans. B 15 (1984) 299-305, doi "
         "10.1007/BF02667333: the double ellipsoid; its integrals", DERIVED, "derived",
         "What summing a Gaussian on a mesh leaves: 1e-6 and less; 9 % in a part thinner than the "
         "arc is deep, with cells as wide as its axes.", 15.0),
    File("verification/test_source_motion.py", "heat", "The arc's heat along its path",
         "the same double ellipsoid along a path, with dwell, weave and closed seams; integrals in "
         "closed form", DERIVED, "derived", "Sums on a grid of half a millimetre: 1 to 3 %; "
         "otherwise rounding.", 10.0),
    File("verification/test_heat_nafems.py", "heat", "Published benchmarks of heat flow",
         "The Standard NAFEMS Benchmarks, Rev. 3 (1990): T2, T3, T4; exact solutions of the same "
         "problems, which have more figures than the targets", "targets read in public copies "
         "(926.97 K, 36.6 °C, 18.3 °C), further figures by solving the problems exactly",
         "published", "T2 and T4: half of a unit of the target's last figure and what the cells "
         "leave; T3: 0.1 % of the target, or of the exact solution's largest.", 15.0,
         links=copies.NAFEMS),
    File("verification/test_heat_closed_forms.py", "heat", "Moving arcs in closed form",
         "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (1959); D. Rosenthal, "
         "Trans. ASME 68 (1946) 849-866; double ellipsoid with unequal halves after V. D. "
         "Fachinotti, A. A. Anca, A. Cardona, Int. J. Numer. Meth. Biomed. Engng 27 (2011)",
         "formulas from memory, re-derived; tables recomputed by finite volumes", "derived",
         "0.02 K of the table's last figure; 1 % of the rise of a run, 3 % under the arc, where it "
         "rises by 700 K/s.", 15.0),
    File("verification/test_heat_books.py", "heat", "Heat flow of the textbooks",
         "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), ch. II, III, "
         "XI: slabs, films, melting front; specific heat of EN 1993-1-2:2005, 3.4.1.2",
         "formulas from memory, re-derived and recomputed; specific heat read in public copies",
         "derived", "0.2 to 0.5 %: steps and cells of the check; a melting front within one cell.",
         25.0, links=copies.STEEL),
    File("verification/test_heat_properties.py", "heat", "What any heat flow must keep",
         "first law, superposition, mirror images, uniform and linear fields, no temperature below "
         "the coldest", "follows from the equation", "laws", ROUNDING, 25.0),
    File("verification/test_heat_rates.py", "heat", "How the error falls with cells and steps",
         "manufactured solutions after P. J. Roache, J. Fluids Eng. 124 (2002) 4-10, doi "
         "10.1115/1.1436090", "theory of finite elements and of Euler steps: second order in the "
         "cell, first in the step", "laws", "Slopes of three refinements near 2 and 1, as a method "
         "has them that is not there yet.", 20.0),
    File("verification/test_mech_patch.py", "mechanics", "Elastic bodies",
         "R. H. MacNeal, R. L. Harder, Finite Elements Anal. Des. 1 (1985) 3-20, doi "
         "10.1016/0168-874X(85)90003-4: patch tests, slender beam; G. Lamé: thick cylinder",
         "beam's three values read in a public manual; patches and cylinder re-derived",
         "published", "A patch is exact but for rounding; beams 2 %: cells at the "
         "clamped end; cylinder 0.001 mm.", 25.0, links=copies.BEAMS),
    File("verification/test_mech_thermoelastic.py", "mechanics", "Heated bodies that stay elastic",
         "S. P. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233-255, doi 10.1364/JOSA.11.000233: strip "
         "of two metals; S. P. Timoshenko, J. N. Goodier, Theory of Elasticity, ch. 13, and B. A. "
         "Boley, J. H. Weiner, Theory of Thermal Stresses: free and held bodies, cylinder, disc",
         "formulas from memory, re-derived and recomputed", "derived",
         "Exact fields but for rounding; 0.5 to 4 % where cells stand for a curve or ends are near "
         "(the test says which).", 20.0),
    File("verification/test_mech_bars.py", "mechanics", "Heated bars that yield",
         "strength of materials: restrained bar, three bars, bar heated along one edge; EN "
         "1993-1-2:2005, 3.4.1.1 and Table 3.1 for S355", "bars derived twice, closed form and in "
         "steps; the standard's table and elongation read in public copies", "derived",
         "0.1 MPa to 1e-4 of the value for one bar; 2 to 5 % for the heated edge in three "
         "dimensions against plane sections.", 30.0),
    File("verification/test_mech_plastic.py", "mechanics", "Bodies that flow",
         "R. Hill, The Mathematical Theory of Plasticity (1950), ch. V: thick sphere and cylinder; "
         "plastic strain path of the NAFEMS non-linear benchmarks (Rev. 1, 1989; Hinton and "
         "Ezzat, R0049)", "Hill's formulas from memory, recomputed, sphere by a second program; "
         "path: metal and first strain read in a public copy, its stresses derived and "
         "extrapolated from ever shorter steps", "derived",
         "1 % for sphere and cylinder on their cells; 1e-3 MPa for the path at the same steps, "
         "second-order rest 2e-3.", 40.0, links=copies.STRAIN_PATH),
    File("verification/test_mech_must_hold.py", "mechanics", "What any mechanics must keep",
         "balance of forces, frames, mirror images, second law, order of loads: on a small bar "
         "crossed by a spot of heat", "follows from the equations", "laws", ROUNDING, 40.0),
    File("verification/test_elastic_model.py", "mechanics", "The elastic model",
         "restrained bar heated to a peak and cooled (K. Satoh's test); yield of EN 10025 and "
         "modulus of EN 1993-1-2:2005 for S355", "derived: what a bar between walls keeps",
         "derived", "6e-5 of strain: 2 K short of cold and peaks interpolated.", 10.0, quick=False),
    File("verification/test_tubes.py", "mechanics", "Tubes, springs and contact",
         "beam statics of a square tube and shell theory of an edge-loaded cylinder (S. P. "
         "Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, art. 114-115); springs "
         "and contact by statics", "formulas from memory, recomputed", "derived",
         "1 % for the kink; 5 to 6 % where a thin shell or a beam stands for solid cells.", 20.0,
         ("square-tube-tee", "square-tube-frame", "round-tube-saddle", "round-tube-butt")),
    File("verification/test_table.py", "mechanics", "A table that only pushes",
         "beam statics: a strip that curls on a table; propped cantilever after S. P. Timoshenko, "
         "Strength of Materials, part I", DERIVED, "derived", "1 to 3 %, and 8 % of the lift "
         "between the ends: a beam has no height of its own.", 10.0, ("deposit",)),
    File("verification/test_cooling_time.py", "cooling", "Cooling time of a bead on a plate",
         "EN 1011-2:2001, Annex D, F2 = F3 = 1", "both formulas read in several public copies",
         "published", "0.2 % for the factors, which have two figures; 3 % for runs: steps and "
         "cells.", 10.0, ("bar",),
         links=copies.T85),
    File("verification/test_joint_cooling.py", "cooling", "Cooling time of butt and fillet",
         "EN 1011-2:2001, Annex D and Table D.1 (shape factors 0.9 and 0.45 to 0.67)",
         "formulas read in public copies, shape factors in part, the rest from memory",
         "published", "15 %: scatter of the formulas about their measurements (from memory).", 20.0,
         ("plate-butt", "plate-tee"), False, copies.T85),
    File("verification/test_plate_shrinkage.py", "shrinkage", "A strip of shrunk metal in a plate",
         "statics of a strip across the weld: 6 e w d (h - d) / h3 of angle, e w d / h of "
         "shrinkage", DERIVED, "derived", "1 %: cells through the thickness.", 10.0,
         ("plate-butt", "plate-tee", "bar")),
    File("facts/test_plate_facts.py", "shrinkage", "Rules of shrinkage on plates and tubes",
         "Satoh and Terasaki (1976), Okerblom, White and Leggatt, King, Masubuchi, Blodgett: rules "
         "of shrinkage", "rules from memory, good to half or twice",
         "practice", "The rules' own width: half to twice.", 70.0,
         ("plate-butt", "plate-tee", "round-tube-butt", "bar"), False),
    File("facts/test_bar_facts.py", "joints", "A bar with a bead",
         "which way a bar moves, when it turns back: no published source", FACT, "practice",
         "Signs, and wide brackets.", 50.0, ("bar",), False),
    File("facts/test_joint_facts.py", "joints", "Tees of tubes and saddles",
         "side, travel and order: no published source", FACT, "practice",
         "Signs, and wide brackets.", 400.0, ("square-tube-tee", "round-tube-saddle"), False),
    File("facts/test_joint_symmetry.py", "joints", "Mirrored joints",
         "a mirrored joint ends mirrored", "follows from the equations", "laws",
         "1e-6 of the forces, as Newton's method leaves.", 70.0, (), False),
)  # fmt: skip
