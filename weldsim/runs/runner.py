"""A case carried out into a run folder: steps, books, verdicts, then the error estimate.

The loop is around the pure `simulate`; all files go through `RunFolder`. A run is complete and all
its files are written before the coarser run for the error estimate begins: whatever becomes of
that one, what was computed stands.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from weldsim.case.load import Case, parse_case
from weldsim.errors import StoreError, WeldsimError
from weldsim.geometry.grades import BALANCE_CHANGES
from weldsim.physics.back_ends import slow_solver_note
from weldsim.runs.error_estimate import (
    NOT_ASKED,
    UNDETERMINED,
    ErrorEstimate,
    companion_grade,
    error_of_run,
)
from weldsim.runs.folder import RunFolder
from weldsim.runs.journal import CHECKPOINT_SECONDS, Journal
from weldsim.runs.manifest import balances, peak_memory, solver_record, timetable
from weldsim.runs.reading import (
    MANIFEST,
    PENDING,
    SUMMARY,
    read_manifest,
    read_run,
    read_source,
)
from weldsim.runs.stored import read_stored
from weldsim.runs.stored_records import StoredSummary
from weldsim.runs.stress_summary import locked_in
from weldsim.runs.summary import NO_TOLERANCE, summarise
from weldsim.runs.verdicts import judge
from weldsim.runs.warnings import warnings_of
from weldsim.schema.column import Column
from weldsim.simulation.model import Model
from weldsim.simulation.step_limit import check_arc_steps
from weldsim.simulation.steps import build_model, simulate

STEPS_SHARE = 0.9  # of the progress, where a coarser run follows


def _silent(*_: Any) -> None:
    """Tells nobody."""


@dataclass(frozen=True)
class RunOptions:
    """How a case is run into a folder.

    Attributes
    ----------
    error_estimate : bool or None
        Also run one grade coarser for the error estimate; None: as the case says, or as the run
        was begun.
    threads : int or None
    checkpoint_seconds : float
        Wall time between checkpoints. [s]
    progress : callable(share, text)
        Told after each step how far the work is, 0 to 1.
    notice : callable(text)
        Told before the steps what makes this run slower than it could be.
    """

    error_estimate: bool | None = None
    threads: int | None = None
    checkpoint_seconds: float = CHECKPOINT_SECONDS
    progress: Callable[[float, str], None] = _silent
    notice: Callable[[str], None] = _silent


def run_case(case: Case, out: str | Path | None = None, options: RunOptions = RunOptions()) -> Path:
    """Run a case into a new folder.

    Parameters
    ----------
    case : Case
    out : path, optional
        Folder to make; a dated one under runs/ when left out.
    options : RunOptions, optional

    Returns
    -------
    pathlib.Path
        The run folder.

    Raises
    ------
    WeldsimError
        What went wrong; the folder then says `failed` and keeps its last checkpoint. A coarser run
        that fails is a warning of a complete run.
    """
    model, built = _model(case, options)  # before anything is written: a part may refuse to mesh
    asked = options.error_estimate
    estimate = case.solve.error_estimate if asked is None else asked
    folder = RunFolder.create(out, case.title)
    with folder.kept_by_one():
        folder.write_json("case.json", _case_record(case, estimate))
        _compute(model, folder, built, estimate, options, resumed=False)
    return folder.path


def resume_case(path: str | Path, options: RunOptions = RunOptions()) -> Path:
    """Go on with the run of a folder: with its steps, or with the error estimate it still lacks.

    Parameters
    ----------
    path : path
        Folder of a stopped, failed or killed run.
    options : RunOptions, optional

    Raises
    ------
    StoreError
        If `path` is no run folder, nothing is left to do in it, or another process works on it.
    WeldsimError
        See `run_case`.
    """
    with RunFolder.open(path).kept_by_one():
        return _resume(RunFolder.resume(path), options)


def _resume(folder: RunFolder, options: RunOptions) -> Path:
    kept = read_source(folder.path)
    case = parse_case(kept["source"], kept["source_file"], kept["overrides"])
    asked = options.error_estimate
    estimate = kept["error_estimate"] if asked is None else asked
    if folder.status == "complete":
        _companion(case, folder, estimate, options)
        return folder.path
    model, built = _model(case, options)
    _tell_of_other_bits(folder, model, options)
    _compute(model, folder, built, estimate, options, resumed=True)
    return folder.path


def _model(case: Case, options: RunOptions) -> tuple[Model, float]:
    """The model of a case, and how long it took to build. [s]"""
    options.progress(0.0, "meshing")
    began = time.perf_counter()
    model = build_model(case, None, options.threads)
    check_arc_steps(model)
    built = time.perf_counter() - began
    slow = slow_solver_note(model.mechanics.solver.name)
    if slow and model.mechanics.card is None:
        options.notice(slow)
    return model, built


def _tell_of_other_bits(folder: RunFolder, model: Model, options: RunOptions) -> None:
    """Notice where the solver computes otherwise than when the run began."""
    now_by, manifest = solver_record(model), read_manifest(folder.path)
    before = manifest.get("solver"), manifest.get("instructions", "")
    now = now_by["solver"], now_by["instructions"]
    if before != now:
        was, is_ = (" with ".join(part for part in parts if part) for parts in (before, now))
        options.notice(
            f"The run began on {was} and is resumed on {is_}: its last digits may differ from "
            "those of a run that was never stopped"
        )


def _case_record(case: Case, estimate: bool) -> dict[str, Any]:
    return {
        "source": case.source_text,
        # whole path: a material beside the case is found again from any folder
        "source_file": str(Path(case.source_file).resolve()),
        "overrides": list(case.overrides),
        "error_estimate": bool(estimate),
    }


def _compute(
    model: Model,
    folder: RunFolder,
    built: float,
    estimate: bool,
    options: RunOptions,
    resumed: bool,
) -> None:
    """March to the end, write all files, then estimate the error."""
    journal = Journal(folder, model, options.checkpoint_seconds)
    estimated = estimate and companion_grade(model.case.solve.grade) is not None
    try:
        _march(journal, options, STEPS_SHARE if estimated else 1.0, resumed)
        if journal.record.hinged:
            estimated = False
        why_not = UNDETERMINED if journal.record.hinged else NOT_ASKED
        _finish(journal, built, PENDING if estimated else why_not)
    except KeyboardInterrupt as stop:
        stop.run_folder = folder.path  # type: ignore[attr-defined]  # who asked tells its name
        _tell_the_end(journal, options, "stopped")
        raise
    except WeldsimError as error:
        _tell_the_end(journal, options, "failed", str(error))
        raise
    except Exception as error:
        # a mistake of ours: its traceback goes on, and the folder does not say "running" for ever
        _tell_the_end(journal, options, "failed", f"unexpected: {type(error).__name__}: {error}")
        raise
    if estimated:
        _companion(model.case, folder, True, options)


def _tell_the_end(journal: Journal, options: RunOptions, status: str, error: str = "") -> None:
    """Write how a run ended; on a disk that takes nothing more the reader has to do without."""
    try:
        journal.tell(status, **({"error": error} if error else {}))
    except StoreError as refused:
        options.notice(f"{journal.folder.path} still says running, since {refused}")


def _march(journal: Journal, options: RunOptions, share: float, resumed: bool) -> None:
    """Steps until the case is over."""
    if not (resumed and journal.go_on()):
        journal.begin()
    journal.tell("running")
    try:
        for step in simulate(journal.model, journal.state, journal.kept):
            journal.add(step)
            options.progress(share * step.progress, f"{step.phase}, {step.time:.0f} s")
    except BaseException:
        try:
            journal.checkpoint()
        except StoreError as refused:  # what stopped the run counts more; the one before is there
            options.notice(f"no checkpoint of this moment: {refused}")
        raise
    journal.close()


def _finish(journal: Journal, built: float, how: str) -> None:
    """All files of a run whose steps are done; run.json says what the error estimate is still."""
    model, state, record, folder = journal.model, journal.state, journal.record, journal.folder
    table = record.table
    folder.write_gauges(table.display())
    interpass = {w.name: float(t) for w, t in zip(model.case.welds, state.interpass, strict=True)}
    arcs, solidus = timetable(model, state), model.material.solidus
    summary = summarise(table.display(), arcs, model.case, interpass, solidus)
    summary["locked_in"] = {**locked_in(model, state), "released": record.shown_releases}
    summary["tolerances"] = _tolerances(model.case, table.end.display(), {})
    folder.write_json(SUMMARY, summary)
    journal.tell(
        "complete",
        balances=balances(state, record.largest_gap),
        steps=state.steps,
        iterations=record.iterations,
        heat_iterations=record.heat_iterations,
        retries=record.retries,
        factorisations=record.factorisations,
        back_substitutions=record.back_substitutions,
        equilibrium={"tolerance": model.stepping.tolerance, "changes": BALANCE_CHANGES},
        stage_times={"mesh_s": built, "solve_s": record.seconds, "error_estimate_s": 0.0},
        simulated_s=state.time,
        peak_memory_MB=peak_memory(),
        error_estimate={"how": how, "values": {}},
        warnings=warnings_of(model, state, record.retries, record.parted, record.hinged),
    )


def _tolerances(
    case: Case, ends: Mapping[str, float], errors: Mapping[str, float]
) -> dict[str, Any]:
    """What summary.json says of tolerances: verdicts, or why there are none."""
    verdicts = judge(case.resolved["gauges"], ends, errors)
    return {"verdicts": verdicts, "reason": "" if verdicts else NO_TOLERANCE}


def _companion(case: Case, folder: RunFolder, estimate: bool, options: RunOptions) -> None:
    """Estimate the error of a complete run and write it, with the verdicts that hang on it."""
    ends = read_run(folder.path).table.end
    found = ErrorEstimate(how=NOT_ASKED)
    if estimate and companion_grade(case.solve.grade) is not None:
        gauges = {c: v for c, v in ends.items() if c.gauge in {g.name for g in case.gauges}}
        found = _estimated(case, gauges, folder, options)
    shown = {c.name: c.factor * v for c, v in found.values.items()}
    summary = read_stored(folder.path / SUMMARY, StoredSummary)
    manifest = read_manifest(folder.path)
    manifest["error_estimate"] = {"how": found.how, "values": shown}
    manifest["stage_times"]["error_estimate_s"] = found.seconds
    if found.trouble:
        manifest["warnings"].append(found.how)
    summary["tolerances"] = _tolerances(case, ends.display(), shown)
    folder.write_json(SUMMARY, summary)
    folder.write_json(MANIFEST, manifest)


def _estimated(
    case: Case, gauges: Mapping[Column, float], folder: RunFolder, options: RunOptions
) -> ErrorEstimate:
    def told(share: float, text: str) -> None:
        options.progress(STEPS_SHARE + (1 - STEPS_SHARE) * share, text)

    try:
        return error_of_run(case, case.solve.grade, gauges, options.threads, told)
    except KeyboardInterrupt as stop:
        stop.run_folder = folder.path  # type: ignore[attr-defined]  # who asked tells its name
        raise
