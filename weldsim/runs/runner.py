"""A case carried out into a run folder: steps, checkpoints, frames, balances, error estimate.

The loop here is around the pure `simulate`; all files go through `store`. A stopped or killed run
resumes from its last checkpoint with the same bits as one that was never stopped.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.geometry.path import Seam
from weldsim.simulation.state import State

CHECKPOINT_SECONDS = 15.0  # wall time between checkpoints: what kill -9 may cost
FRAMES = 72  # about this many pictures of the fields in a run
COMPANION = {"quick": "coarse", "normal": "quick", "fine": "normal"}
ZONE = 873.15  # K, hottest temperature from which metal counts as weld zone in the stress summary
ON_MELT = 0.1  # share of a gauge's reading from metal that was soft, up to which it is trusted
ROTATION_LIMIT = 0.02  # rad; small-strain results are good to about half its square above that


@dataclass(frozen=True)
class Record:
    """What the run has gathered besides the state; part of every checkpoint."""

    rows: tuple = ()
    frames: int = 0
    last_frame: int = -1  # step of the newest frame
    iterations: int = 0
    heat_iterations: int = 0
    retries: int = 0
    seconds: float = 0.0
    largest_gap: float = 0.0
    released: tuple = ()  # what each opening of clamps moved: time, clamps, change of each gauge

    def after(self, step, row, seconds: float) -> Record:
        """The record with one more step."""
        return replace(
            self,
            released=self.released
            if step.phase != "release"
            else (
                *self.released,
                {
                    "time_s": step.time,
                    "clamps": list(step.state.released),
                    "change": {k: row[k] - self.rows[-1][k] for k in step.gauges.display()},
                },
            ),
            rows=(*self.rows, row),
            iterations=self.iterations + step.iterations,
            heat_iterations=self.heat_iterations + step.heat_iterations,
            retries=self.retries + step.retries,
            seconds=seconds,
            largest_gap=max(self.largest_gap, step.state.energy_balance.gap),
        )


def run_case(case, out=None, resume=None, companion=None, progress=None, threads=None, notice=None):
    """Run a case into a folder, or go on with a stopped one.

    Parameters
    ----------
    case : Case or None
        Left out when resuming: the folder holds it.
    out : path, optional
        Folder to make; a dated one under runs/ when left out.
    resume : path, optional
        Folder of a stopped run.
    companion : bool, optional
        Also run one grade coarser for the error estimate; the case decides when left out.
    progress : callable(share, text), optional
        Told after each step how far the work is, 0 to 1.
    notice : callable(text), optional
        Told before the steps what makes this run slower than it could be.

    Returns
    -------
    pathlib.Path
        The run folder.

    Raises
    ------
    WeldsimError
        What went wrong; the folder then says `failed` and keeps its last checkpoint.
    """
    from weldsim.physics.linear_solver import slow_solver_note
    from weldsim.runs.folder import RunFolder

    progress = progress or (lambda share, text: None)
    notice = notice or (lambda text: None)
    if resume is not None:
        folder = RunFolder.resume(resume)
        case, companion = _case_of(folder)
    progress(0.0, "meshing")
    began = time.perf_counter()
    model = _model(case, threads)  # before anything is written: a part may refuse to mesh
    built = time.perf_counter() - began
    if slow := slow_solver_note(model.mechanics.solver.name):
        notice(slow)
    if resume is None:
        folder = RunFolder.create(out, case.title)
        companion = case.solve.companion if companion is None else companion
        folder.write_json("case.json", _case_record(case, companion))
    estimated = companion and case.solve.grade in COMPANION
    now = [None, Record()]
    try:
        _march(model, folder, resume is not None, 0.9 if estimated else 1.0, progress, now)
        costs = {"mesh": built, "companion": 0.0}
        estimate = None
        if estimated:
            estimate, costs["companion"] = _estimate(case, now[1].rows, threads, 0.9, progress)
        _finish(model, folder, *now, estimate, costs)
    except KeyboardInterrupt as stop:
        folder.write_json("run.json", _manifest(model, now[0], "stopped"))
        stop.run_folder = folder.path
        raise
    except WeldsimError as error:
        manifest = _manifest(model, now[0], "failed")
        folder.write_json("run.json", {**manifest, "error": str(error)})
        raise
    return folder.path


def _model(case, threads, grade=None):
    from weldsim.simulation.steps import build_model

    return build_model(case, grade, threads)


def _case_record(case, companion) -> dict:
    return {
        "source": case.source_text,
        # whole path: a material beside the case is found again from any folder
        "source_file": str(Path(case.source_file).resolve()),
        "overrides": list(case.overrides),
        "companion": bool(companion),
    }


def _case_of(folder):
    """Case and companion choice a run folder was started with."""
    from weldsim.case.load import parse_case

    kept = folder.read_json("case.json")
    case = parse_case(kept["source"], kept["source_file"], kept["overrides"])
    return case, kept["companion"]


def _march(model, folder, resumed, share, progress, now) -> None:
    """Steps until the case is over, with checkpoints and frames on the way.

    `now` holds state and record. Both are replaced at once, so that whatever stops the loop finds
    a pair that belongs together.
    """
    from weldsim.simulation.steps import simulate, start_state

    found = folder.last_checkpoint() if resumed else None
    if found is not None:
        arrays, extra = found
        extra["rows"] = tuple(extra["rows"])
        extra["released"] = tuple(extra.get("released", ()))
        now[:] = [State.from_arrays(arrays), Record(**extra)]
    else:
        state = start_state(model)
        now[:] = [state, Record(rows=(_row(model, state),))]
        _save_frame(folder, model, now)
    folder.write_json("run.json", _manifest(model, now[0], "running"))
    wanted = max(1, round(_expected_steps(model) / FRAMES))
    began = saved = time.perf_counter()
    before, phase = now[1].seconds, "rest"
    try:
        for step in simulate(model, now[0]):
            seconds = before + time.perf_counter() - began
            now[:] = [step.state, now[1].after(step, _row(model, step.state), seconds)]
            if step.state.steps % wanted == 0 or step.phase != phase:
                _save_frame(folder, model, now)
            phase = step.phase
            progress(share * step.progress, f"{step.phase}, {step.time:.0f} s")
            if time.perf_counter() - saved > CHECKPOINT_SECONDS:
                _checkpoint(folder, *now)
                saved = time.perf_counter()
    except BaseException:
        _checkpoint(folder, *now)
        raise
    _save_frame(folder, model, now)
    _checkpoint(folder, *now)


def _checkpoint(folder, state, record: Record) -> None:
    folder.write_checkpoint(state.steps, state.to_arrays(), vars(record).copy())


def _save_frame(folder, model, now) -> None:
    from weldsim.simulation.steps import field_frame

    state, record = now
    if record.last_frame != state.steps:
        folder.write_frame(record.frames, field_frame(model, state), model.part)
        now[1] = replace(record, frames=record.frames + 1, last_frame=state.steps)


def _row(model, state) -> dict:
    """One line of gauges.csv."""
    shown = model.read(state).display() | model.weld_temperatures(state).display()
    return {"time_s": state.time, **shown}


def _expected_steps(model) -> float:
    torch = sum(s.duration / model.torch_time(i) for i, s in enumerate(model.sources))
    return torch + 60.0


def _estimate(case, rows, threads, share, progress):
    """Error estimate of every gauge's end value from a run one grade coarser."""
    from weldsim.geometry.grades import GRADES
    from weldsim.simulation.steps import simulate

    began = time.perf_counter()
    fine, grade = GRADES[case.solve.grade], COMPANION[case.solve.grade]
    model = _model(case, threads, grade)
    last = None
    for step in simulate(model):
        last = step
        progress(share + (1 - share) * step.progress, f"error estimate, {step.time:.0f} s")
    end = rows[-1]
    values = {k: abs(v - end[k]) for k, v in last.gauges.display().items()} if last else {}
    how = (
        f"difference to the same case at the coarser grade {grade}: torch steps "
        f"{model.grade.torch_step / fine.torch_step:.1f} and cells along the travel "
        f"{model.grade.travel_cell / fine.travel_cell:.1f} times as long, across the bead "
        f"{fine.bead_cells / model.grade.bead_cells:.1f} and through the wall "
        f"{fine.through_cells / model.grade.through_cells:.1f} times as large; an "
        "estimate, no bound"
    )
    return {"how": how, "values": values}, time.perf_counter() - began


