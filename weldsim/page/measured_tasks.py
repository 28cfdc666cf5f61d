"""What worker processes read of measurements: tables beside a run, films, what a fit may vary."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case, parse_case
from weldsim.errors import CaseError, MeasurementError, WeldsimError
from weldsim.measurements.bench_columns import ReadingRules
from weldsim.measurements.measured_curve import MeasuredCurve, Measurement, read_measurement
from weldsim.measurements.spot_record import LEAST_NOISE, read_clip, write_spot_file
from weldsim.measurements.table_file import read_table
from weldsim.measurements.target_sheet import PAPERS, TargetSheet
from weldsim.page import runs
from weldsim.page.worker_process import Tell
from weldsim.plots.target_sheet_print import print_target
from weldsim.report.plan_record import NAME as PLAN
from weldsim.runs.gauge_table import TIME
from weldsim.runs.reading import RunRecord, read_run
from weldsim.schema.column import Column
from weldsim.simulation.columns import columns_of_case
from weldsim.studies.fit.unknowns import Unknown, unknowns_of
from weldsim.studies.spreads import USUAL_BOUNDS
from weldsim.studies.stored_studies import StoredPlan, read_study
from weldsim.text.fit_words import value_name, value_words
from weldsim.text.quantities import Units, in_us
from weldsim.text.spot_words import record_lines

MOST_POINTS = 600  # of one curve as a page draws it
FIRST_UNKNOWNS = ("arc.efficiency", "clamping.conductance", "metal.softening_temperature")
"""Chosen beforehand: what moves a bar most and a shop knows least; our choice"""


def case_of_run(folder: str | Path) -> Case:
    """The case of a run as it was computed, or of a plan.

    Parameters
    ----------
    folder : path-like
        A run folder, or that of a plan.

    Returns
    -------
    Case
        With the values it was run with.
    """
    if (path := Path(folder) / PLAN).is_file():
        record = read_study(path, StoredPlan)
        return parse_case(record["case"], record["source_file"], tuple(record["overrides"]))
    base = runs.base_of(Path(folder))
    return parse_case(base.text, str(base.path))


def rules_of(rules: dict[str, Any]) -> ReadingRules:
    """Names, units and noise that a file does not give.

    Parameters
    ----------
    rules : dict
        `map`, `unit`, `time_unit`, `noise` and `unused`, see `study_request`.

    Returns
    -------
    ReadingRules
        As `read_measurement` takes it.
    """
    return ReadingRules(
        dict(rules.get("map", {})), dict(rules.get("unit", {})), rules.get("time_unit") or None,
        {k: float(v) for k, v in rules.get("noise", {}).items()}, tuple(rules.get("unused", ())),
    )  # fmt: skip


def read_one(path: str, name: str, case: Case, rules: dict[str, Any]) -> Measurement:
    """One table as the gauges of a case read it; a refusal names it as the browser did.

    Parameters
    ----------
    path : str
        Of the table.
    name : str
        What the browser called it.
    case : Case
        Whose gauges are to be found in it.
    rules : dict
        See `rules_of`.

    Returns
    -------
    Measurement
        In SI.

    Raises
    ------
    MeasurementError
        One line a mistake.
    """
    try:
        return read_measurement(path, columns_of_case(case), rules=rules_of(rules))
    except MeasurementError as error:
        raise MeasurementError(str(error).replace(path, name)) from None


def overlay(
    path: str, name: str, folder: str, rules: dict[str, Any], tell: Tell | None = None
) -> dict[str, Any]:
    """What was measured beside what was computed; a worker's task.

    Parameters
    ----------
    path, name : str
        Of the table, and what the browser called it.
    folder : str
        Of the run.
    rules : dict
        See `rules_of`.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `ok`, `headers` of the file and `columns` of the case; `curves` with times [s] and values in
        the unit of their column, `left_out` in words and `arcs` [s]; or `messages`.
    """
    case, run = case_of_run(folder), read_run(folder)
    known = [{"name": c.name, "unit": c.unit} for c in columns_of_case(case)]
    try:
        headers = read_table(Path(path))[0]
    except MeasurementError as error:
        return _refused(str(error).replace(path, name), [], known)
    try:
        found = read_one(path, name, case, rules)
    except MeasurementError as error:
        return _refused(str(error), headers, known)
    return {
        "ok": True, "messages": [], "headers": headers, "columns": known,
        "curves": [_beside(c, run) for c in found.curves], "left_out": list(found.left_out),
        "arcs": [[w["start_s"], w["end_s"]] for w in run.summary.get("welds", [])
                 if w.get("start_s") is not None and w.get("end_s") is not None],
    }  # fmt: skip


def _refused(text: str, headers: list[str], columns: list[dict[str, str]]) -> dict[str, Any]:
    return {"ok": False, "messages": text.splitlines(), "headers": headers, "columns": columns}


def _beside(curve: MeasuredCurve, run: RunRecord) -> dict[str, Any]:
    c = curve.column
    computed = run.gauges.get(c.name)
    kept = _some(len(curve.values))
    noise = c.factor * float(np.median(curve.noise)) if np.isfinite(curve.noise).any() else None
    return {
        "name": c.name, "gauge": c.gauge, "component": c.component, "unit": c.unit,
        "cold": curve.cold, "readings": len(curve.values), "noise": noise,
        "noise_from": curve.noise_from,
        "times": [] if curve.cold else _plain(curve.times[kept]),
        "values": _plain(_shown(c, curve.values[kept])),
        "computed": None if computed is None else _computed(run.gauges[TIME], computed),
    }  # fmt: skip


def _computed(times: NDArray[np.float64], values: NDArray[np.float64]) -> dict[str, Any]:
    kept = _some(len(times))
    return {"times": _plain(times[kept]), "values": _plain(values[kept])}


def _shown(column: Column, values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(column.to_display(values), float)


def _some(count: int) -> NDArray[np.int64]:
    """Places of so many as a page draws, first and last among them."""
    return np.unique(np.linspace(0, count - 1, min(count, MOST_POINTS)).round().astype(np.int64))


def _plain(values: Iterable[float]) -> list[float | None]:
    return [float(f"{v:.7g}") if np.isfinite(v) else None for v in values]


def film(
    path: str, name: str, out: str, gauge: str, options: dict[str, Any], tell: Tell | None = None
) -> dict[str, Any]:
    """Follow the light spot through a film and write its readings; a worker's task.

    Parameters
    ----------
    path, name : str
        Of the film, and what the browser called it.
    out : str
        The table to write.
    gauge : str
        Name of the pointer.
    options : dict
        `across` and `up` between the marks [m], `rate` [1/s], `mirrored`.
    tell : callable, optional
        Told how far it is.

    Returns
    -------
    dict
        What was read: `words`, `gauge`, and `rest`, up, right and standard deviation where the
        spot came to rest. [mm]
    """
    say = tell or (lambda share, text: None)
    try:
        sheet = TargetSheet(options["across"], options["up"])
        record = read_clip(
            path, sheet, options["rate"], options["mirrored"],
            lambda share: say(share, "reading the film"),
        )  # fmt: skip
    except MeasurementError as error:
        raise MeasurementError(str(error).replace(path, name)) from None
    write_spot_file(out, record, gauge, name)
    up, right, error = (1e3 * v for v in record.reading())
    rest = [up, right, max(LEAST_NOISE, error)]
    return {"words": record_lines(record), "gauge": gauge, "rest": rest}


def pointers(folder: str, tell: Tell | None = None) -> list[str]:
    """Names of the pointers of a run; a worker's task.

    Parameters
    ----------
    folder : str
        Of the run.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of str
        In the order of its gauges.
    """
    return [g.name for g in case_of_run(folder).gauges if g.kind == "pointer"]


def target_sheet(
    paper: str, folder: str, units: Units = "metric", tell: Tell | None = None
) -> bytes:
    """The sheet a light spot is filmed on, at true size; a worker's task.

    Parameters
    ----------
    paper : str
        A key of `PAPERS`.
    folder : str
        Of a run or a plan, whose first pointer says how far the target is; blank for none.
    units : {"metric", "us"}
        What it is ruled in.
    tell : callable, optional
        Not used.

    Returns
    -------
    bytes
        PDF.
    """
    throw = None
    if folder:
        throw = next((g.throw for g in case_of_run(folder).gauges if g.kind == "pointer"), None)
    with TemporaryDirectory() as place:
        return print_target(Path(place) / "target.pdf", PAPERS[paper], throw, units).read_bytes()


def offer(folder: str, tell: Tell | None = None) -> list[dict[str, Any]]:
    """What may vary in a fit to the case of a run, with usual bounds; a worker's task.

    Parameters
    ----------
    folder : str
        Of the run.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of dict
        `key`, its `name`, `low`, `high` and `usual` as a case has them, `source` of the bounds,
        `thermal`, and whether it is `chosen` beforehand.
    """
    case = case_of_run(folder)
    section = case.tables.get("fit", {})
    own, spreads = dict(section.get("vary", {})), dict(section.get("spread", {}))
    out = []
    for key, (low, high, source) in USUAL_BOUNDS.items():
        if key not in own and (u := _unknown(case, key, [low, high], {})) is not None:
            chosen = key in FIRST_UNKNOWNS and not own
            out.append(_offered(u, low, high, source, chosen, ""))
    stated = []
    for key, bounds in own.items():
        spread = spreads.get(key, "")
        usual = bounds == "usual"
        u = _unknown(case, key, bounds if usual else list(bounds), {key: spread} if spread else {})
        if u is not None:
            low, high = (u.text(u.low), u.text(u.high)) if usual else bounds
            stated.append(_offered(u, low, high, u.source, True, str(spread)))
    return [*stated, *out]


def _unknown(case: Case, key: str, bounds: Any, spread: dict[str, Any]) -> Unknown | None:
    try:
        return unknowns_of(case, {key: bounds}, spread)[0]
    except WeldsimError:  # not of this case: another clamp, no arc that states it
        return None


def _offered(
    u: Unknown, low: object, high: object, source: str, chosen: bool, spread: str
) -> dict[str, Any]:
    usual = value_words(u, u.usual)
    (usual_us,) = in_us([usual])
    return {
        "key": u.key, "name": value_name(u.key), "low": str(low), "high": str(high),
        "usual": str(usual), "usual_us": usual_us, "source": source, "thermal": u.thermal,
        "chosen": chosen, "spread": spread,
    }  # fmt: skip


def varied(case: Case, options: dict[str, Any]) -> tuple[Unknown, ...]:
    """What varies in a fit that was asked for.

    Parameters
    ----------
    case : Case
        That was welded.
    options : dict
        `vary`: key -> lowest, highest and, if there is one, the standard deviation believed.

    Returns
    -------
    tuple of Unknown
        In their order.
    """
    vary = {k: [_value(v) for v in bounds[:2]] for k, bounds in options["vary"].items()}
    spread = {k: _value(b[2]) for k, b in options["vary"].items() if len(b) > 2 and b[2] != ""}
    try:
        return unknowns_of(case, vary, spread)
    except CaseError as error:  # a person sees no file here
        raise CaseError(str(error).replace(f"{case.source_file} [fit] ", "")) from None


def _value(text: Any) -> Any:
    try:
        return float(text)
    except (TypeError, ValueError):
        return text
