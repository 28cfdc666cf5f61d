"""How many cells a part may have, and what to change where it would have more."""

from __future__ import annotations

from typing import Any

from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES, Grade
from weldsim.schema.mistakes import Mistake

# 2.8 million unknowns: about 40 GB for the factor, and days on two cores. The mesh alone takes
# 50 kB a cell while Gmsh makes it.
MOST_CELLS = 150_000
WIDTH_KEYS = ("leg", "thickness", "wall")  # of [part]: what the width of its welds follows


def too_many_cells(case: Any, grade: Grade, count: int) -> CaseError:
    """The refusal of a part that would take too many cells.

    Parameters
    ----------
    case : weldsim.case.load.Case
        Whose part is to be meshed.
    grade : Grade
        How fine.
    count : int
        Cells it would have.

    Returns
    -------
    CaseError
        One line with the key that sets the width of the narrowest weld, which the cells follow.
    """
    section, name, key, value = _width_key(case)
    coarser = list(GRADES).index(grade.name) if grade.name in GRADES else 0
    change = "wider welds, a shorter part" + (" or a coarser grade" if coarser else "")
    text = (
        f"{1e3 * value:g} mm makes {count} cells at grade {grade.name}, since cells follow the "
        f"welds, allowed: up to {MOST_CELLS}; {change}"
    )
    mistake = Mistake(section, name, key, value, text)
    return CaseError(f"{case.source_file} {mistake}", [mistake])


def _width_key(case: Any) -> tuple[str, str, str, float]:
    """Section, name, key and value [m] of the size that the narrowest weld follows."""
    beads = getattr(case.part, "beads", ())
    if beads:
        bead = min(beads, key=lambda b: b.width)
        return "weld", bead.name, "bead_width", bead.width
    key = next((k for k in WIDTH_KEYS if hasattr(case.part, k)), None)
    return ("part", "", key, getattr(case.part, key)) if key else ("solve", "", "grade", 0.0)
