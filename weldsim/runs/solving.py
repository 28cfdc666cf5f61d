"""A case computed in memory, nothing written; and a case run into a folder and read back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.runs.error_estimate import (
    UNDETERMINED,
    ErrorEstimate,
    estimate_error,
    grade_below,
    how_of_run,
)
from weldsim.runs.fields import Fields, FieldSeries
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.journal import FRAMES, FrameClock
from weldsim.runs.manifest import manifest_of, timetable
from weldsim.runs.reading import RunRecord
from weldsim.runs.result import Arc, Progress, Result, read_result
from weldsim.runs.runner import RunOptions, resume_case, run_case
from weldsim.runs.summary import summarise
from weldsim.runs.warnings import warnings_of
from weldsim.schema.column import Column, Readings
from weldsim.simulation.frame import Frame, field_frame
from weldsim.simulation.measures import PartingWatch
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import build_model, simulate, start_state
from weldsim.system.device import asking_for


@dataclass(frozen=True)
class OwnGauge:
    """A gauge of one's own: a number read off the fields of every step.

    Attributes
    ----------
    name : str
        As a case would name it; its readings are found under it.
    component : str
        What it reads, such as "travel".
    unit : str
        Unit its readings are shown in, one of `weldsim.schema.column.DISPLAY_UNITS`: "mm", "mrad",
        "degC", "N" or "Nm".
    read : callable(Fields) -> float
        Gives the reading in SI. [m, rad, K, N, N m]
    """

    name: str
    component: str
    unit: str
    read: Callable[[Fields], float]

    @property
    def column(self) -> Column:
        """The column its readings go to."""
        return Column(self.name, self.component, self.unit)


def solve(
    case: Case,
    grade: str | None = None,
    *,
    start: Result | None = None,
    gauges: Sequence[OwnGauge] = (),
    frames: int | None = FRAMES,
    threads: int | None = None,
    progress: Progress | None = None,
    device: str | None = None,
) -> Result:
    """Compute a case in memory; nothing is written.

    Parameters
    ----------
    case : Case
        From `load_case`, or another one's `with_changes`.
    grade : str, optional
        How fine: "sketch", "coarse", "quick", "normal" or "fine"; the case's own when left out.
    start : Result, optional
        Go on from where this run ended, instead of from the start: of a case with the same part and
        the same welds up to there, at the same grade. The readings go on too.
    gauges : sequence of OwnGauge, optional
        Read besides those of the case.
    frames : int or None
        About how many moments keep their fields, besides the first, the last and the first
        step of every phase; None keeps every step, 0 the last alone. A moment takes some 50
        bytes a point of the mesh.
    threads : int, optional
        Of the solver; `WELDSIM_THREADS`, else up to four, when left out.
    progress : callable(share, text), optional
        Told after each step how far the work is, 0 to 1.
    device : {'auto', 'cpu', 'gpu'}, optional
        Where to compute; `WELDSIM_DEVICE`, else a graphics card where there is one.

    Returns
    -------
    Result
        In memory; `Result.path` is None.

    Raises
    ------
    CaseError
        If `start` is of a part meshed otherwise, or a gauge of one's own is named like another.
    WeldsimError
        What the mesh, the physics or a solver refuses.

    Examples
    --------
    >>> case = load_case("cases/pivot_arm_one_bead.toml", {"solve.end": "20 s"})
    >>> result = solve(case, grade="sketch")  # doctest: +SKIP
    >>> result.gauges["pointer", "up"][-1]  # rad  # doctest: +SKIP
    """
    with asking_for(device):
        model = build_model(case, grade, threads)
    return _solve(model, start, gauges, frames, threads, progress)


def _solve(
    model: Model,
    start: Result | None,
    gauges: Sequence[OwnGauge],
    frames: int | None,
    threads: int | None,
    progress: Progress | None,
) -> Result:
    state = start_state(model) if start is None else _state_of(start, model)
    taken = _Readings(model, tuple(gauges))
    clock = FrameClock(model, frames)
    kept: list[Frame] = []
    watch, retries = PartingWatch(model), 0
    parted: tuple[float, str] | tuple[()] = ()
    hinged: tuple[float, str] | tuple[()] = ()
    taken.add(state)
    if frames != 0:
        kept.append(field_frame(model, state))
    for step in simulate(model, state):
        state = step.state
        retries += step.retries
        if not parted and watch.parts(state):
            parted = (step.time, step.phase)
        if not hinged and watch.hinges(state):
            hinged = (step.time, step.phase)
        taken.add(state)
        if clock.due(step):
            kept.append(field_frame(model, state))
        if progress is not None:
            progress(step.progress, f"{step.phase}, {step.time:.0f} s")
    if not kept or kept[-1].time != state.time:
        kept.append(field_frame(model, state))
    case = model.case
    warnings = tuple(warnings_of(model, state, retries, parted, hinged))
    return Result(
        title=case.title,
        grade=model.grade.name,
        gauges=taken.table(),
        frames=FieldSeries.of_frames(kept, model.part.heat_mesh),
        timetable=tuple(Arc(a["name"], a["start"], a["end"]) for a in timetable(model, state)),
        balance=state.energy_balance,
        warnings=warnings,
        source=MemorySource(model, state, warnings, tuple(gauges), threads, not hinged),
    )


class _Readings:
    """Readings of the case's gauges and of one's own, gathered step by step."""

    def __init__(self, model: Model, own: tuple[OwnGauge, ...]) -> None:
        self._model, self._own = model, own
        self._times: list[float] = []
        self._rows: list[Readings] = []
        taken = {g.name for g in model.case.gauges}
        for gauge in own:
            if gauge.name in taken:
                raise CaseError(
                    f"gauge {gauge.name}: the name is taken, allowed: any but "
                    f"{', '.join(sorted(taken))}"
                )

    def add(self, state: State) -> None:
        model = self._model
        row = {**model.read(state), **model.weld_temperatures(state)}
        if self._own:
            fields = Fields.of_state(model, state)
            row |= {gauge.column: float(gauge.read(fields)) for gauge in self._own}
        self._times.append(state.time)
        self._rows.append(Readings(row))

    def table(self) -> GaugeTable:
        return GaugeTable.of_readings(self._times, self._rows)


def _state_of(start: Result, model: Model) -> State:
    """The last state of a run, as one of a model whose case goes on otherwise."""
    state = start.state
    if state.temperature.shape[0] != model.heat.points.shape[0] or len(state.starts) != len(
        model.case.welds
    ):
        raise CaseError(
            f"{model.case.source_file}: cannot start from {start!r}: its part is meshed otherwise, "
            "allowed: a case of the same part and number of welds at the same grade"
        )
    return replace(state)


@dataclass(frozen=True)
class MemorySource:
    """The rest of a result that was computed in this process.

    Attributes
    ----------
    kept_model : Model
    kept_state : State
    warnings : tuple of str
    own : tuple of OwnGauge
    threads : int or None
    determined : bool
        False where a cross-section bent like a hinge.
    """

    kept_model: Model
    kept_state: State
    warnings: tuple[str, ...] = ()
    own: tuple[OwnGauge, ...] = ()
    threads: int | None = None
    determined: bool = True

    def case(self) -> Case:
        """The case that was solved."""
        return self.kept_model.case

    def model(self) -> Model:
        """The model that was solved."""
        return self.kept_model

    def state(self) -> State:
        """The last state."""
        return self.kept_state

    def record(self, gauges: GaugeTable) -> RunRecord:
        """As the folder of this run would read."""
        model, state = self.kept_model, self.kept_state
        manifest = manifest_of(model, state, "complete")
        manifest["warnings"] = list(self.warnings)
        shown = gauges.display()
        summary = summarise(shown, manifest["timetable"], model.case, None, model.material.solidus)
        return RunRecord(Path(), manifest, shown, summary)

    def estimate(self, ends: GaugeTable, progress: Progress | None) -> ErrorEstimate:
        """Compute the case once more one grade coarser, where that says anything."""
        if not self.determined:
            return ErrorEstimate(how=UNDETERMINED)
        grade = self.kept_model.grade.name
        coarser = grade_below(grade)
        welds = {w.name for w in self.kept_model.case.welds}
        own = {c: v for c, v in ends.end.items() if (c.gauge, c.component) not in
               {(w, "middle") for w in welds}}  # fmt: skip

        def run_at(name: str) -> Mapping[Column, float]:
            return solve(
                self.kept_model.case, name, gauges=self.own, frames=0, threads=self.threads,
                progress=progress,
            ).gauges.end  # fmt: skip

        found = estimate_error(own, coarser, run_at)
        if coarser is None or found.trouble:
            return found
        return replace(found, how=how_of_run(grade, coarser))


def run(
    case: Case,
    out: str | Path | None = None,
    *,
    error_estimate: bool | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
    device: str | None = None,
) -> Result:
    """Run a case into a new folder, as `weldsim run` does, and read it back.

    Parameters
    ----------
    case : Case
        At the grade it states: ``case.with_changes({"solve.grade": "quick"})``.
    out : path, optional
        Folder to make; a dated one under runs/ when left out.
    error_estimate : bool, optional
        Also run one grade coarser for the error estimate; the case decides when left out.
    threads : int, optional
        Of the solver.
    progress : callable(share, text), optional
        Told after each step.
    device : {'auto', 'cpu', 'gpu'}, optional
        Where to compute; `WELDSIM_DEVICE`, else a graphics card where there is one.

    Returns
    -------
    Result
        What `read_run` gives of the folder, which is `Result.path`.

    Raises
    ------
    StoreError
        If the folder holds something, or cannot be written.
    WeldsimError
        What went wrong; the folder then says `failed` and keeps its last checkpoint.
    """
    options = _options(error_estimate, threads, progress)
    with asking_for(device):
        return read_result(run_case(case, out, options), threads)


def resume(
    folder: str | Path,
    *,
    error_estimate: bool | None = None,
    threads: int | None = None,
    progress: Progress | None = None,
    device: str | None = None,
) -> Result:
    """Go on with a stopped, failed or killed run, as `weldsim run --resume` does.

    Parameters
    ----------
    folder : path
        Of the run.
    error_estimate : bool, optional
        As the run was begun when left out.
    threads : int, optional
        Of the solver.
    progress : callable(share, text), optional
        Told after each step.
    device : {'auto', 'cpu', 'gpu'}, optional
        Where to compute; `WELDSIM_DEVICE`, else a graphics card where there is one.

    Returns
    -------
    Result
        What `read_run` gives of the folder.

    Raises
    ------
    StoreError
        If it is no run folder, or nothing is left to do in it.
    """
    options = _options(error_estimate, threads, progress)
    with asking_for(device):
        return read_result(resume_case(folder, options), threads)


def _options(
    error_estimate: bool | None, threads: int | None, progress: Progress | None
) -> RunOptions:
    silent = RunOptions()
    return replace(
        silent, error_estimate=error_estimate, threads=threads, progress=progress or silent.progress
    )
