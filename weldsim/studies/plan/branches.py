"""The tree of schedules: each weld computed once for each distinct past.

A branch is a row of moves from the start; its state is the part just before the next arc may
strike (cold for the last one). Branches of one case lie in a folder, each as NAME.json (readings,
effort, or what went wrong) and, where something may follow, NAME.npz (the state, to the bit). Both
are written whole and renamed, so any number of workers may share the folder, and a branch that is
there is never computed again.
"""

from __future__ import annotations

import json
import threading
import time
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import BalanceError, ConvergenceError, StoreError, WeldsimError
from weldsim.joints.build import build_part
from weldsim.runs.state_files import read_state, write_state
from weldsim.runs.stress_summary import locked_in
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.state import State
from weldsim.simulation.steps import advance, next_event, start_state
from weldsim.studies.plan.mesh_file import read_mesh, write_mesh
from weldsim.studies.plan.space import Moves, Plan
from weldsim.studies.plan.symmetry import Symmetry, symmetries
from weldsim.system.files import read_file, whole_file

FOLDER = "branches"


@dataclass(frozen=True)
class Job:
    """One branch to compute, all that a worker needs.

    Attributes
    ----------
    folder : str
        Of the study.
    plan : Plan
    setting : int
        Number in `plan.settings`.
    grade : str
        Of the mesh and the steps.
    moves : tuple of (seam, direction)
        In its canonical form.
    name, parent : str
        Of this branch and of the one it goes on from ("" for the start).
    """

    folder: str
    plan: Plan
    setting: int
    grade: str
    moves: Moves
    name: str
    parent: str


REPEATABLE = (BalanceError, ConvergenceError)  # failures that would come again
MODELS_KEPT = 2  # in a worker, for studies of several settings
_ONE = threading.Lock()  # a model's solvers hold one factor at a time: one branch at a time
_BOUND: dict[tuple[str, str], Bound] = {}  # what a worker has meshed, by folder and identity


@dataclass(frozen=True)
class Bound:
    """A setting of a plan bound to a mesh, with its symmetries."""

    model: Model
    symmetries: tuple[Symmetry, ...]


def bind(job: Job) -> Bound:
    """The model of a job's setting and grade; meshed once a worker, the mesh shared by file."""
    plan, setting = job.plan, job.plan.settings[job.setting]
    key = (job.folder, plan.identity(setting, job.grade, ()))
    if key not in _BOUND:
        while len(_BOUND) >= MODELS_KEPT:
            _BOUND.pop(next(iter(_BOUND)))
        moves = tuple((s, next(iter(w))) for s, w in plan.words.items())
        path = Path(job.folder) / FOLDER / f"mesh-{key[1]}.npz"
        model = _model(plan.bound(setting, moves), job.grade, path)
        found = symmetries(model, plan.lines, plan.words, dict(moves)) if plan.lines else ()
        _BOUND[key] = Bound(model, found)
    return _BOUND[key]


def _model(case: Case, grade: str, path: Path) -> Model:
    """The model, its mesh taken from the study folder where another worker left it."""
    part = read_mesh(path)
    if part is None:
        part = build_part(case, grade)
        path.parent.mkdir(parents=True, exist_ok=True)
        write_mesh(path, part)
    return build_model(case, grade, part=part)


def run_branch(job: Job) -> dict[str, Any]:
    """Compute one branch and leave it in the folder; what is there already is only read.

    A failure of the computation is kept like a result. One of the machine (a full disk, a file that
    is gone) is told and not kept, so that the next attempt computes it.

    Returns
    -------
    dict
        The branch's record without its readings: name, seconds, iterations, error.
    """
    with _ONE:
        return _run_branch(job)