def timetable(model, state) -> list[dict]:
    """Arc times of every weld so far. [s]"""
    out = []
    for weld, start, stop in zip(model.case.welds, state.starts, state.stops, strict=True):
        if not np.isnan(start):
            end = None if np.isnan(stop) else float(stop)
            out.append({"name": weld.name, "start": float(start), "end": end})
    return out


def weld_paths(case, seams) -> list[dict]:
    """Where each arc goes: name, places in the direction of welding [m], direction inward."""
    out = []
    for weld, seam in zip(case.welds, seams, strict=True):
        points = np.array([seam.start, seam.end]) if isinstance(seam, Seam) else seam.points
        some = np.unique(np.linspace(0, len(points) - 1, min(len(points), 25)).astype(int))
        out.append(
            {"name": weld.name, "seam": weld.seam, "points": points[some].tolist(),
             "inward": np.asarray(seam.inward).tolist()}
        )  # fmt: skip
    return out


def clamp_places(model) -> list[dict]:
    """Middle of each face that each clamp grips [m], with its name."""
    points, faces = model.part.lattice.points, model.boundaries
    return [
        {"name": c.name, "places": [points[faces[face]].mean(axis=0).tolist() for face in c.at]}
        for c in model.case.clamps
    ]


def _manifest(model, state, status) -> dict:
    """run.json: inputs, versions, sizes, and what is known so far."""
    from weldsim.runs.folder import versions

    case = model.case
    out = {
        "title": case.title,
        "status": status,
        "case": case.resolved,
        "source_file": case.source_file,
        "overrides": list(case.overrides),
        "versions": versions(),
        "grade": model.grade.name,
        "solver": model.mechanics.solver.name,
        "mesh": {
            "cells": int(model.part.mesh.t.shape[1]),
            "displacement_unknowns": int(model.mechanics.pattern.size),
            "temperature_unknowns": int(model.heat.pattern.size),
        },
        "warnings": [],
        "paths": weld_paths(case, model.seams),
        "clamps": clamp_places(model),
    }
    if state is not None:
        out["timetable"] = timetable(model, state)
    return out


