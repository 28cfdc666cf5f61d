"""Grades: how fine a calculation is in space and time, from ranking to checking.

Sizes are shares of the bead's width, so that a grade means the same on every part.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Grade:
    """How fine a run is in space and time.

    Attributes
    ----------
    name : str
    bead_cells : int
        Cells across a bead.
    travel_cell : float
        Length of a cell along the travel, in bead widths.
    through_cells : int
        Cells through a wall at the weld.
    growth : float
        Growth of the cell size with the distance from the bead. [mm per mm]
    coarsest : float
        Largest cell, in bead widths.
    torch_step : float
        Travel of the torch in one step, in bead widths.
    heat_substeps : int
        Heat steps in one step of mechanics.
    rest_growth : float
        Length of a step after the arc as a share of the time since it stopped.
    balance : float
        Residual force over the size of the cell forces that counts as equilibrium.
    """

    name: str
    bead_cells: int
    travel_cell: float
    through_cells: int
    growth: float
    coarsest: float
    torch_step: float
    heat_substeps: int
    rest_growth: float
    balance: float


# What a closer equilibrium would change, measured against 1e-8: at 1e-6 the end of the mast stub's
# first seam by 2e-6 of its travel, that of the demo bar by 1e-5. The small meshes of sketch and
# coarse rank schedules by differences, where the few more iterations cost nothing.
BALANCE_CHANGES = "ends by less than 1e-5 of their travel against 1e-8, measured at grade quick"

# What each grade is good for, coarsest first. Before them comes the Preview of the page.
GRADE_USE = {
    "sketch": "sign and order of sequences",
    "coarse": "ranking of sequences",
    "quick": "first numbers",
    "normal": "numbers to plan with",
    "fine": "a check of what matters",
}
GRADES = {
    # for ranking many schedules
    "sketch": Grade("sketch", 1, 1.20, 1, 1.00, 5.0, 0.90, 1, 0.40, 1e-8),
    "coarse": Grade("coarse", 2, 0.80, 1, 0.60, 3.0, 0.40, 1, 0.30, 1e-8),
    "quick": Grade("quick", 2, 0.50, 1, 0.40, 2.5, 0.25, 2, 0.20, 1e-6),
    "normal": Grade("normal", 4, 0.33, 2, 0.30, 2.0, 0.15, 2, 0.15, 1e-6),
    "fine": Grade("fine", 8, 0.165, 4, 0.15, 1.0, 0.075, 2, 0.075, 1e-6),
}
