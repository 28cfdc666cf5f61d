"""The tree of schedules: each weld computed once for each distinct past.

A branch is a row of moves from the start; its state is the part just before the next arc may
strike (cold for the last one). Branches of one case lie in a folder, each as NAME.json (readings,
effort, or what went wrong) and, where something may follow, NAME.npz (the state, to the bit). Both
are written whole and renamed, so any number of workers may share the folder, and a branch that is
there is never computed again.
"""

from __future__ import annotations

import json
import pickle
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from weldsim.errors import BalanceError, ConvergenceError, StoreError, WeldsimError
from weldsim.simulation.state import State
from weldsim.system.files import whole_file
from weldsim.system.threads import use_threads

FOLDER = "branches"


@dataclass(frozen=True)
class Job:
    """One branch to grow, all that a worker needs.

    Attributes
    ----------
    folder : study folder
    text, source_file, overrides : the plan's case
    setting : number of the setting
    grade : of the mesh and the steps
    moves : row of moves in its canonical form, each (seam, sense)
    name, parent : names of this branch and the one it grows from ("" for the start)
    """

    folder: str
    text: str
    source_file: str
    overrides: tuple
    setting: int
    grade: str
    moves: tuple
    name: str
    parent: str


LASTING = (BalanceError, ConvergenceError)  # failures that would come again
_ONE = threading.Lock()  # a model's solvers hold one factor at a time: one branch at a time
_BOUND: dict = {}  # what a worker has meshed: (folder, setting, grade) -> Bound


@dataclass(frozen=True)
class Bound:
    """A setting of a plan bound to a mesh, with its symmetries."""

    plan: object
    model: object
    symmetries: tuple


def bind(job: Job) -> Bound:
    """The model of a job's setting and grade; meshed once a worker, the mesh shared by file."""
    from weldsim.studies.plan.space import parse_plan
    from weldsim.studies.plan.symmetry import symmetries

    key = (job.folder, job.text, job.overrides, job.setting, job.grade)
    if key not in _BOUND:
        while len(_BOUND) > 1:
            _BOUND.pop(next(iter(_BOUND)))
        plan = parse_plan(job.text, job.source_file, job.overrides)
        setting = plan.settings[job.setting]
        moves = [(s, next(iter(w))) for s, w in plan.words.items()]
        model = _model(plan, setting, moves, job)
        found = symmetries(model, plan.lines, plan.words, dict(moves)) if plan.lines else ()
        _BOUND[key] = Bound(plan, model, found)
    return _BOUND[key]


def _model(plan, setting, moves, job: Job):
    """The model, its mesh taken from the study folder where another worker left it."""
    from weldsim.geometry.grades import GRADES
    from weldsim.joints.build import build_part
    from weldsim.materials.material import load_material
    from weldsim.simulation.model import Model

    case = plan.bound(setting, moves)
    threads = use_threads()
    path = Path(job.folder) / FOLDER / f"mesh-{plan.identity(setting, job.grade, ())}.pickle"
    part = None
    if path.exists():
        try:
            part = pickle.loads(path.read_bytes())
        except Exception:  # cut short by a crash of the machine: meshed anew
            part = None
    if part is None:
        part = build_part(case, job.grade)
        _write(path, pickle.dumps(part))
    return Model(case, part, load_material(case.material_path), GRADES[job.grade], threads)


def canonical(symmetries, moves) -> tuple[tuple, int]:
    """The least image of a row of moves, and the number of the symmetry that gives it.

    The beginning of a canonical row is canonical, since rows are compared move by move; so the
    images of a schedule share the branches of its canonical form.
    """
    if not symmetries:
        return tuple(moves), 0
    images = [s.of_moves(moves) for s in symmetries]
    best = min(range(len(images)), key=lambda i: images[i])
    return images[best], best


def run_branch(job: Job) -> dict:
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


def _run_branch(job: Job) -> dict:
    path = Path(job.folder) / FOLDER / f"{job.name}.json"
    record, keep = read_branch(job.folder, job.name), True
    if record is None:
        began = time.perf_counter()
        try:
            record = _branch_run(job, path)
        except (WeldsimError, OSError) as error:
            record, keep = {"error": str(error).splitlines()[0]}, isinstance(error, LASTING)
        record |= {
            "name": job.name, "moves": [list(m) for m in job.moves], "grade": job.grade,
            "seconds": time.perf_counter() - began,
        }  # fmt: skip
        if keep:
            _write(path, json.dumps(record).encode())
    return {k: v for k, v in record.items() if k not in ("readings", "times")}


