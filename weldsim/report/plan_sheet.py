"""The bench sheet of a study: the recommended sequence, with what each weld should read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weldsim.case.load import Case
from weldsim.report.bench_sheet import (
    OF_STUDY,
    WITH_SPREAD,
    BenchSheet,
    bench_sheet,
    scaled_errors,
)
from weldsim.schema.column import Column
from weldsim.schema.tolerance import SCALES
from weldsim.studies.next.given import open_study
from weldsim.studies.plan.drift import ENOUGH
from weldsim.studies.plan.space import Plan
from weldsim.studies.plan.stages import stages
from weldsim.text.quantities import Twice, Words, in_m, joined, words
from weldsim.text.tilts import sized
from weldsim.text.words import SIDES

LEAST_SHIFT = 0.1e-3  # m; less of it nobody sees on a target


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
    known = _errors(plan, record, readings[-1])
    errors = [None if r is None else scaled_errors(r, readings[-1] or r, known) for r in readings]
    source = f"study {Path(folder).resolve().name}"
    answer: list[Words] = [
        Twice(*(f"{line[:1].upper()}{line[1:]}." for line in both))
        for both in zip(record["words"][1:2], record["words_us"][1:2], strict=True)
    ]
    answer += own_shift(case, readings[-1])
    spread = WITH_SPREAD if record.get("shop_spread_sizes") else OF_STUDY
    return bench_sheet(case, source, readings, errors, answer, spread)


def own_shift(case: Case, end: Mapping[Column, float] | None) -> list[Words]:
    """Why the spot that is read at the end is not where the tilt alone would put it.

    Parameters
    ----------
    case : Case
    end : dict or None
        Column -> last reading. [SI]

    Returns
    -------
    list of Words
        One line a pointer whose own shift a bench could see.
    """
    out = []
    for gauge in (g for g in case.gauges if g.kind == "pointer" and end):
        spot, tilt = (
            {c.component: v for c, v in (end or {}).items() if (c.gauge, c.unit) == (gauge.name, u)}
            for u in ("mm", "mrad")
        )
        shifts = {side: spot[side] - gauge.throw * tilt[side] for side in spot if side in tilt}
        if not shifts or max(map(abs, shifts.values())) < LEAST_SHIFT:
            continue
        said = joined(" and ", (words("{} {}", sized(1e3 * abs(v), "mm", 2), SIDES[k][v < 0])
                                for k, v in shifts.items()))  # fmt: skip
        out.append(
            words("That is tilt times {}; the spot that is read holds the end's own shift as well, "
                  "in the end {}.", in_m(gauge.throw), said)
        )  # fmt: skip
    return out


def _factors(plan: Plan, record: dict[str, Any], confirmed: bool) -> dict[tuple[str, str], float]:
    """(gauge, component) -> what its readings are multiplied with, as the rows of the study are."""
    drift = record.get("drift")
    if confirmed or not drift or drift["compared"] < ENOUGH:
        return {}
    sides = ((c.gauge, c.component) for c in plan.measure_columns)
    return dict(zip(sides, drift["factors"], strict=True))


def _errors(
    plan: Plan, record: dict[str, Any], end: Mapping[Column, float] | None
) -> dict[Column, float]:
    """What is known of the error at the end, for each side of the measure: the row's own and, where
    the study counts it, the shop's spread. [SI]"""
    error, sizes = record["rows"][0].get("error"), record.get("shop_spread_sizes") or {}
    if error is None or plan.tolerance.measure not in ("angle", "slope", "length"):
        return {}
    scale = SCALES[plan.tolerance.measure][0]
    throws = {g.name: g.throw for g in plan.case.gauges}
    out = {}
    for column in plan.measure_columns:
        own = math.hypot(float(error), float(sizes.get(column.component, 0.0))) / scale
        for mine in end or ():
            if (mine.gauge, mine.component) != (column.gauge, column.component):
                continue
            angle = column.unit == "mrad" and mine.unit == "mm"
            out[mine] = own * (throws.get(mine.gauge) or math.nan if angle else 1.0)
    return out
