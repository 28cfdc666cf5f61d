"""Which tables belong to which run: a fit may hold several, of runs of different cases."""

from __future__ import annotations

from typing import Any

from weldsim.errors import CaseError, MeasurementError
from weldsim.measurements.measured_curve import Measurement
from weldsim.page.measured_tasks import case_of_run, read_one, varied
from weldsim.page.worker_process import Tell
from weldsim.studies.fit.records import Experiment
from weldsim.studies.fit.unknowns import with_values


def folders_of(options: dict[str, Any]) -> list[str]:
    """Run folders of a fit that tables belong to.

    Parameters
    ----------
    options : dict
        Of the fit: its `folder`, and `files` with path, name, rules and run folder.

    Returns
    -------
    list of str
        Each once, that of the run the fit is about first.
    """
    own = [file[3] for file in options["files"]]
    return list(dict.fromkeys([*(f for f in own if f == options["folder"]), *own]))


def experiments_of(options: dict[str, Any]) -> tuple[Experiment, ...]:
    """The cases of a fit with what was measured on each.

    Parameters
    ----------
    options : dict
        As for `folders_of`.

    Returns
    -------
    tuple of Experiment
        In the order of `folders_of`.

    Raises
    ------
    MeasurementError
        One line for a table that cannot be used.
    """
    read: dict[str, list[Measurement]] = {folder: [] for folder in folders_of(options)}
    cases = {folder: case_of_run(folder) for folder in read}
    for path, name, rules, folder in options["files"]:
        read[folder].append(read_one(path, name, cases[folder], rules))
    return tuple(Experiment(cases[folder], tuple(found)) for folder, found in read.items())


def check_fit(options: dict[str, Any], tell: Tell | None = None) -> dict[str, Any]:
    """Refuse a fit that cannot be made; a worker's task.

    Parameters
    ----------
    options : dict
        Of the fit, see `folders_of`.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `unknowns`: how many; `columns`: what was measured; `cases`: titles of all cases.

    Raises
    ------
    CaseError
        One line where a value cannot vary in one of the cases.
    MeasurementError
        One line where no table belongs to the run itself, or one cannot be used.
    """
    own = case_of_run(options["folder"])
    if options["folder"] not in folders_of(options):
        raise MeasurementError(f"measured: no table belongs to the run of {own.title}: choose one")
    unknowns = varied(own, options)
    experiments = experiments_of(options)
    for experiment in experiments[1:]:
        for ends in ([u.low for u in unknowns], [u.high for u in unknowns]):
            try:
                with_values(experiment.case, unknowns, ends)
            except CaseError as error:
                text = str(error).splitlines()[0].replace(f"{experiment.case.source_file} ", "")
                raise CaseError(f"{experiment.case.title}: {text}") from None
    columns = [c.column.name for e in experiments for m in e.measurements for c in m.curves]
    held = options.get("hold_back")
    if held and held not in columns:
        raise MeasurementError(f"hold back: {held!r} was not measured: {', '.join(columns)}")
    return {
        "unknowns": len(unknowns), "columns": columns,
        "cases": [e.case.title for e in experiments],
    }  # fmt: skip
