"""The bench sheet of a study: the recommended sequence, with what each weld should read."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from weldsim.report.bench_sheet import OF_STUDY, BenchSheet, bench_sheet
from weldsim.schema.column import Column
from weldsim.schema.tolerance import SCALES
from weldsim.studies.next.given import open_study
from weldsim.studies.plan.drift import ENOUGH
from weldsim.studies.plan.space import Plan
from weldsim.studies.plan.stages import stages


def sheet_of_plan(folder: str | Path) -> BenchSheet:
    """The sheet of a study folder.

    Parameters
    ----------
    folder : path
        With plan.json and branches.

    Returns
    -------
    BenchSheet

    Raises
    ------
    WeldsimError
        If it is no study.
    """
    study = open_study(folder)
    return sheet_of_record(study.plan, study.record or {}, folder)


def sheet_of_record(plan: Plan, record: dict[str, Any], folder: str | Path) -> BenchSheet:
    """The sheet of a study whose record is at hand.

    Parameters
    ----------
    plan : Plan
    record : dict
        As plan.json holds it.
    folder : path
        With its branches.

    Returns
    -------
    BenchSheet
    """
    row, section = record["rows"][0], plan.section
    moves = tuple((seam, int(way)) for seam, way in row["moves"])
    number = [s.written for s in plan.settings].index(tuple(row["setting"]))
    grade = section.confirm_grade if row.get("confirmed") else section.grade
    case = plan.bound(plan.settings[number], moves)
    factors = _factors(plan, record, confirmed=bool(row.get("confirmed")))
    found = stages(plan, number, moves, grade, folder)
    readings = [
        None
        if r is None
        else {c: factors.get((c.gauge, c.component), 1.0) * v for c, v in r.items()}
        for r in found
    ]
    errors = [None if r is None else _errors(plan, record, r) for r in readings]
    source = f"study {Path(folder).resolve().name}"
    answer = [line[:1].upper() + line[1:] + "." for line in record["words"][1:2]]
    return bench_sheet(case, source, readings, errors, answer, OF_STUDY)


def _factors(plan: Plan, record: dict[str, Any], confirmed: bool) -> dict[tuple[str, str], float]:
    """(gauge, component) -> what its readings are multiplied with, as the rows of the study are."""
    drift = record.get("drift")
    if confirmed or not drift or drift["compared"] < ENOUGH:
        return {}
    sides = ((c.gauge, c.component) for c in plan.measure_columns)
    return dict(zip(sides, drift["factors"], strict=True))


def _errors(
    plan: Plan, record: dict[str, Any], reading: dict[Column, float]
) -> dict[Column, float]:
    """The error that the study states for its rows, for each side of its measure. [SI]"""
    drift = record.get("drift")
    if not drift or plan.tolerance.measure not in ("angle", "slope", "length"):
        return {}
    rest = float(drift["rest"]) / SCALES[plan.tolerance.measure][0]
    throws = {g.name: g.throw for g in plan.case.gauges}
    out = {}
    for column in plan.measure_columns:
        for mine in reading:
            if (mine.gauge, mine.component) != (column.gauge, column.component):
                continue
            angle = column.unit == "mrad" and mine.unit == "mm"
            out[mine] = rest * (throws.get(mine.gauge) or math.nan if angle else 1.0)
    return out
