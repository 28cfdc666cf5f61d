"""What a run came to, computed just now or read from a folder: one kind of record for both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from weldsim.case.load import Case, parse_case
from weldsim.errors import StoreError
from weldsim.physics.energy_balance import EnergyBalance
from weldsim.runs.checkpoints import last_checkpoint
from weldsim.runs.error_estimate import UNDETERMINED, ErrorEstimate, error_of_run
from weldsim.runs.fields import Fields, FieldSeries
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.reading import PENDING, RunRecord, read_run, read_source
from weldsim.schema.column import Readings
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import build_model

if TYPE_CHECKING:
    import pyvista
    import skfem

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Arc:
    """When the arc of a weld burned.

    Attributes
    ----------
    weld : str
        Its name.
    start : float
        [s]
    end : float or None
        None while it burns. [s]
    """

    weld: str
    start: float
    end: float | None


class Source(Protocol):
    """Where a result has the rest from: what is heavy, and got only when asked for."""

    def case(self) -> Case:
        """The case."""
        ...

    def model(self) -> Model:
        """Meshes and solvers of the case."""
        ...

    def state(self) -> State:
        """The last state."""
        ...

    def record(self, gauges: GaugeTable) -> RunRecord:
        """The run as texts and pictures read it."""
        ...

    def estimate(self, ends: GaugeTable, progress: Progress | None) -> ErrorEstimate:
        """Errors of the end readings in SI."""
        ...


@dataclass(frozen=True, eq=False, repr=False)
class Result:
    """A run: readings, fields, books. Treat as immutable.

    Attributes
    ----------
    title : str
        Of the case.
    grade : str
        How fine it was computed.
    gauges : GaugeTable
        Arrays by (gauge, component) in SI; `gauges.times` are their times. [rad, m, K, N, N m]
    frames : FieldSeries
        Fields at the moments that were kept.
    timetable : tuple of Arc
        When each arc burned. [s]
    balance : EnergyBalance or None
        Heat supplied, lost and stored; None of a run that is not complete. [J]
    warnings : tuple of str
        Where the result leaves the ground it stands on.
    source : Source
        Gives case, model, last state and error estimate when they are asked for.
    path : Path or None
        The run folder; None of a run that is in memory alone.
    status : str
        `complete`, or how far the run of a folder is: `running`, `stopped`, `failed`.
    """

    title: str
    grade: str
    gauges: GaugeTable
    frames: FieldSeries
    timetable: tuple[Arc, ...]
    balance: EnergyBalance | None
    warnings: tuple[str, ...]
    source: Source
    path: Path | None = None
    status: str = "complete"

    @property
    def times(self) -> Any:
        """Times of the readings, shape (N,). [s]"""
        return self.gauges.times

    @cached_property
    def case(self) -> Case:
        """The case that was run."""
        return self.source.case()

    @cached_property
    def model(self) -> Model:
        """Meshes and solvers; of a folder they are built when first asked for."""
        return self.source.model()

    @cached_property
    def state(self) -> State:
        """The last state; another run may start from it (`solve(..., start=result)`)."""
        return self.source.state()

    @cached_property
    def record(self) -> RunRecord:
        """The run as texts and pictures read it: names and units of gauges.csv."""
        return self.source.record(self.gauges)

    @cached_property
    def mesh(self) -> skfem.Mesh:
        """The scikit-fem mesh that the fields live on. [m]"""
        return self.frames[0].mesh if len(self.frames) else self.model.part.heat_mesh

    def at(self, time: float) -> Fields:
        """The fields that were kept nearest to a time; nothing is interpolated.

        Parameters
        ----------
        time : float
            [s]

        Returns
        -------
        Fields
            Their own moment is `Fields.time`.

        Raises
        ------
        ValueError
            If the run kept no fields.
        """
        return self.frames.nearest(time)

    def to_pyvista(self, time: float | None = None) -> pyvista.UnstructuredGrid:
        """Fields as a PyVista grid; see `Fields.to_pyvista`.

        Parameters
        ----------
        time : float, optional
            The fields kept nearest to it; the last ones when left out. [s]

        Returns
        -------
        pyvista.UnstructuredGrid
            Names of its arrays end with their units.

        Raises
        ------
        SetupError
            If PyVista is not installed.
        ValueError
            If the run kept no fields.
        """
        return self.at(float("inf") if time is None else time).to_pyvista()

    def error_estimate(self, progress: Progress | None = None) -> ErrorEstimate:
        """Estimated discretisation error of every end reading, from a run one grade coarser.

        Computed once; taken from the folder where the run was read with one.

        Parameters
        ----------
        progress : callable(share, text), optional
            Told how far the coarser run is.

        Returns
        -------
        ErrorEstimate
            Its `values` by column are in SI. An estimate, no bound.
        """
        kept = self.__dict__.get("_estimate")
        if kept is None:
            kept = self.source.estimate(self.gauges, progress)
            self.__dict__["_estimate"] = kept
        return kept

    def __repr__(self) -> str:
        where = f" in {self.path}" if self.path else ""
        return (
            f"Result of {self.title!r} at grade {self.grade}{where}: {self.status}, "
            f"{self.times[-1]:.4g} s, {len(self.gauges)} readings, {len(self.frames)} fields kept"
        )


@dataclass(frozen=True)
class FolderSource:
    """The rest of a result from its run folder.

    Attributes
    ----------
    kept : RunRecord
    threads : int or None
    """

    kept: RunRecord
    threads: int | None = None

    def case(self) -> Case:
        """The case as it was written."""
        kept = read_source(self.kept.path)
        return parse_case(kept["source"], kept["source_file"], kept["overrides"])

    def model(self) -> Model:
        """Meshed and factored anew."""
        return build_model(self.case(), self.kept.grade, self.threads)

    def state(self) -> State:
        """Of the last checkpoint."""
        found = last_checkpoint(self.kept.path)
        if found is None:
            raise StoreError(f"{self.kept.path}: holds no state: resume the run or run it anew")
        return State.from_arrays(found[0])

    def record(self, gauges: GaugeTable) -> RunRecord:
        """As it was read."""
        return self.kept

    def estimate(self, ends: GaugeTable, progress: Progress | None) -> ErrorEstimate:
        """As run.json states it, or from a coarser run where it states none."""
        stated = self.kept.manifest.get("error_estimate") or {}
        if stated.get("values"):
            known = {c: stated["values"].get(c.name) for c in ends}
            values = {c: v / c.factor for c, v in known.items() if v is not None}
            return ErrorEstimate(Readings(values), stated["how"])
        if stated.get("how") == UNDETERMINED:
            return ErrorEstimate(how=UNDETERMINED)
        if not self.kept.complete or stated.get("how", PENDING).startswith("a look"):
            return ErrorEstimate(how=stated.get("how") or "no estimated error: not complete")
        case = self.case()
        gauges = {g.name for g in case.gauges}
        own = {c: v for c, v in ends.end.items() if c.gauge in gauges}
        return error_of_run(case, self.kept.grade, own, self.threads, progress)


def read_result(folder: str | Path, threads: int | None = None) -> Result:
    """Read a run folder; an unfinished run gives what its last checkpoint knows.

    Parameters
    ----------
    folder : path
        A run folder, also one whose run is under way.
    threads : int, optional
        For what has to be computed on the way: model and error estimate.

    Returns
    -------
    Result
        With `Result.path` and `Result.status`.

    Raises
    ------
    StoreError
        If it is no run folder, holds no readings yet, or is of a format this version does not
        know.
    """
    record = read_run(folder)
    arcs = tuple(Arc(a["name"], a["start"], a["end"]) for a in record.manifest.get("timetable", ()))
    books = record.manifest.get("balances")
    balance = books and EnergyBalance(
        books["heat_supplied_J"], books["heat_lost_J"], books["heat_stored_J"]
    )
    return Result(
        title=record.title,
        grade=record.grade,
        gauges=record.table,
        frames=FieldSeries.of_files(record.frames),
        timetable=arcs,
        balance=balance or None,
        warnings=tuple(str(w) for w in record.manifest.get("warnings", ())),
        source=FolderSource(record, threads),
        path=record.path,
        status=str(record.manifest.get("status", "running")),
    )
