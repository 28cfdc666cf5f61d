"""What is to end true, for the searches: a gauge, its columns, its tolerance; grade of the runs."""

from __future__ import annotations

from dataclasses import replace

from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.schema.tolerance import Tolerance, read_tolerance

USUAL = {"mrad": "1 mrad", "mm": "0.5 mm"}  # tolerance where none is stated: a choice
FAILED = "without an error estimate: the coarser run failed"


def chosen_grade(grade: str | None, case) -> str:
    """The grade asked for, else the case's own; `CaseError` for one that does not exist."""
    grade = grade or case.solve.grade
    if grade not in GRADES:
        raise CaseError(f"grade {grade!r} is unknown, allowed: {', '.join(GRADES)}")
    return grade


def until_cold(case):
    """The case run until it is cold and let go, whatever end it states: what ends true is the
    cold part, and a clamp that is still on would always seem to win."""
    air, clamp_contacts = case.surroundings, (case.hold, *case.clamps)
    if (
        air.film_coefficient == 0
        and air.emissivity == 0
        and not any(g.conductance for g in clamp_contacts)
    ):
        raise CaseError(
            f"{case.source_file} [surroundings]: nothing takes heat away, so the part is never "
            "cold, allowed: a film, an emissivity or a conductance greater than zero"
        )
    return replace(case, solve=replace(case.solve, end="cold"))


def grade_below(grade: str) -> str | None:
    """The next rougher grade; None below the roughest."""
    grades = list(GRADES)
    return grades[grades.index(grade) - 1] if grade != grades[0] else None


def usable_gauge(case, name: str | None):
    """A gauge that reads movement, the first when no name is given."""
    usable = [g for g in case.gauges if g.kind in ("pointer", "dial", "gap", "bow")]
    for g in usable:
        if name in (None, g.name):
            return g
    names = ", ".join(g.name for g in usable) or "none in this case"
    raise CaseError(f"gauge {name!r} reads no movement here, allowed: {names}")


def unit_of(gauge) -> str:
    """Unit of a gauge's size: mrad for a pointer's angles, else mm."""
    return "mrad" if gauge.kind == "pointer" else "mm"


def limit_for(gauge, tolerance=None) -> Tolerance:
    """The tolerance stated, else the gauge's own, else a usual one."""
    unit = unit_of(gauge)
    if tolerance is None:
        tolerance = gauge.tolerance
    if not isinstance(tolerance, Tolerance):
        kind = "angle" if unit == "mrad" else "linear"
        tolerance = read_tolerance(tolerance or USUAL[unit], kind)
    if tolerance.measure != ("angle" if unit == "mrad" else "length"):
        raise CaseError(f"tolerance {tolerance.text!r} does not suit a gauge in {unit}")
    return tolerance


def columns_of(gauge, model) -> list[str]:
    """Columns of a gauge that make up its size: a pointer's angles, else all it has."""
    for probe in model.probes:
        if all(c.gauge == gauge.name for c in probe.columns):
            angles = [c.name for c in probe.columns if c.unit == "mrad"]
            return angles or [c.name for c in probe.columns]
    raise CaseError(f"gauge {gauge.name} has no reading")