def _run_branch(job: Job) -> dict[str, Any]:
    path = Path(job.folder) / FOLDER / f"{job.name}.json"
    record, keep = read_branch(job.folder, job.name), True
    if record is None:
        began, worked = time.perf_counter(), time.process_time()
        try:
            record = _branch_run(job, path)
        except (WeldsimError, OSError) as error:
            record, keep = {"error": str(error).splitlines()[0]}, isinstance(error, REPEATABLE)
        record |= {
            "name": job.name, "moves": [list(m) for m in job.moves], "grade": job.grade,
            "seconds": time.perf_counter() - began,
            "processor_seconds": time.process_time() - worked,
        }  # fmt: skip
        if keep:
            _write(path, json.dumps(record).encode())
    return {k: v for k, v in record.items() if k not in ("readings", "times")}


def _branch_run(job: Job, path: Path) -> dict[str, Any]:
    bound, plan = bind(job), job.plan
    rest = tuple((s, next(iter(w))) for s, w in plan.words.items())
    done = {s for s, _ in job.moves}
    whole = (*job.moves, *(m for m in rest if m[0] not in done))
    model = bound.model.for_case(plan.bound(plan.settings[job.setting], whole))
    upto = stretches(model.case, whole, len(job.moves))
    last = len(job.moves) == len(whole)
    state = _parent_state(job) if job.parent else start_state(model)
    times, readings, iterations, retries, force = [], [], 0, 0, 0.0
    views = bound.symmetries or (None,)
    kept = None  # of this branch alone: who shares its parent grows from the state, not the factor
    while (event := next_event(model, state)) is not None:
        if event.kind == "weld" and event.weld >= upto and not last:
            break
        state, effort = advance(model, state, event, kept)
        kept = effort.kept
        iterations += effort.iterations
        retries += effort.retries
        force = max(force, largest_reaction(model, state))
        times.append(state.time)
        readings.append(
            [list(model.read(s.of_state(state) if s else state).values()) for s in views]
        )
    record = {
        "columns": [astuple(c) for c in model.read(state)], "times": times, "readings": readings,
        "iterations": iterations, "retries": retries, "reaction_N": force,
    }  # fmt: skip
    if last:
        stress = locked_in(model, state)
        record["stress_MPa"] = stress["mean_weld_zone_MPa"]
    else:
        write_state(path.with_suffix(".npz"), state)
    return record


def stretches(case: Case, moves: Moves, count: int) -> int:
    """Number of arc stretches before the move after `count` moves, tacks included."""
    seams = {s for s, _ in moves[:count]}
    return sum(1 for w in case.welds if w.tack >= 0 or w.seam in seams)


def largest_reaction(model: Model, state: State) -> float:
    """Largest force of a clamp on the part. [N]"""
    return max(
        (
            float(np.linalg.norm(state.reaction[model.clamp_points(c.name)].sum(axis=0)))
            for c in model.case.clamps
            if c.name in state.closed_clamps
        ),
        default=0.0,
    )


def read_branch(folder: str | Path, name: str) -> dict[str, Any] | None:
    """Record of a branch, None while it is not there."""
    path = Path(folder) / FOLDER / f"{name}.json"
    if not path.exists():
        return None
    try:
        return json.loads(read_file(path))
    except (ValueError, RecursionError) as error:
        raise StoreError(f"{path}: not a branch ({error}); delete it and plan again") from None


def _parent_state(job: Job) -> State:
    """State a branch goes on from; computed again where its file is gone or cut short."""
    try:
        return read_state(Path(job.folder) / FOLDER / f"{job.parent}.npz")
    except StoreError:
        pass
    plan, row = job.plan, job.moves[:-1]
    above = plan.identity(plan.settings[job.setting], job.grade, row[:-1]) if len(row) > 1 else ""
    parent = with_moves(job, row, job.parent, above)
    _branch_run(parent, Path(job.folder) / FOLDER / f"{job.parent}.json")
    return read_state(Path(job.folder) / FOLDER / f"{job.parent}.npz")


def _write(path: Path, data: bytes) -> None:
    """A file that is there whole or not at all, whoever else writes it."""

    path.parent.mkdir(parents=True, exist_ok=True)
    with whole_file(path) as beside:
        Path(beside).write_bytes(data)


def with_moves(job: Job, moves: Moves, name: str, parent: str) -> Job:
    """The same job for another row of moves."""
    return replace(job, moves=tuple(moves), name=name, parent=parent)
