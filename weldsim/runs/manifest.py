"""run.json: the case as resolved, versions, sizes, and what is known of a run so far."""

from __future__ import annotations

import platform
import sys
from collections.abc import Sequence
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.path import Seam
from weldsim.physics.gpu.card import card_name, why_not_a_card
from weldsim.runs.reading import FORMAT
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.system.device import CPU, GPU, wanted_device

PATH_POINTS = 25  # at most this many places of a seam are written
PACKAGES = (
    "weldsim", "numpy", "scipy", "scikit-fem", "gmsh", "pygmsh", "meshio", "numba", "rslab",
    "pypardiso", "cupy-cuda13x", "numba-cuda", "nvmath-python", "nvidia-cudss-cu13", "pyvista",
    "vtk", "pydantic", "pint",
)  # fmt: skip


@cache
def versions() -> dict[str, str]:
    """Versions of Python and of the packages a result depends on, those that are installed."""
    out = {"python": platform.python_version()}
    for name in PACKAGES:
        try:
            out[name] = version(name)
        except PackageNotFoundError:
            continue
    return out


def timetable(model: Model, state: State) -> list[dict[str, Any]]:
    """Arc times of every weld so far.

    Parameters
    ----------
    model : Model
    state : State

    Returns
    -------
    list of dict
        `name`, `start` and `end`, None while the arc burns. [s]
    """
    out = []
    for weld, start, stop in zip(model.case.welds, state.starts, state.stops, strict=True):
        if not np.isnan(start):
            end = None if np.isnan(stop) else float(stop)
            out.append({"name": weld.name, "start": float(start), "end": end})
    return out


def weld_paths(case: Case, seams: Sequence[Any]) -> list[dict[str, Any]]:
    """Where each arc goes.

    Parameters
    ----------
    case : Case
    seams : sequence of Seam or CurvedSeam
        Of its welds.

    Returns
    -------
    list of dict
        `name`, `seam`, `points` in the direction of welding [m], direction `inward`.
    """
    out = []
    for weld, seam in zip(case.welds, seams, strict=True):
        points = np.array([seam.start, seam.end]) if isinstance(seam, Seam) else seam.points
        count = min(len(points), PATH_POINTS)
        some = np.unique(np.linspace(0, len(points) - 1, count).astype(int))
        out.append(
            {"name": weld.name, "seam": weld.seam, "points": points[some].tolist(),
             "inward": np.asarray(seam.inward).tolist()}
        )  # fmt: skip
    return out


def clamp_places(model: Model) -> list[dict[str, Any]]:
    """Middle of each face that each clamp grips.

    Parameters
    ----------
    model : Model

    Returns
    -------
    list of dict
        `name` of the clamp and `places`. [m]
    """
    points, faces = model.part.lattice.points, model.part.boundaries
    return [
        {"name": c.name, "places": [points[faces[face]].mean(axis=0).tolist() for face in c.at]}
        for c in model.case.clamps
    ]


def solver_record(model: Model) -> dict[str, str]:
    """What computes a run.

    Parameters
    ----------
    model : Model

    Returns
    -------
    dict of str
        `device` "cpu" or "gpu", `solver`, its `instructions`, and `device_reason`: what kept a run
        off a graphics card, or its name.
    """
    mechanics, wanted = model.mechanics, wanted_device()
    if mechanics.card is not None:
        return {
            "device": GPU, "solver": mechanics.card.solver_name, "instructions": "",
            "device_reason": card_name(),
        }  # fmt: skip
    return {
        "device": CPU, "solver": mechanics.solver.name,
        "instructions": mechanics.solver.instructions,
        "device_reason": why_not_a_card(wanted, mechanics.pattern.size),
    }  # fmt: skip


def manifest_of(model: Model, state: State | None, status: str) -> dict[str, Any]:
    """What run.json holds from the first step on; `state` None leaves out the timetable.

    Parameters
    ----------
    model : Model
    state : State or None
    status : {"running", "complete", "stopped", "failed"}

    Returns
    -------
    dict
    """
    case = model.case
    out = {
        "format": FORMAT,
        "title": case.title,
        "status": status,
        "case": case.resolved,
        "source_file": case.source_file,
        "overrides": list(case.overrides),
        "versions": versions(),
        "grade": model.grade.name,
        **solver_record(model),
        # the folder is drawn where the user's material file may not be
        "softening_temperature_K": model.material.carries_below,
        "mesh": {
            "cells": int(model.part.mesh.t.shape[1]),
            "displacement_unknowns": int(model.mechanics.pattern.size),
            "temperature_unknowns": int(model.heat.mesh.pattern.size),
        },
        "warnings": [],
        "paths": weld_paths(case, model.seams),
        "clamps": clamp_places(model),
    }
    if state is not None:
        out["timetable"] = timetable(model, state)
    return out


def balances(state: State, largest_gap: float) -> dict[str, float]:
    """Heat books of a run, and how far the arc was rescaled.

    Parameters
    ----------
    state : State
        The last one.
    largest_gap : float
        Of the energy balance on the way.

    Returns
    -------
    dict
        [J]; gaps over the heat supplied.
    """
    books = state.energy_balance
    return {
        "heat_supplied_J": books.supplied,
        "heat_lost_J": books.lost,
        "heat_stored_J": books.stored,
        "heat_gap": books.gap,
        "largest_heat_gap": largest_gap,
        "source_rescale_least": float(state.rescale[0]),
        "source_rescale_most": float(state.rescale[1]),
    }


def peak_memory() -> float | None:
    """Peak resident memory of this process in MB, where the system tells."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)
