"""Reading a Gmsh mesh file: cells by region, faces by name, curves in order."""

from __future__ import annotations

import shlex
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from weldsim.errors import MeshError
from weldsim.geometry.gmsh_reading import NamedCells, named_mesh
from weldsim.joints.cell_limit import MOST_CELLS
from weldsim.joints.own_mesh.chains import chain
from weldsim.joints.own_parts.checks import check_whole
from weldsim.joints.own_parts.names import check_seam_names, region_of, seam_name
from weldsim.joints.own_parts.refusal import NotAllowed

if TYPE_CHECKING:
    import skfem

POINT, CURVE, SURFACE, VOLUME = range(4)
DIMENSIONS = {POINT: "point", CURVE: "curve", SURFACE: "surface", VOLUME: "volume"}


@dataclass(frozen=True)
class OwnMesh:
    """What a file offers a joint.

    Attributes
    ----------
    mesh : skfem.Mesh
        With subdomains and boundaries. [m]
    curves : dict
        Name of a seam -> places in order, shape (M, 3). [m]
    """

    mesh: skfem.Mesh
    curves: dict[str, np.ndarray]


def read_mesh(file: str, unit: float, written: Collection[str] = ()) -> OwnMesh:
    """Mesh and curves of a file.

    Parameters
    ----------
    file : str
        Path of a Gmsh mesh.
    unit : float
        Length of the file's unit. [m]
    written : collection of str
        Seams that the case writes itself, whose filler the file may name.

    Returns
    -------
    OwnMesh

    Raises
    ------
    NotAllowed
        With the first thing that is wrong.
    """
    raw = _raw(file)
    points = raw.points * unit
    names = sorted(raw.field_data, key=lambda n: int(raw.field_data[n][0]))
    curves = {
        n: chain(n, lines)
        for n in names
        if (lines := _members(raw, n, CURVE, "line", 2)) is not None
    }
    check_seam_names(curves)
    found = _cells(raw, points, names, {*map(seam_name, curves), *written})
    try:
        mesh = named_mesh(found)
    except MeshError as error:
        raise NotAllowed("file", f"{error}, allowed: faces of cells") from None
    check_whole(mesh)
    if mesh.t.shape[1] > MOST_CELLS:
        raise NotAllowed(
            "file", f"{mesh.t.shape[1]} cells, allowed: up to {MOST_CELLS}; a coarser mesh away "
            "from the seams"
        )  # fmt: skip
    return OwnMesh(mesh, {seam_name(n): points[order] for n, order in curves.items()})


def _raw(file: str) -> Any:
    """The file as meshio gives it."""
    from meshio import gmsh as reader  # its own read leaves the program when a file is wrong

    name = Path(file).name
    try:
        _check_names_once(file)
        return reader.read(file)
    except NotAllowed:
        raise
    except Exception as error:  # whatever a broken file sets off in the reader
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise NotAllowed(
            "file", f"{name} cannot be read ({why}), allowed: a Gmsh mesh, saved with named groups "
            "only"
        ) from None  # fmt: skip


def _check_names_once(file: str) -> None:
    """Refuse a name of two groups: readers keep one of them."""
    with open(file, "rb") as lines:
        for line in lines:
            if line.strip() == b"$PhysicalNames":
                break
        else:
            return
        seen: dict[str, str] = {}
        for _ in range(int(next(lines))):
            dim, _, name = shlex.split(next(lines).decode())
            what = DIMENSIONS.get(int(dim), dim)
            if name in seen:
                raise NotAllowed(
                    "file", f"{name!r} names a {seen[name]} and a {what}, allowed: each name once"
                )
            seen[name] = what


def _members(raw: Any, name: str, dim: int, kind: str, corners: int) -> np.ndarray | None:
    """Corner points (K, corners) of a named group; None for a group of another dimension."""
    tag, of = (int(v) for v in raw.field_data[name])
    if of != dim:
        return None
    out = [np.empty((0, corners), dtype=np.int64)]
    for k, block in enumerate(raw.cells):
        rows = _rows(raw, name, tag, k) if block.dim == dim else np.empty(0, np.int64)
        if rows.size and not block.type.startswith(kind):
            what = DIMENSIONS[dim]
            raise NotAllowed(
                "file", f"{what} {name!r} is of {block.type} elements, allowed: {kind} elements"
            )
        if rows.size:
            out.append(np.asarray(block.data, dtype=np.int64)[rows, :corners])
    found = np.concatenate(out)
    if not len(found):
        raise NotAllowed("file", f"{DIMENSIONS[dim]} {name!r} is empty, allowed: one with elements")
    return found


def _rows(raw: Any, name: str, tag: int, block: int) -> np.ndarray:
    """Which elements of a block are in a group; formats 4 and 2 tell it differently."""
    sets = raw.cell_sets.get(name)
    if sets is not None:
        return np.asarray(sets[block], dtype=np.int64)
    tags = raw.cell_data.get("gmsh:physical")
    return np.flatnonzero(tags[block] == tag) if tags is not None else np.empty(0, np.int64)


def _cells(raw: Any, points: np.ndarray, names: list[str], seams: Collection[str]) -> NamedCells:
    """All cells with their regions and faces; points no cell uses are dropped."""
    kind, corners = _cell_kind(raw)
    volumes = _volumes(raw, names, kind, corners)
    flat = np.concatenate(list(volumes.values()))
    used = np.unique(flat)
    number = np.full(len(points), -1)
    number[used] = np.arange(used.size)
    regions: dict[str, list[np.ndarray]] = {}
    start = 0
    for name, cells in volumes.items():
        rows = np.arange(start, start + len(cells), dtype=np.int32)
        regions.setdefault(region_of(name, seams), []).append(rows)
        start += len(cells)
    side, of = ("quad", 4) if corners == 8 else ("triangle", 3)
    faces = {
        n: number[found]
        for n in names
        if (found := _members(raw, n, SURFACE, side, of)) is not None
    }
    joined = {k: np.concatenate(v) for k, v in regions.items()}
    return NamedCells(points[used], number[flat], joined, faces)


def _cell_kind(raw: Any) -> tuple[str, int]:
    """meshio's name of the file's only family of cells, and their corners."""
    kinds = sorted({b.type for b in raw.cells if b.dim == VOLUME})
    families = {k.rstrip("0123456789") for k in kinds}
    if not kinds:
        raise NotAllowed("file", "holds no cells, allowed: bricks or tetrahedra")
    if len(families) > 1 or not families <= {"hexahedron", "tetra"}:
        raise NotAllowed(
            "file", f"cells are mixed or of a wrong kind ({', '.join(kinds)}), allowed: bricks "
            "only or tetrahedra only"
        )  # fmt: skip
    kind = families.pop()
    return kind, 8 if kind == "hexahedron" else 4


def _volumes(raw: Any, names: list[str], kind: str, corners: int) -> dict[str, np.ndarray]:
    """Cells (C, corners) of each named volume; every cell of the file is in exactly one."""
    named = {n: c for n in names if (c := _members(raw, n, VOLUME, kind, corners)) is not None}
    if "part" not in named:
        listed = ", ".join(named) or "no volume"
        raise NotAllowed("file", f"no volume is named part, found: {listed}")
    flat = np.concatenate(list(named.values()))
    if len(np.unique(np.sort(flat, axis=1), axis=0)) != len(flat):
        raise NotAllowed("file", "cells belong to two named volumes, allowed: each to one")
    missing = sum(len(b.data) for b in raw.cells if b.dim == VOLUME) - len(flat)
    if missing:
        raise NotAllowed("file", f"{missing} cells belong to no named volume, allowed: none")
    return named
