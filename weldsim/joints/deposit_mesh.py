"""Mesh of a deposit: one grid of bricks through plate and layers, without what no bead fills.

Grid lines lie on the edges of beads and of the patches under toe clamps, fine at the beads and
coarser away from them. Rows of beads side by side are far too many blocks for Gmsh, and a grid
needs none of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from weldsim.geometry.grades import Grade
from weldsim.joints.deposit_path import Row

if TYPE_CHECKING:
    import skfem

Zone = tuple[float, float, float]  # from, to, size of a cell between [m]
LONG = 4.0  # of the travel cell: beads laid at once change little along their length
SNAP = 0.2  # of a bead's width: the edge of a patch as near as this to a bead's moves onto it
MOST_PLACES = 20_000_000  # rectangles between the edges of all beads, in all layers
SAMPLES = 65  # of the size of cells between two grid lines


def owners(
    rows: Sequence[Row], bead_width: float
) -> tuple[np.ndarray, np.ndarray, dict[int, np.ndarray]]:
    """Which row fills which rectangle of each layer.

    Parameters
    ----------
    rows : sequence of Row
        In order of laying.
    bead_width : float
        [m]

    Returns
    -------
    xs, ys : ndarray
        Edges of all beads. [m]
    owner : dict of int to ndarray of int, shape (xs - 1, ys - 1)
        By layer: number of the row, -1 for none, -2 where beads of a layer overlap.
    """
    xs, ys = bead_edges(rows, bead_width)
    owner = {
        layer: np.full((xs.size - 1, ys.size - 1), -1)
        for layer in sorted({r.first.layer for r in rows})
    }
    for number, row in enumerate(rows):
        cut = tuple(
            slice(*(int(np.argmin(np.abs(grid - v))) for v in ends))
            for grid, ends in zip((xs, ys), bead_box(row, bead_width), strict=True)
        )
        there = owner[row.first.layer][cut]
        owner[row.first.layer][cut] = np.where(there == -1, number, -2)
    return xs, ys, owner


def bead_edges(rows: Sequence[Row], bead_width: float) -> tuple[np.ndarray, np.ndarray]:
    """Where beads begin and end on x and on y. [m]

    Parameters
    ----------
    rows : sequence of Row
        All of them.
    bead_width : float
        [m]

    Returns
    -------
    xs, ys : ndarray
        Sorted. [m]
    """
    boxes = [bead_box(row, bead_width) for row in rows]
    xs, ys = (merged([v for box in boxes for v in box[axis]], (), 1e-7) for axis in (0, 1))
    return xs, ys


def bead_box(row: Row, bead_width: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Rectangle a row covers on the plate: its ends on x and on y. [m]

    Parameters
    ----------
    row : Row
        Of beads side by side.
    bead_width : float
        [m]

    Returns
    -------
    tuple of (low, high)
        On x and y.
    """
    half = len(row.lines) * bead_width / 2
    ends = [(row.middle - half, row.middle + half)] * 2
    ends[row.first.axis] = row.first.span
    return ends[0], ends[1]


def merged(firm: Sequence[float], loose: Sequence[float], near: float) -> np.ndarray:
    """Sorted grid lines: firm ones but for doubles, and loose ones that have room. [m]

    Parameters
    ----------
    firm, loose : sequence of float
        Places. [m]
    near : float
        Loose lines nearer than this to another are left out. [m]

    Returns
    -------
    ndarray
        [m]
    """
    out: list[float] = []
    for value in sorted(firm):
        if not out or value - out[-1] > 1e-7:
            out.append(float(value))
    for value in sorted(loose):
        if min(abs(value - v) for v in out) > near:
            out.append(float(value))
    return np.array(sorted(out))


def graded(stops: np.ndarray, zones: Sequence[Zone], grade: Grade, coarsest: float) -> np.ndarray:
    """Grid lines between some that are given, by the size of cells wanted there.

    Parameters
    ----------
    stops : ndarray
        Lines that have to be there. [m]
    zones : sequence of Zone
        Where cells are how small; between them they grow with the distance.
    grade : Grade
        Says how fast.
    coarsest : float
        Largest cell. [m]

    Returns
    -------
    ndarray
        All grid lines. [m]
    """
    low, high, fine = np.array(zones).T
    out = [float(stops[0])]
    for a, b in pairwise(stops):
        x = np.linspace(a, b, SAMPLES)
        away = np.maximum(np.maximum(low - x[:, None], x[:, None] - high), 0.0)
        size = np.minimum((fine + grade.growth * away).min(axis=1), coarsest)
        steps = (1 / size[1:] + 1 / size[:-1]) / 2 * np.diff(x)
        way = np.concatenate([[0.0], np.cumsum(steps)])
        cells = max(1, int(np.ceil(way[-1] - 0.05)))
        out += np.interp(way[-1] * np.arange(1, cells + 1) / cells, way, x).tolist()
    return np.array(out)


