"""What is asked of the child process that meshes a STEP file, and what it hands back.

Both are plain data, JSON and arrays: nothing that a file could make run.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from weldsim.errors import MeshError, SetupError, WeldsimError
from weldsim.geometry.gmsh_reading import NamedCells
from weldsim.joints.own_parts.refusal import NotAllowed

NOTE = "note"  # entry of the answer that holds names and numbers, as JSON


@dataclass(frozen=True)
class SeamPath:
    """Where a seam of a STEP part runs.

    Attributes
    ----------
    points : list of three float, or None
        Places in order. [m]
    edges : list of str, or None
        Edges end to end, by name or by number.
    width : float or None
        Of its bead. [m]
    """

    points: list | None
    edges: list[str] | None
    width: float | None


@dataclass(frozen=True)
class FaceChoice:
    """Which faces of a STEP part carry a name: one of the two is None.

    Attributes
    ----------
    plane : str or None
        The outermost flat ones in a direction, such as ``+x``.
    faces : list of str, or None
        Faces by name or by number.
    """

    plane: str | None
    faces: list[str] | None


@dataclass(frozen=True)
class StepJob:
    """A STEP file to be meshed.

    Attributes
    ----------
    file : str
        Its path.
    unit : float
        Length of a unit of the imported solids. [m]
    seams : dict
        Name as the case writes it -> SeamPath.
    faces : dict
        Name -> FaceChoice.
    travel_cell, coarsest, growth : float
        Of the grade; see `weldsim.geometry.grades.Grade`.
    """

    file: str
    unit: float
    seams: dict[str, SeamPath]
    faces: dict[str, FaceChoice]
    travel_cell: float
    coarsest: float
    growth: float

    def to_json(self) -> str:
        """The job on one line."""
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str | bytes) -> StepJob:
        """The job that `to_json` wrote."""
        raw = json.loads(text)
        seams = {name: SeamPath(**keys) for name, keys in raw.pop("seams").items()}
        faces = {name: FaceChoice(**keys) for name, keys in raw.pop("faces").items()}
        return cls(seams=seams, faces=faces, **raw)


@dataclass(frozen=True)
class MeshedSolids:
    """What a STEP file became.

    Attributes
    ----------
    cells : NamedCells
        Tetrahedra with regions and faces. [m]
    curves : dict
        Name of a seam -> places in order, shape (M, 3). [m]
    volumes : dict
        Name of a region -> volume of the drawn solids. [m3]
    """

    cells: NamedCells
    curves: dict[str, np.ndarray]
    volumes: dict[str, float]


def write_answer(path: str | Path, answer: MeshedSolids | WeldsimError) -> None:
    """Write what came of a job, a mesh or a refusal."""
    if isinstance(answer, NotAllowed):
        note: dict[str, Any] = {"refused": ["NotAllowed", answer.key, answer.sentence]}
        return _save(path, note, {})
    if isinstance(answer, WeldsimError):
        return _save(path, {"refused": [type(answer).__name__, str(answer)]}, {})
    cells, groups = answer.cells, (answer.cells.regions, answer.cells.faces, answer.curves)
    note = {"groups": [list(g) for g in groups], "volumes": answer.volumes}
    arrays = {f"{i}-{j}": a for i, g in enumerate(groups) for j, a in enumerate(g.values())}
    _save(path, note, {"points": cells.points, "cells": cells.cells, **arrays})


def _save(path: str | Path, note: dict[str, Any], arrays: dict[str, np.ndarray]) -> None:
    text = np.frombuffer(json.dumps(note).encode(), dtype=np.uint8)
    with open(path, "wb") as handle:
        np.savez(handle, **{NOTE: text, **arrays})


def read_answer(file: str | Path | IO[bytes]) -> MeshedSolids:
    """What `write_answer` wrote.

    Raises
    ------
    NotAllowed, MeshError, SetupError
        If the job was refused.
    """
    with np.load(file, allow_pickle=False) as found:
        note = json.loads(found[NOTE].tobytes())
        if "refused" in note:
            kind, *words = note["refused"]
            raise {"NotAllowed": NotAllowed, "SetupError": SetupError}.get(kind, MeshError)(*words)
        regions, faces, curves = (
            {name: found[f"{i}-{j}"] for j, name in enumerate(names)}
            for i, names in enumerate(note["groups"])
        )
        cells = NamedCells(found["points"], found["cells"], regions, faces)
    return MeshedSolids(cells, curves, note["volumes"])
