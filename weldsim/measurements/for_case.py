"""A measured file read for a case, with what the file does not say given as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from weldsim.case.load import Case
from weldsim.measurements.bench_columns import ReadingRules
from weldsim.measurements.measured_curve import Measurement, read_measurement
from weldsim.simulation.columns import columns_of_case


def read_for_case(
    path: str | Path,
    case: Case,
    *,
    names: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    time_unit: str | None = None,
    noise: Mapping[str, float] | None = None,
) -> Measurement:
    """Read what was measured on a case.

    Parameters
    ----------
    path : path-like
        Table as text: a time column and one column a gauge, or one row of readings when cold.
    case : Case
        Whose gauges the columns are of.
    names : mapping of str to str, optional
        Header -> reading of a gauge: "dial 1" -> "tip_up".
    units : mapping of str to str, optional
        Header -> unit.
    time_unit : str, optional
        Of the time column.
    noise : mapping of str to float, optional
        Header -> standard deviation of its readings, in the unit of the column.

    Returns
    -------
    Measurement
        In SI.

    Raises
    ------
    MeasurementError
        One line a mistake, with the file, the column and what is allowed.
    """
    rules = ReadingRules(dict(names or {}), dict(units or {}), time_unit, dict(noise or {}))
    return read_measurement(path, columns_of_case(case), rules=rules)
