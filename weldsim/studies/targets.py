"""What is to end true, for the searches: a gauge with its tolerance, read on the cold part."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.runs.error_estimate import ErrorEstimate
from weldsim.schema.column import Column
from weldsim.schema.records import Gauge
from weldsim.schema.tolerance import Tolerance, read_tolerance, verdict
from weldsim.simulation.columns import READS
from weldsim.studies.kept_runs import KeptRuns

# kind of a gauge that reads movement -> component and unit of its columns
MOVEMENTS = {kind: READS[kind] for kind in ("pointer", "bow", "dial", "gap")}
USUAL_TOLERANCE = {"mrad": "1 mrad", "mm": "0.5 mm"}  # where none is stated: a choice


def _silent(share: float, text: str) -> None:
    """Tells nobody."""


@dataclass(frozen=True)
class SearchOptions:
    """How the runs of a search are made.

    Attributes
    ----------
    estimate : bool
        Run what is found one grade coarser too, for the error.
    threads : int or None
        Of the solver.
    progress : callable(share, text)
        Told how far the work is, 0 to 1.
    kept : KeptRuns or None
        Where ends of runs are kept, so that a search that was stopped resumes.
    """

    estimate: bool = True
    threads: int | None = None
    progress: Callable[[float, str], None] = _silent
    kept: KeptRuns | None = None


USUAL_OPTIONS = SearchOptions()


@dataclass(frozen=True)
class Target:
    """A gauge that is to end at zero.

    Attributes
    ----------
    gauge : Gauge
    tolerance : Tolerance
    grade : str
        Of the runs.
    """

    gauge: Gauge
    tolerance: Tolerance
    grade: str

    @property
    def unit(self) -> str:
        """Unit in which its size is said: mrad for a pointer's angles, else mm."""
        return unit_of(self.gauge)

    @property
    def columns(self) -> tuple[Column, ...]:
        """Columns that make up its size: a pointer's angles, else all it has."""
        ends = MOVEMENTS[self.gauge.kind]
        return tuple(Column(self.gauge.name, c, unit) for c, unit in ends if unit == self.unit)

    def reading(self, readings: Mapping[Column, float]) -> dict[Column, float]:
        """Its own columns out of a reading of all gauges. [SI]"""
        return {c: readings[c] for c in self.columns}

    def verdict(self, size: float, error: float | None) -> str:
        """Whether a size with its error is inside the tolerance. [SI]"""
        return verdict(size, error, self.tolerance)

    def said(self, size: float, digits: int = 3) -> str:
        """A size as a person reads it, with its unit."""
        return f"{self.shown(size):.{digits}g} {self.unit}"

    def shown(self, size: float) -> float:
        """A size in the unit it is said in."""
        return self.columns[0].factor * size


def target_of(
    case: Case,
    gauge: str | None = None,
    tolerance: str | Tolerance | None = None,
    grade: str | None = None,
) -> Target:
    """What of a case is to end true.

    Parameters
    ----------
    case : Case
        With a gauge that reads movement.
    gauge : str, optional
        A pointer (both its angles), dial, gap or bow; the first such gauge when left out.
    tolerance : str or Tolerance, optional
        "0.5 mrad", "0.3 mm"; the gauge's own, else 1 mrad or 0.5 mm, when left out.
    grade : str, optional
        Of the runs; the case's own when left out.

    Returns
    -------
    Target
        Gauge, tolerance and grade.

    Raises
    ------
    CaseError
        If the case has no such gauge, or tolerance or grade do not suit.
    """
    grade = grade or case.solve.grade
    if grade not in GRADES:
        raise CaseError(f"grade {grade!r} is unknown, allowed: {', '.join(GRADES)}")
    found = usable_gauge(case, gauge)
    return Target(found, limit_for(found, tolerance), grade)


def usable_gauge(case: Case, name: str | None) -> Gauge:
    """A gauge that reads movement, the first when no name is given."""
    usable = [g for g in case.gauges if g.kind in MOVEMENTS]
    for g in usable:
        if name in (None, g.name):
            return g
    names = ", ".join(g.name for g in usable) or "none in this case"
    raise CaseError(f"gauge {name!r} reads no movement here, allowed: {names}")


def unit_of(gauge: Gauge) -> str:
    """Unit of a gauge's size: mrad for a pointer's angles, else mm."""
    return "mrad" if gauge.kind == "pointer" else "mm"


def limit_for(gauge: Gauge, tolerance: str | Tolerance | None = None) -> Tolerance:
    """The tolerance stated, else the gauge's own, else a usual one."""
    unit = unit_of(gauge)
    if tolerance is None:
        tolerance = gauge.tolerance
    if not isinstance(tolerance, Tolerance):
        kind = "angle" if unit == "mrad" else "linear"
        tolerance = read_tolerance(tolerance or USUAL_TOLERANCE[unit], kind, None, gauge.throw)
    if tolerance.measure != ("angle" if unit == "mrad" else "length"):
        raise CaseError(f"tolerance {tolerance.text!r} does not suit a gauge in {unit}")
    return tolerance


def until_cold(case: Case) -> Case:
    """The case run until it is cold and let go, whatever end it states.

    What ends true is the cold part, and a clamp that is still on would always seem to win.

    Raises
    ------
    CaseError
        If nothing takes heat away.
    """
    air, contacts = case.surroundings, (case.clamping, *case.clamps)
    if (
        air.film_coefficient == 0
        and air.emissivity == 0
        and not any(c.conductance for c in contacts)
    ):
        raise CaseError(
            f"{case.source_file} [surroundings]: nothing takes heat away, so the part is never "
            "cold, allowed: a film, an emissivity or a conductance greater than zero"
        )
    return replace(case, solve=replace(case.solve, end="cold"))


def size_of(reading: Mapping[Any, float]) -> float:
    """How far off a reading is: the length of its columns. [SI]"""
    return math.hypot(*reading.values())


@dataclass(frozen=True)
class Searched:
    """What all searches say of the end they found.

    Attributes
    ----------
    title : str
        Of the case.
    target : Target
    estimate : ErrorEstimate
        Of the reading that was found, in SI.
    verdict : str
        "inside", "outside" or "too close to call".
    """

    title: str
    target: Target
    estimate: ErrorEstimate
    verdict: str

    @property
    def error(self) -> float | None:
        """Estimated error of the end, the way between two readings; None without one. [SI]"""
        return self.estimate.size()

    @property
    def shown_error(self) -> float | None:
        """The error in the unit of the gauge."""
        return None if self.error is None else self.target.shown(self.error)
