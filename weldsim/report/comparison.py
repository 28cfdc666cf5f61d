"""Several runs beside each other, and readings against tolerances."""

from __future__ import annotations

import math

from weldsim.plots.welds import arc_times
from weldsim.report.input_words import input_rows
from weldsim.runs.reading import RunRecord
from weldsim.runs.verdicts import judge
from weldsim.schema.tolerance import Tolerance
from weldsim.text.quantities import (
    Number,
    Quantity,
    Words,
    as_written,
    quantity,
    unit_word,
    words,
)
from weldsim.text.tilts import sized, tolerance_words
from weldsim.text.words import error_quantity, reading

OTHER_GRADES = (
    "These runs are of different grades ({}): a coarse mesh moves less, so their ends are not "
    "compared. Run them at one grade."
)
SAME_RUN = ("version of ", "changed on the command line", "title")
MOST_INPUTS = 24  # inputs that differ and are listed


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
        for r in records
        for c in sorted(r.columns, key=lambda c: c.unit == "mrad")  # the target first
        if c.weld is None
    }
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


def headline(records: list[RunRecord]) -> list[str]:
    """Which run ends closest to zero, as far as their errors let one say; nothing without a gauge
    that all of them read.
    """
    grades = dict.fromkeys(r.grade for r in records)
    if len(grades) > 1:
        return [OTHER_GRADES.format(", ".join(grades))]
    sizes = [_size(r, records) for r in records]
    if any(s is None for s in sizes):
        return []
    known = [s for s in sizes if s is not None]
    order = sorted(range(len(records)), key=lambda i: known[i][0])
    names, (best, second) = labels(records), order[:2]
    (low, low_error, unit), (high, high_error, _) = known[best], known[second]
    ends = [Words(sized(v, unit)) for v in (low, high)]
    if low_error is None or high_error is None:
        told = "without an estimated error nothing says whether that can be told apart"
    elif high - low > low_error + high_error:
        told = "more than their estimated errors"
    else:
        return [
            words("{} and {} cannot be told apart: they end {} and {} from zero, which their "
                  "estimated errors cover.", names[best], names[second], *ends)
        ]  # fmt: skip
    times = f"{high / low:.2g} times closer to zero" if low > 0 else "closest to zero"
    return [
        words("{} ends {} than {}: {} against {}, {}.", names[best], times, names[second], *ends,
              told)
    ]  # fmt: skip


def _size(record: RunRecord, records: list[RunRecord]) -> tuple[float, float | None, str] | None:
    """How far the first gauge that all runs read ends from zero, its error and unit."""
    shared = [
        c for c in records[0].columns
        if c.weld is None and c.unit == "mm" and all(c.name in r.gauges for r in records)
    ]  # fmt: skip
    if not shared:
        return None
    own = [c for c in shared if c.gauge == shared[0].gauge]
    errors = [record.errors.get(c.name) for c in own]
    size = math.hypot(*(float(record.gauges[c.name][-1]) for c in own))
    whole = None if None in errors else math.hypot(*(float(e) for e in errors if e is not None))
    return size, whole, "mm"


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
    if len({r.grade for r in records}) > 1:
        return "not compared: different grades"
    ends = [float(r.gauges[name][-1]) for r in records]
    errors = [r.errors.get(name) for r in records]
    if None in errors:
        return "cannot be told: no estimated error"
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
    tables = [dict(input_rows(r)) for r in records]
    names = dict.fromkeys(n for t in tables for n in t if not n.startswith(SAME_RUN))
    rows = [(n, [t.get(n, "–") for t in tables]) for n in names]
    rows = [(n, cells) for n, cells in rows if len(set(cells)) > 1]
    shared = [(n, cells) for n, cells in rows if all(n in t for t in tables)]
    return shared[:MOST_INPUTS], len(rows) - len(shared[:MOST_INPUTS])


def verdicts(record: RunRecord) -> list[dict]:
    """Each tolerance with its verdict: `gauge`, `tolerance`, `reading`, `verdict`.

    Taken from the summary where the run judged itself, else from the gauges' tolerances.
    """
    found = (record.summary.get("tolerances") or {}).get("verdicts") or []
    if not found:
        ends = {c.name: float(record.gauges[c.name][-1]) for c in record.columns if c.weld is None}
        found = judge(record.case.get("gauges", []), ends, record.errors)
    return [_as_row(v, record) for v in found]


def _as_row(entry, record: RunRecord) -> dict:
    if not isinstance(entry, dict):
        return {"gauge": "", "tolerance": "", "reading": "", "verdict": str(entry)}
    named = entry.get("gauge") or entry.get("column") or entry.get("name") or ""
    keys = ("tolerance", "reading", "verdict")
    row = {"gauge": str(named), **{k: as_written(_text(entry.get(k))) for k in keys}}
    gauge = next((g for g in record.case.get("gauges", []) if g.get("name") == named), {})
    distance = gauge.get("throw")
    if isinstance(entry.get("value"), float):
        row["reading"] = _with_error(entry["value"], entry.get("error"), entry["unit"])
        if distance and entry["unit"] == "mrad":
            at = (None if v is None else distance * v for v in (entry["value"], entry.get("error")))
            row["reading"] = words("{} at the target ({})", _with_error(*at, "mm"), row["reading"])
    if entry.get("error", 0.0) is None and row["verdict"] == "too close to call":
        row["verdict"] = as_written("cannot be told: no estimated error")
    given = gauge.get("tolerance")
    if isinstance(given, dict) and "value" in given:
        row["tolerance"] = tolerance_words(Tolerance(**given), distance)
    return row


def _with_error(value: float, error: float | None, unit: str) -> Words:
    numbers: list[Number | str] = [Number(value, _short(value, 3))]
    if error is not None:
        numbers += [" ±", Number(error, _short(error, 2), difference=True)]
    return Words(Quantity(tuple(numbers), unit))


def _short(value: float, most: int) -> str:
    """So many figures without zeros behind them; no exponent for what a bench reads."""
    return f"{value:.{most}g}" if abs(value) < 10**most else f"{value:.0f}"


def _text(value) -> str:
    if value is None:
        return ""
    if isinstance(value, dict):
        return str(value.get("text", value))
    return f"{value:.3g}" if isinstance(value, float) else str(value)
