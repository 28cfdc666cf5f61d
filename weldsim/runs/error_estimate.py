"""How far an end reading may be off: the one estimate that runs and studies state.

A case is computed once more one grade coarser, with longer steps and larger cells, and the way
between the two readings is stated. It is an estimate of the discretisation error, no bound, and
says nothing of what the model leaves out.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from weldsim.case.load import Case
from weldsim.errors import WeldsimError
from weldsim.geometry.grades import GRADES
from weldsim.schema.column import Column, Readings
from weldsim.simulation.steps import build_model, simulate, start_state

# Sketch and coarse are for signs and ranking: a run at them spends no time on an estimate unless
# it is asked for one, and one cell through the wall is no measure of what two are worth.
WITHOUT_COMPANION = ("sketch", "coarse")
NOT_ASKED = "none: no second run was made for it"
NO_SECOND_GRADE = "without an estimated error: no run at a second grade"
UNDETERMINED = (
    "not determined: a cross-section bent like a hinge on the way, so where the part ends hangs on "
    "how closely equilibrium was sought, and a second run says nothing of that"
)
COARSER_FAILED = "without an estimated error: the coarser run failed"


@dataclass(frozen=True)
class ErrorEstimate:
    """Estimated discretisation errors of end readings.

    Attributes
    ----------
    values : Readings
        Errors by column, or by gauge and component; empty when there is none.
        [rad, m, K, N, N m]
    how : str
        How it was estimated, or why it was not.
    trouble : str
        Why the coarser run failed; empty when it did not.
    seconds : float
        What the coarser run took. [s]
    """

    values: Readings = field(default_factory=lambda: Readings({}))
    how: str = NO_SECOND_GRADE
    trouble: str = ""
    seconds: float = 0.0

    def size(self, columns: Iterable[Column] | None = None) -> float | None:
        """Errors of several columns as one.

        Parameters
        ----------
        columns : iterable of Column, optional
            Of one kind of reading; all when left out.

        Returns
        -------
        float or None
            Root of the sum of squares; None without an estimate. [SI]
        """
        if not self.values:
            return None
        return math.hypot(*(self.values[c] for c in (self.values if columns is None else columns)))


def grade_below(grade: str) -> str | None:
    """The next coarser grade.

    Parameters
    ----------
    grade : str
        One of `weldsim.geometry.grades.GRADES`.

    Returns
    -------
    str or None
        None below the coarsest.
    """
    grades = list(GRADES)
    return grades[grades.index(grade) - 1] if grade != grades[0] else None


def companion_grade(grade: str) -> str | None:
    """Grade of the companion run that goes with a run without being asked for.

    Parameters
    ----------
    grade : str
        Of the run.

    Returns
    -------
    str or None
        None where none goes.
    """
    return None if grade in WITHOUT_COMPANION else grade_below(grade)


def estimate_error(
    ends: Mapping[Column, float],
    coarser: str | None,
    run_at: Callable[[str], Mapping[Column, float]],
    subject: str = "case",
) -> ErrorEstimate:
    """Errors of end readings from those of the same subject at a coarser grade.

    Parameters
    ----------
    ends : dict
        Column -> end reading.
    coarser : str or None
        The grade of the second run; None gives an estimate without values.
    run_at : callable(grade) -> dict
        Computes the end readings at a grade; those of `ends` are compared.
    subject : str
        What is run again: "case", "preset", "clamps" ...

    Returns
    -------
    ErrorEstimate
        Without values, and with `trouble`, where the coarser run fails: it is made for the error
        alone, and what the finer one found still stands. A stop passes.
    """
    if coarser is None:
        return ErrorEstimate()
    began = time.perf_counter()
    try:
        other = run_at(coarser)
    except Exception as error:  # whatever it is: it must not take along what the finer run found
        kind, trouble = type(error).__name__, next(iter(str(error).splitlines()), "")
        if not isinstance(error, WeldsimError):
            kind = f"unexpected: {kind}"
            trouble = f"{kind}: {trouble}" if trouble else kind
        trouble = trouble or kind
        return ErrorEstimate(Readings({}), COARSER_FAILED, trouble, time.perf_counter() - began)
    values = Readings({column: abs(other[column] - value) for column, value in ends.items()})
    how = f"difference to the same {subject} at grade {coarser}; an estimate, no bound"
    return ErrorEstimate(values, how, "", time.perf_counter() - began)


def error_of_run(
    case: Case,
    grade: str,
    ends: Mapping[Column, float],
    threads: int | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> ErrorEstimate:
    """Errors of a case's end readings at a grade, from the same case one grade coarser.

    Parameters
    ----------
    case : Case
        What was run.
    grade : str
        Of the run whose errors are asked for; any but the coarsest.
    ends : dict
        Column -> end reading at that grade. [SI]
    threads : int, optional
        Of the coarser run.
    progress : callable(share, text), optional
        Told after each of its steps.

    Returns
    -------
    ErrorEstimate
        Its `values` are in SI. [rad, m, K, N, N m]
    """
    coarser = grade_below(grade)

    def run_at(name: str) -> Mapping[Column, float]:
        """Readings at the end of the case at a grade."""
        model = build_model(case, name, threads)
        end = model.read(start_state(model))
        for step in simulate(model):
            end = step.gauges
            if progress is not None:
                progress(step.progress, f"estimated error, {step.time:.0f} s")
        return end

    found = estimate_error(ends, coarser, run_at)
    if found.trouble:
        return replace(found, how=f"no estimated error: {found.trouble}")
    return replace(found, how=how_of_run(grade, coarser)) if coarser else found


def how_of_run(grade: str, coarser: str) -> str:
    """In words how the error of a run is estimated.

    Parameters
    ----------
    grade, coarser : str
        Of the run and of the one it is compared with.

    Returns
    -------
    str
        Without full stop.
    """
    fine, rough = GRADES[grade], GRADES[coarser]
    return (
        f"difference to the same case at the coarser grade {coarser}: torch steps "
        f"{rough.torch_step / fine.torch_step:.1f} and cells along the travel "
        f"{rough.travel_cell / fine.travel_cell:.1f} times as long, across the bead "
        f"{fine.bead_cells / rough.bead_cells:.1f} and through the wall "
        f"{fine.through_cells / rough.through_cells:.1f} times as large; an "
        "estimate, no bound"
    )
