"""Several runs beside each other, and readings against tolerances."""

from __future__ import annotations

import math

from weldsim.errors import CaseError
from weldsim.plots.welds import arc_times
from weldsim.report.tables import inputs
from weldsim.runs.reading import RunRecord
from weldsim.schema.tolerance import Tolerance, read_tolerance, verdict
from weldsim.text.quantities import Number, Quantity, Words, as_written, quantity, unit_word
from weldsim.text.words import error_quantity, reading

SAME_RUN = ("version of ", "changed on the command line", "title")
MOST = 24  # inputs that differ and are listed


def labels(records: list[RunRecord]) -> list[str]:
    """A short name for each run: its title, with the folder where titles are alike."""
    titles = [r.title for r in records]
    names = [r.path.resolve().name for r in records]
    alike = len(set(titles)) < len(titles)
    return [f"{n}: {t}" if alike else t for n, t in zip(names, titles, strict=True)]


def comparison(records: list[RunRecord]) -> list[dict]:
    """Rows of what several runs come to: `name`, `unit`, `cells`, and whether they differ."""
    columns = {
        c.name: c
        for r in records for c in r.columns
        if c.weld is None and (c.unit != "mm" or f"{c.name[:-3]}_mrad" not in r.gauges)
    }  # fmt: skip
    rows = [_gauge_row(records, c) for c in columns.values()]
    rows.append(_row("first arc to last arc stop", "s", [_welding(r) for r in records]))
    rows.append(_row("arc on", "s", [_burning(r) for r in records]))
    rows.append(_row("highest interpass temperature", "degC", [_interpass(r) for r in records]))
    for name, key in (
        ("mean stress of the weld zone", "mean_weld_zone_MPa"),
        ("largest equivalent stress", "largest_von_mises_MPa"),
    ):
        found = [(r.summary.get("locked_in") or {}).get(key) for r in records]
        rows.append(_row(name, "MPa", [_whole(v, "MPa") for v in found]))
    return [r for r in rows if any(c != "–" for c in r["cells"])]


def _row(name: str, unit: str, cells: list[str]) -> dict:
    return {"name": name, "unit": unit_word(unit), "cells": cells, "errors": [""] * len(cells),
            "apart": ""}  # fmt: skip


def _gauge_row(records, column) -> dict:
    has = [column.name in r.gauges for r in records]
    mine = [next((c for c in r.columns if c.name == column.name), None) for r in records]
    cells = [
        Words(reading(r, c, named=False)) if c else "–" for r, c in zip(records, mine, strict=True)
    ]
    errors = [
        Words(error_quantity(r, c, "± ", named=False))
        if c and r.errors.get(c.name) is not None
        else ""
        for r, c in zip(records, mine, strict=True)
    ]
    out = _row(f"{column.gauge} {column.component}", column.unit, cells) | {"errors": errors}
    if len(records) > 1 and all(has):
        out["apart"] = _apart(records, column.name)
    return out


def _apart(records, name: str) -> str:
    """Whether the readings of all runs lie farther from the first than their errors reach."""
    ends = [float(r.gauges[name][-1]) for r in records]
    errors = [r.errors.get(name) for r in records]
    if None in errors:
        return "cannot be told: no error estimate"
    first = [abs(e - ends[0]) > abs(f) + abs(errors[0]) for e, f in zip(ends[1:], errors[1:],
                                                                       strict=True)]  # fmt: skip
    return "more than the errors" if all(first) else "within the errors" if not any(
        first) else "some more than the errors"  # fmt: skip


def _welding(record: RunRecord) -> str:
    arcs = arc_times(record)
    return f"{max(a[2] for a in arcs):.0f}" if arcs else "–"


def _burning(record: RunRecord) -> str:
    arcs = arc_times(record)
    return f"{sum(a[2] - a[1] for a in arcs):.0f}" if arcs else "–"


def _interpass(record: RunRecord) -> str:
    found = [w.get("highest_interpass_degC") for w in record.summary.get("welds", [])]
    found = [v for v in found if v is not None]
    return _whole(max(found, default=None), "°C")


def _whole(value: float | None, unit: str) -> str:
    """A whole number whose unit stands in the head of the row; a dash for none."""
    return "–" if value is None else Words(quantity(value, unit, ".0f", named=False))


def differences(records: list[RunRecord]) -> tuple[list[tuple[str, list[str]]], int]:
    """Inputs of all runs that are not the same, with their texts.

    Also how many more there are: left out here, or known to some of the runs only.
    """
    tables = [dict(inputs(r)) for r in records]
    names = dict.fromkeys(n for t in tables for n in t if not n.startswith(SAME_RUN))
    rows = [(n, [t.get(n, "–") for t in tables]) for n in names]
    rows = [(n, cells) for n, cells in rows if len(set(cells)) > 1]
    shared = [(n, cells) for n, cells in rows if all(n in t for t in tables)]
    return shared[:MOST], len(rows) - len(shared[:MOST])


def verdicts(record: RunRecord) -> list[dict]:
    """Each tolerance with its verdict: `gauge`, `tolerance`, `reading`, `verdict`.

    Taken from the summary where the run judged itself, else from the gauges' tolerances.
    """
    found = (record.summary.get("tolerances") or {}).get("verdicts") or []
    if found:
        return [_as_row(v) for v in found]
    return [_judged(record, g) for g in record.case.get("gauges", []) if g.get("tolerance")]


def _as_row(entry) -> dict:
    if not isinstance(entry, dict):
        return {"gauge": "", "tolerance": "", "reading": "", "verdict": str(entry)}
    named = entry.get("gauge") or entry.get("column") or entry.get("name") or ""
    keys = ("tolerance", "reading", "verdict")
    return {"gauge": str(named), **{k: as_written(_text(entry.get(k))) for k in keys}}


def _text(value) -> str:
    if value is None:
        return ""
    if isinstance(value, dict):
        return str(value.get("text", value))
    return f"{value:.3g}" if isinstance(value, float) else str(value)


def _judged(record: RunRecord, gauge: dict) -> dict:
    """A gauge against its tolerance; of a pointer the whole tilt, of others the largest reading."""

    given, pointer = gauge["tolerance"], gauge.get("kind") == "pointer"
    row = {"gauge": gauge["name"], "tolerance": _text(given), "reading": "", "verdict": ""}
    try:
        if isinstance(given, dict):
            tolerance = Tolerance(**{k: given[k] for k in ("text", "value", "measure")})
        else:
            tolerance = read_tolerance(str(given), "angle" if pointer else "linear")
    except (CaseError, KeyError, TypeError) as error:
        return row | {"verdict": f"not judged: {error}"}
    unit = "mrad" if tolerance.measure == "angle" else "mm"
    own = [c.name for c in record.columns if c.gauge == gauge["name"] and c.unit == unit
           and c.weld is None]  # fmt: skip
    if not own:
        return row | {"verdict": f"not judged: the gauge reads nothing in {unit}"}
    values = [float(record.gauges[n][-1]) for n in own]
    errors = [record.errors.get(n) for n in own]
    value = math.hypot(*values) if pointer else max(values, key=abs)
    error = None if None in errors else math.hypot(*errors) if pointer else max(errors)
    word = verdict(1e-3 * value, None if error is None else 1e-3 * error, tolerance)
    numbers = [Number(value, f"{value:.3g}")]
    if error is not None:
        numbers += [" ±", Number(error, f"{error:.2g}", difference=True)]
    return row | {
        "tolerance": as_written(str(tolerance)),
        "reading": Words(Quantity(tuple(numbers), unit)),
        "verdict": word,
    }