def _finish(model, folder, state, record, estimate, costs) -> None:
    """Last files of a run: gauges, summary, manifest."""
    from weldsim.runs.summary import summarise

    folder.write_gauges(record.rows)
    manifest = _manifest(model, state, "complete")
    energy_balance = state.energy_balance
    manifest["balances"] = {
        "heat_supplied_J": energy_balance.supplied,
        "heat_lost_J": energy_balance.lost,
        "heat_stored_J": energy_balance.stored,
        "heat_gap": energy_balance.gap,
        "largest_heat_gap": record.largest_gap,
        "source_rescale_least": float(state.rescale[0]),
        "source_rescale_most": float(state.rescale[1]),
    }
    manifest["steps"] = state.steps
    manifest["iterations"] = record.iterations
    manifest["heat_iterations"] = record.heat_iterations
    manifest["retries"] = record.retries
    manifest["stage_times"] = {
        "mesh_s": costs["mesh"], "solve_s": record.seconds, "companion_s": costs["companion"],
    }  # fmt: skip
    manifest["simulated_s"] = state.time
    manifest["peak_memory_MB"] = _peak_memory()
    manifest["error_estimate"] = estimate or {
        "how": "not asked for: run without the companion",
        "values": {},
    }
    manifest["warnings"] = _warnings(model, state, record)
    columns = {k: np.array([r[k] for r in record.rows]) for k in record.rows[0]}
    interpass = {w.name: float(t) for w, t in zip(model.case.welds, state.interpass, strict=True)}
    solidus = model.material.solidus
    summary = summarise(columns, manifest["timetable"], model.case, interpass, solidus)
    summary["locked_in"] = locked_in(model, state, record)
    folder.write_json("summary.json", summary)
    folder.write_json("run.json", manifest)


