"""The mesh that all workers of a study share, as data: arrays and names, nothing that could run.

A study folder may come from anyone, so nothing in it is unpickled.
"""

from __future__ import annotations

import io
from pathlib import Path
from zipfile import BadZipFile

import numpy as np

from weldsim.geometry.part import Part, part_from_mesh
from weldsim.system.files import whole_file

KINDS = ("MeshHex1", "MeshTet1")  # scikit-fem meshes that a part is made of
REGION, FACE, VOLUME = "region ", "face ", "volume "  # before a name, in the names of the arrays


def write_mesh(path: Path, part: Part) -> None:
    """Write a part's mesh with its names and volumes, whole or not at all.

    Parameters
    ----------
    path : Path
        Of an .npz file; its folder must exist.
    part : Part
    """
    mesh = part.mesh
    arrays = {
        "kind": np.array(type(mesh).__name__),
        "points": mesh.p,  # (3, P) [m]
        "cells": mesh.t,
        **{REGION + name: cells for name, cells in (mesh.subdomains or {}).items()},
        **{FACE + name: np.asarray(facets) for name, facets in (mesh.boundaries or {}).items()},
        **{VOLUME + name: np.array(volume) for name, volume in part.volumes.items()},
    }
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    with whole_file(path) as beside:
        beside.write_bytes(buffer.getvalue())


def read_mesh(path: Path) -> Part | None:
    """The part whose mesh lies in a file, with the same numbers to the bit.

    Returns
    -------
    Part or None
        None where the file is not there, was cut short, or is none of `write_mesh`.
    """
    import skfem

    try:
        with np.load(path, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        kind = str(arrays["kind"])
        if kind not in KINDS:
            return None
        mesh = getattr(skfem, kind)(arrays["points"], arrays["cells"])
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return None
    mesh = mesh.with_subdomains(_named(arrays, REGION)).with_boundaries(_named(arrays, FACE))
    volumes = {name: float(v) for name, v in _named(arrays, VOLUME).items()}
    return part_from_mesh(mesh, volumes)


def _named(arrays: dict[str, np.ndarray], begin: str) -> dict[str, np.ndarray]:
    return {n.removeprefix(begin): a for n, a in arrays.items() if n.startswith(begin)}
