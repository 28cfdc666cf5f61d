"""A fit of the page, from the tables that were brought to what its answer shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from weldsim.page.experiments import experiments_of
from weldsim.page.fit_values import values_shown
from weldsim.page.measured_tasks import varied
from weldsim.page.worker_process import Tell
from weldsim.report.fit_record import fit_record, write_fit
from weldsim.studies.fit.fitting import fit
from weldsim.studies.fit.records import FINER, CurveFit, Settings
from weldsim.text.fit_words import fit_lines
from weldsim.text.quantities import in_us
from weldsim.units import parse

GRADE, CLOCK = "quick", "30 s"  # where the request says nothing


def settings_of(options: dict[str, Any], workers: int | None = None) -> Settings:
    """How a fit is made.

    Parameters
    ----------
    options : dict
        Of the job.
    workers : int, optional
        Processes.

    Returns
    -------
    Settings
        With usual values where the request says nothing.
    """
    grade = options.get("grade", GRADE)
    return Settings(
        grade, options.get("finer") or FINER[grade], options.get("design"),
        options.get("hold_back"), parse(options.get("clock", CLOCK), "time"), workers=workers,
    )  # fmt: skip


def fit_answer(options: dict[str, Any], folder: Path, workers: int, tell: Tell) -> dict[str, Any]:
    """Fit, and leave all that a fit leaves in a folder.

    Parameters
    ----------
    options : dict
        `folder` of the run, `files` with path, name, rules and run folder, `vary` and the settings.
    folder : Path
        Of the study; its runs stay there.
    workers : int
        Processes.
    tell : callable(share, text)

    Returns
    -------
    dict
        `lines` in words, `record`, `values`, `curves` and titles of the `cases` they are of.
    """
    experiments = experiments_of(options)
    unknowns = varied(experiments[0].case, options)
    found = fit(experiments, unknowns, folder, settings_of(options, workers), tell)
    write_fit(found, folder)
    record = fit_record(found)
    kept = ("parameters", "score", "runs", "grade", "finer", "clocks", "cannot_be_told_apart")
    return {
        "lines": fit_lines(found),
        "lines_us": in_us(fit_lines(found)),
        "record": {k: record[k] for k in kept},
        "values": values_shown(record["parameters"]),
        "curves": [_curve(c) for c in found.curves],
        "cases": [e.case.title for e in found.experiments],
    }


def _curve(c: CurveFit) -> dict[str, Any]:
    column, o = c.observed.column, c.observed
    times = [] if o.cold else o.times
    return {
        "name": column.name, "experiment": c.experiment, "gauge": column.gauge,
        "component": column.component,
        "unit": column.unit, "cold": o.cold, "times": times,
        "values": column.to_display(o.values), "low": column.to_display(c.low),
        "high": column.to_display(c.high),
        "computed": {"times": times, "values": column.to_display(c.computed)},
    }  # fmt: skip
