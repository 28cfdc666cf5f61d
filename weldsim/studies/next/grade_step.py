"""The model's readings carried over to the finer grade of the study they belong to."""

from __future__ import annotations

from collections.abc import Mapping

from weldsim.schema.column import Column, Readings
from weldsim.studies.next.given import OpenedStudy
from weldsim.studies.next.past import Past


def factor_of(study: OpenedStudy, column: Column) -> float:
    """What a column of the ranking grade is multiplied by; 1 where the study found no factor.

    Parameters
    ----------
    study : OpenedStudy
        Of a plan.
    column : Column
        The side of a target moves by one factor, in whatever unit it is read.

    Returns
    -------
    float
        Finer over coarser.
    """
    if study.drift is None or not study.drift.carried:
        return 1.0
    sides = zip(study.plan.measure_columns, study.drift.factors, strict=False)
    return next((f for c, f in sides if _side(c) == _side(column)), 1.0)


def _side(column: Column) -> tuple[str, str]:
    return column.gauge, column.component


def carried_readings(study: OpenedStudy, readings: Mapping[Column, float]) -> Readings:
    """Readings of the ranking grade as the finer grade would have them.

    Parameters
    ----------
    study : OpenedStudy
    readings : mapping
        Column -> value. [SI]

    Returns
    -------
    Readings
        Of the same columns. [SI]
    """
    return Readings({c: factor_of(study, c) * value for c, value in readings.items()})


def carried_past(study: OpenedStudy, past: Past) -> Past:
    """The same for what is read weld by weld, and for how uncertain shop values scale it.

    Parameters
    ----------
    study : OpenedStudy
    past : Past
        At the ranking grade.

    Returns
    -------
    Past
        At the finer grade.
    """
    return Past(
        {c: factor_of(study, c) * values for c, values in past.readings.items()},
        {c: factor_of(study, c) * values for c, values in past.slopes.items()},
    )
