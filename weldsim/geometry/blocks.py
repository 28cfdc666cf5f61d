"""Parts made of eight-cornered blocks, meshed with Gmsh as bricks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from typing import TYPE_CHECKING, Any

import numpy as np

from weldsim.errors import MeshError
from weldsim.geometry.gmsh_reading import Move, read_gmsh
from weldsim.geometry.gmsh_session import gmsh_session
from weldsim.geometry.mesh_checks import check_names

if TYPE_CHECKING:
    import skfem


@dataclass(frozen=True)
class Blocks:
    """A part as eight-cornered blocks with shared corners.

    Attributes
    ----------
    points : ndarray, shape (P, 3)
        Corners. [m]
    blocks : list of (list of int, str)
        Eight point numbers in Gmsh's order, and the name of the region.
    divisions : Mapping
        (low point, high point) -> (cells, ratio of neighbouring sizes from low to high).
    faces : Mapping
        frozenset of four point numbers -> name of the boundary.
    volumes : Mapping
        Name of the region -> volume by formula. [m3]
    move : callable, optional
        Points (P, 3) -> where they lie on the real part; blocks may be laid out flat. [m]
    tolerance : float
        Relative error the volumes may have; curved walls are meshed as chords.
    """

    points: np.ndarray
    blocks: list[tuple[list[int], str]]
    divisions: Mapping[tuple[int, int], tuple[int, float]]
    faces: Mapping[frozenset[int], str]
    volumes: Mapping[str, float]
    move: Move | None = None
    tolerance: float = 1e-6

    @property
    def cell_count(self) -> int:
        """Cells of the mesh, known before there is one."""
        ways = ((0, 1), (1, 2), (0, 4))  # one edge for each way of a block
        return sum(
            prod(self._cells(corners[i], corners[j]) for i, j in ways) for corners, _ in self.blocks
        )

    def _cells(self, a: int, b: int) -> int:
        return self.divisions[min(a, b), max(a, b)][0]


def mesh_blocks(model: Blocks) -> skfem.MeshHex1:
    """Mesh blocks with Gmsh, as bricks.

    Parameters
    ----------
    model : Blocks
        What to mesh.

    Returns
    -------
    skfem.MeshHex1
        With the blocks' regions as subdomains and their named faces as boundaries. [m]

    Raises
    ------
    MeshError
        If Gmsh fails, a named region or boundary is empty, or a volume is off by more than the
        model's tolerance.
    SetupError
        If Gmsh is missing.
    """
    with gmsh_session() as gmsh:
        import pygmsh

        geometry = pygmsh.geo.Geometry()  # not entered: it would start Gmsh in its own way
        _add_blocks(geometry, model)
        try:
            # pygmsh applies its queued names and transfinite counts here; the mesh it gives back
            # numbers cell sets by global tag, so ours is read from Gmsh itself.
            geometry.generate_mesh(dim=3, verbose=False)
        except Exception as error:
            raise MeshError(f"Gmsh could not mesh the part: {error}") from error
        mesh = read_gmsh(gmsh, model.move)
    check_names(mesh, model.volumes, set(model.faces.values()), model.tolerance)
    return mesh


# Gmsh's corner order: bottom loop 0-3, top loop 4-7; edges by direction and the six faces.
FACES = [(0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (3, 2, 6, 7), (0, 3, 7, 4), (1, 2, 6, 5)]


def _add_blocks(geometry: Any, model: Blocks) -> None:
    """Points, transfinite lines, faces and volumes of all blocks, each built once."""
    points = [geometry.add_point(p) for p in model.points]
    lines: dict[tuple[int, int], Any] = {}
    faces: dict[frozenset[int], Any] = {}
    volumes: dict[str, list[Any]] = {}
    named: dict[str, list[Any]] = {}

    def line(a: int, b: int) -> Any:
        low, high = min(a, b), max(a, b)
        if (low, high) not in lines:
            cells, ratio = model.divisions[low, high]
            entity = geometry.add_line(points[low], points[high])
            geometry.set_transfinite_curve(entity, cells + 1, "Progression", ratio)
            lines[low, high] = entity
        return lines[low, high] if a < b else -lines[low, high]

    def face(corners: list[int]) -> Any:
        key = frozenset(corners)
        if key not in faces:
            loop = [line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
            entity = geometry.add_surface(geometry.add_curve_loop(loop))
            geometry.set_transfinite_surface(entity, "Left", [points[i] for i in corners])
            geometry.set_recombined_surfaces([entity])
            faces[key] = entity
            if key in model.faces:
                named.setdefault(model.faces[key], []).append(entity)
        return faces[key]

    for corners, region in model.blocks:
        shell = geometry.add_surface_loop([face([corners[i] for i in f]) for f in FACES])
        volume = geometry.add_volume(shell)
        geometry.set_transfinite_volume(volume, [points[i] for i in corners])
        volumes.setdefault(region, []).append(volume)
    for name, entities in {**volumes, **named}.items():
        geometry.add_physical(entities, name)