def _branch_run(job: Job, path: Path) -> dict:
    from weldsim.simulation.steps import advance, next_event, start_state

    bound = bind(job)
    rest = tuple((s, next(iter(w))) for s, w in bound.plan.words.items())
    done = {s for s, _ in job.moves}
    whole = (*job.moves, *(m for m in rest if m[0] not in done))
    setting = bound.plan.settings[job.setting]
    model = bound.model.with_case(bound.plan.bound(setting, whole))
    upto = stretches(model.case, whole, len(job.moves))
    last = len(job.moves) == len(whole)
    state = _parent_state(job, bound) if job.parent else start_state(model)
    times, readings, iterations, retries, force = [], [], 0, 0, 0.0
    views = bound.symmetries or (None,)
    while (event := next_event(model, state)) is not None:
        if event.kind == "weld" and event.weld >= upto and not last:
            break
        state, effort = advance(model, state, event)
        iterations += effort["iterations"]
        retries += effort["retries"]
        force = max(force, largest_reaction(model, state))
        times.append(state.time)
        readings.append(
            [list(model.read(s.of_state(state) if s else state).display().values()) for s in views]
        )
    record = {
        "columns": [c.name for c in model.read(state)], "times": times, "readings": readings,
        "iterations": iterations, "retries": retries, "reaction_N": force,
    }  # fmt: skip
    if last:
        from weldsim.runs.stress_summary import locked_in

        held = locked_in(model, state)
        record["stress_MPa"] = held["mean_weld_zone_MPa"]
    else:
        _write_state(path.with_suffix(".npz"), state)
    return record


def stretches(case, moves, count: int) -> int:
    """Number of arc stretches before the move after `count` moves, tacks included."""
    seams = {s for s, _ in moves[:count]}
    return sum(1 for w in case.welds if w.tack >= 0 or (w.seam or w.name) in seams)


def largest_reaction(model, state) -> float:
    """Largest force of a clamp on the part. [N]"""
    return max(
        (
            float(np.linalg.norm(state.reaction[model.clamp_points(c.name)].sum(axis=0)))
            for c in model.case.clamps
            if c.name in state.closed_clamps
        ),
        default=0.0,
    )


def read_branch(folder, name: str) -> dict | None:
    """Record of a branch, None while it is not there."""
    path = Path(folder) / FOLDER / f"{name}.json"
    if not path.exists():
        return None
    try:
        return json.loads(path.read_text())
    except ValueError as error:
        raise StoreError(f"{path}: not a branch ({error}); delete it and plan again") from None


def _parent_state(job: Job, bound: Bound) -> State:
    """State a branch grows from; computed again where its file is gone or cut short."""
    try:
        return _read_state(job.folder, job.parent)
    except StoreError:
        pass
    plan, row = bound.plan, job.moves[:-1]
    above = plan.identity(plan.settings[job.setting], job.grade, row[:-1]) if len(row) > 1 else ""
    parent = with_moves(job, row, job.parent, above)
    _branch_run(parent, Path(job.folder) / FOLDER / f"{job.parent}.json")
    return _read_state(job.folder, job.parent)


def _read_state(folder, name: str) -> State:
    path = Path(folder) / FOLDER / f"{name}.npz"
    try:
        with np.load(path) as kept:
            return State.from_arrays({k: kept[k] for k in kept.files})
    except (OSError, ValueError, KeyError, EOFError, BadZipFile) as error:
        raise StoreError(f"{path}: state cannot be read ({error})") from None


def _write_state(path: Path, state: State) -> None:
    import io

    buffer = io.BytesIO()
    np.savez(buffer, **state.to_arrays())
    _write(path, buffer.getvalue())


def _write(path: Path, data: bytes) -> None:
    """A file that is there whole or not at all, whoever else writes it."""

    path.parent.mkdir(parents=True, exist_ok=True)
    with whole_file(path) as beside:
        Path(beside).write_bytes(data)


def with_moves(job: Job, moves, name: str, parent: str) -> Job:
    """The same job for another row of moves."""
    return replace(job, moves=tuple(moves), name=name, parent=parent)