def grid_lines(
    rows: Sequence[Row],
    sizes: Mapping[str, float],
    patches: Mapping[str, Sequence[tuple[float, ...]]],
    grade: Grade,
    at_once: bool,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grid lines of plate and layers on the three axes.

    Parameters
    ----------
    rows : sequence of Row
        All of them.
    sizes : mapping
        `length`, `width`, `thickness` of the plate, `bead_width`, `bead_height`. [m]
    patches : mapping of str to rectangles (x0, x1, y0, y1)
        Under toe clamps. [m]
    grade : Grade
        How fine.
    at_once : bool
        Whether beads are laid all along their length at once.

    Returns
    -------
    x, y, z : ndarray
        [m]
    """
    wide, coarsest = sizes["bead_width"], grade.coarsest * sizes["bead_width"]
    travel = grade.travel_cell * wide * (LONG if at_once else 1.0)
    ends = ((0.0, sizes["length"]), (-sizes["width"] / 2, sizes["width"] / 2))
    out = []
    for axis, (low, high) in enumerate(ends):
        zones = []
        for row in rows:
            size = travel if row.first.axis == axis else wide / grade.bead_cells
            zones.append((*bead_box(row, wide)[axis], size))
        firm = [low, high, *(v for zone in zones for v in zone[:2])]
        loose = [v for found in patches.values() for p in found for v in p[2 * axis : 2 * axis + 2]]
        stops = merged(firm, loose, SNAP * wide)
        out.append(graded(stops, sorted(set(zones)), grade, max(coarsest, travel)))
    layers = max(row.first.layer for row in rows)
    fine = min(wide, sizes["thickness"]) / grade.through_cells
    plate = graded(
        np.array([-sizes["thickness"], 0.0]), [(0.0, 0.0, fine)], grade, max(coarsest, fine)
    )
    each = max(1, grade.bead_cells // 3)
    tops = sizes["bead_height"] * np.arange(1, layers * each + 1) / each
    return out[0], out[1], np.concatenate([plate, tops])


def grid_mesh(
    grid: tuple[np.ndarray, np.ndarray, np.ndarray],
    owned: tuple[np.ndarray, np.ndarray, dict[int, np.ndarray]],
    regions: Sequence[str],
    bead_height: float,
    faces: Mapping[str, Callable[[np.ndarray], np.ndarray]],
) -> skfem.MeshHex:
    """Bricks of the grid that lie in the plate or in a bead, with names.

    Parameters
    ----------
    grid : three ndarrays
        Lines on x, y and z; the plate lies under z = 0. [m]
    owned : tuple
        As `owners` gives it.
    regions : sequence of str
        Name of each row's metal.
    bead_height : float
        [m]
    faces : mapping of str to callable
        Middles of outer faces (3, F) -> which of them have that name, (F,).

    Returns
    -------
    skfem.MeshHex
        With subdomains and boundaries. [m]
    """
    import skfem

    whole = skfem.MeshHex.init_tensor(*grid)
    xs, ys, owner = owned
    x, y, z = whole.p[:, whole.t].mean(axis=1)
    i, j = (np.searchsorted(edges, v) - 1 for edges, v in ((xs, x), (ys, y)))
    over = (i >= 0) & (i < xs.size - 1) & (j >= 0) & (j < ys.size - 1) & (z > 0)
    layer = np.floor(z / bead_height).astype(int) + 1
    number = np.full(x.size, -1)
    for level, found in owner.items():
        here = over & (layer == level)
        number[here] = found[i[here], j[here]]
    keep = np.flatnonzero((z < 0) | (number >= 0))
    # `restrict` may sort what it keeps: the middles tell again which cell is which
    mesh, number, z = whole.restrict(keep), number[keep], z[keep]
    named = {"part": np.flatnonzero(z < 0)}
    named |= {name: np.flatnonzero((number == k) & (z > 0)) for k, name in enumerate(regions)}
    outer = mesh.boundary_facets()
    middle = mesh.p[:, mesh.facets[:, outer]].mean(axis=1)
    bounds = {name: outer[test(middle)] for name, test in faces.items()}
    return mesh.with_subdomains(named).with_boundaries(bounds)