def locked_in(model, state, record) -> dict:
    """Stress left in the metal and what the clamps hold at the end. [MPa, N, N m]

    The weld zone is what was hotter than 600 degC, a choice: there the stress is of the order of
    the yield stress. Stress has no error estimate.
    """
    from weldsim.simulation.gauges import reaction_probe
    from weldsim.physics.mechanics import von_mises

    mises, carries = von_mises(state.stress), model.active_points(state)
    zone = carries & (model.at_quadrature(state.peak_temperature) > ZONE)
    weight = model.mechanics.weight
    held = {}
    for clamp in model.case.clamps:
        if clamp.name in state.closed_clamps:
            probe = reaction_probe(clamp.name, model.points, model.clamp_points(clamp.name))
            values = list(probe.read(None, None, state.reaction).values())
            held[clamp.name] = {
                "force_N": float(np.linalg.norm(values[:3])),
                "moment_Nm": float(np.linalg.norm(values[3:])),
            }
    mean = float((mises * weight)[zone].sum() / weight[zone].sum()) if zone.any() else 0.0
    return {
        "largest_von_mises_MPa": float(mises[carries].max(initial=0.0)) / 1e6,
        "mean_weld_zone_MPa": mean / 1e6,
        "reactions": held,
        "released": list(record.released),
    }


def _warnings(model, state, record) -> list[str]:
    """In words, where a result leaves the ground it stands on."""
    out = []
    rotation = _largest_rotation(model, state)
    if rotation > ROTATION_LIMIT:
        out.append(
            f"the part turns by {1e3 * rotation:.0f} mrad, more than the "
            f"{1e3 * ROTATION_LIMIT:.0f} mrad up to which small-rotation results are good to a few "
            "parts in ten thousand"
        )
    low, high = state.rescale
    if low < 0.5 or high > 2.0:
        out.append(
            f"the arc's heat had to be rescaled by {low:.2f} to {high:.2f}: the ellipsoid is large "
            "against the mesh or overhangs the part"
        )
    if model.contact is not None:
        deep = model.contact.closing(state.displacement) - model.contact.gap
        worst = 1e3 * float(deep.max(initial=0.0))
        if worst > 0.02:
            out.append(
                f"faces of the open land press {worst:.2g} mm into each other: contact there is a "
                "stiff spring, so read the gap to that"
            )
    for name in gauges_on_melt(model, state):
        out.append(
            f"gauge {name} stands on metal that melted, which keeps no shape of its own: its "
            "reading means nothing, put it beside the weld"
        )
    for i, weld in enumerate(model.case.welds):
        if weld.weave > 0 and weld.weave_rate * model.torch_time(i) < 1.0:
            out.append(
                f"the weave of {weld.name} is slower than a torch step of "
                f"{model.torch_time(i):.2g} s: spreading its heat evenly is not what happens"
            )
    if record.retries:
        out.append(f"{record.retries} steps had to be halved to find equilibrium")
    if model.case.solve.model == "elastic":
        out.append(
            "model elastic takes shrinkage from each point's own peak temperature: the pull in the "
            "direction of travel is lost; use model plastic for numbers"
        )
    return out


def gauges_on_melt(model, state) -> list[str]:
    """Names of gauges that read the movement of metal that was soft in between."""
    if model.case.solve.model == "elastic":
        return []
    peak = state.peak_temperature[: len(model.points)]
    soft = peak >= model.material.softening_temperature
    out = []
    for gauge, probe in zip(model.case.gauges, model.probes, strict=True):
        if probe.displacement_map is None:
            continue
        share = np.asarray(abs(probe.displacement_map).sum(axis=0)).reshape(-1, 3).sum(axis=1)
        if share[soft].sum() > ON_MELT * share.sum():
            out.append(gauge.name)
    return out


def _largest_rotation(model, state) -> float:
    """Largest rotation of a cell that never was soft, from its mean displacement gradient. [rad]"""
    m = model.mechanics
    u = state.displacement[m.cells]
    h = np.einsum("cqdn,cni,cq->cid", m.grad, u, m.weight) / m.weight.sum(axis=1)[:, None, None]
    spin = 0.5 * (h - np.swapaxes(h, 1, 2))
    peak = model.at_quadrature(state.peak_temperature).max(axis=1)
    whole = model.active_points(state).all(axis=1) & (peak < model.material.softening_temperature)
    size = np.sqrt(0.5 * (spin**2).sum(axis=(1, 2)))
    return float(size[whole].max(initial=0.0))


def _peak_memory() -> float | None:
    """Peak resident memory of this process in MB, where the system tells."""
    try:
        import resource
    except ImportError:
        return None
    import sys

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)
