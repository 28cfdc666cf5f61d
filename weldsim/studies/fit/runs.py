"""Runs of a fit: the gauges of a case under values of its unknowns, each kept in a file."""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldsim import __version__
from weldsim.case.load import Case, parse_case
from weldsim.errors import StoreError, WeldsimError
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column
from weldsim.simulation.steps import build_model, simulate, start_state
from weldsim.studies.fit.unknowns import Unknown, with_values
from weldsim.studies.plan.executor import carry_out, open_executor
from weldsim.system.files import whole_file
from weldsim.system.threads import cores

Floats = NDArray[np.float64]

_ONE = threading.Lock()  # a worker of a cluster may have several threads; one run at a time
REVISION = 2  # of what a run here computes; raise it when results change


class PointJob(NamedTuple):
    """One run, as a worker process is handed it.

    Attributes
    ----------
    name : str
        Of its file.
    text, source_file : str
        Of the case.
    changes : tuple of str
        To the case.
    grade : str
        How fine.
    path : str
        Where its curves are to lie.
    until : float or None
        The run may end there: nothing was measured later. [s]
    """

    name: str
    text: str
    source_file: str
    changes: tuple[str, ...]
    grade: str
    path: str
    until: float | None


def run_point(job: PointJob) -> dict[str, object]:
    """Carry out one run in a worker.

    Parameters
    ----------
    job : PointJob
        What to run.

    Returns
    -------
    dict
        Its name, and "error" in words where it failed.
    """
    with _ONE:
        return _run_point(job)


def _run_point(job: PointJob) -> dict[str, object]:
    try:
        case = parse_case(job.text, job.source_file, job.changes)
        model = build_model(case, job.grade, 1)
        start = start_state(model)
        times, rows = [start.time], [model.read(start)]
        arc_end = np.nan
        for state in simulate(model):
            times.append(state.time)
            rows.append(state.gauges)
            if state.phase.startswith("weld "):
                arc_end = state.time
            if job.until is not None and state.time > job.until:
                break
        table = GaugeTable.of_readings(times, rows)
        write_curves(Path(job.path), table, arc_end)
    except WeldsimError as error:
        return {"name": job.name, "error": str(error).splitlines()[0]}
    return {"name": job.name}


def write_curves(path: Path, table: GaugeTable, arc_end: float = np.nan) -> None:
    """Keep curves in a file.

    Parameters
    ----------
    path : Path
        Whole or not at all; its folder is made.
    table : GaugeTable
        Of the run.
    arc_end : float, optional
        When the last arc went out. [s]
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    names = np.array([(c.gauge, c.component, c.unit) for c in table.columns])
    with whole_file(path) as beside, open(beside, "wb") as handle:
        np.savez(handle, times=table.times, values=table.array, names=names, arc_end=arc_end)


def read_curves(path: Path) -> GaugeTable:
    """Curves that were kept.

    Parameters
    ----------
    path : Path
        From `write_curves`.

    Returns
    -------
    GaugeTable
        In SI.

    Raises
    ------
    StoreError
        If the file is damaged.
    """
    try:
        with np.load(path, allow_pickle=False) as kept:
            columns = [Column(*map(str, row)) for row in kept["names"]]
            return GaugeTable(columns, kept["times"], kept["values"])
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreError(f"{path}: damaged ({error}); delete it and resume") from None


def read_arc_end(path: Path) -> float:
    """When the last arc of a run went out.

    Parameters
    ----------
    path : Path
        From `write_curves`.

    Returns
    -------
    float
        nan where the file does not say. [s]
    """
    with np.load(path, allow_pickle=False) as kept:
        return float(kept["arc_end"]) if "arc_end" in kept else float("nan")


class RunStore:
    """Runs of one case of a fit, kept by what they depend on.

    Parameters
    ----------
    folder : Path
        Of the study; runs lie in its folder "points".
    case : Case
        With the unknowns as it states them.
    unknowns : tuple of Unknown
        That vary.
    until : float, optional
        Nothing was measured later. [s]
    """

    def __init__(
        self, folder: Path, case: Case, unknowns: tuple[Unknown, ...], until: float | None = None
    ) -> None:
        self.folder, self.case, self.unknowns, self.until = folder, case, unknowns, until

    def job(self, values: Sequence[float], grade: str) -> PointJob:
        """The run of some values.

        Parameters
        ----------
        values : sequence of float
            One an unknown. [SI]
        grade : str
            How fine.

        Returns
        -------
        PointJob
            Named after all it depends on.
        """
        case = with_values(self.case, self.unknowns, values)
        resolved = {k: v for k, v in case.resolved.items() if k != "title"}
        seed = [__version__, REVISION, resolved, grade, self.until]
        name = hashlib.sha256(json.dumps(seed, default=str).encode()).hexdigest()[:24]
        path = self.folder.absolute() / "points" / f"{name}.npz"  # a worker may sit elsewhere
        return PointJob(
            name,
            case.source_text,
            case.source_file,
            tuple(case.overrides),
            grade,
            str(path),
            self.until,
        )


def carry_out_points(
    jobs: Iterable[PointJob],
    workers: int | None,
    progress: Callable[[float, str], None] | None = None,
    cluster: str | None = None,
) -> dict[str, str]:
    """Carry out runs that are not there yet, on all cores or on a cluster.

    Parameters
    ----------
    jobs : iterable of PointJob
        Those kept already are passed over.
    workers : int, optional
        Processes; one a core when left out.
    progress : callable, optional
        Told the share done, and words.
    cluster : str, optional
        Address of a Dask scheduler, or "local"; its workers must see the study's folder under the
        same path.

    Returns
    -------
    dict of str to str
        Name -> why it failed, of those that did.

    Raises
    ------
    SetupError
        If Dask is not installed, or no scheduler answers.
    """
    wanted = {j.name: j for j in jobs}
    missing = [j for j in wanted.values() if not Path(j.path).is_file()]
    failed: dict[str, str] = {}
    if not missing:
        return failed
    done = 0

    def told(record: dict[str, object]) -> None:
        nonlocal done
        done += 1
        if "error" in record:
            failed[str(record["name"])] = str(record["error"])
        if progress:
            progress(done / len(missing), f"{done} of {len(missing)} runs")

    if workers == 1 and not cluster:
        for job in missing:
            told(run_point(job))
        return failed
    count = min(workers or cores(), len(missing))
    with open_executor(count, cluster, run_point) as executor:
        carry_out(executor, missing, {}, told)
    return failed
