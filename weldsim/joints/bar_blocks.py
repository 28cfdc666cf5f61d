"""Flat bar with beads on its faces and edges.

x runs along the bar from the held end, y through the thickness (front face at +y), z up the
width; the origin is at the held end, mid thickness, mid width. A bead is a trapezoid on the face:
as wide as stated at the foot and a third of that at the top, which has the section 2/3 width x
height of a parabola.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from weldsim.errors import CaseError
from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import bead_region, straight_seam

TOP_SHARE = 1 / 3  # width of a bead's top over its foot

# face -> (normal axis, outward sign); beads on front and back cover x and z, on edges x and y
FACES = {"front": (1, 1), "back": (1, -1), "top": (2, 1), "bottom": (2, -1)}


PLACES = ("free end", "mid length", "start end")


def extents(part) -> np.ndarray:
    """Lowest and highest coordinate of the bar on each axis, shape (3, 2). [m]"""
    return np.array(
        [
            [0.0, part.length],
            [-part.thickness / 2, part.thickness / 2],
            [-part.width / 2, part.width / 2],
        ]
    )


def faces(part) -> tuple[str, ...]:
    """Named places of a bar."""
    return PLACES


def place(part, name: str) -> np.ndarray:
    """Coordinates of a named place on the bar's centre line, shape (3,). [m]"""
    x = {"start end": 0.0, "mid length": part.length / 2, "free end": part.length}
    if name not in x:
        raise CaseError(f"place {name} is unknown on a bar, allowed: {', '.join(x)}")
    return np.array([x[name], 0.0, 0.0])


OTHER_WAY = {"up": "down", "down": "up", "+x": "-x", "-x": "+x"}  # of a travel
NATURAL = {"up": 1, "down": -1, "+x": 1, "-x": -1}  # travel -> direction along the seam


@dataclass(frozen=True)
class Bead:
    """A bead on a face or an edge of a bar, and so a seam of it.

    Attributes
    ----------
    name : str
        Of its weld, and of the seam.
    face : {"front", "back", "top", "bottom"}
    line : {"across", "along"}
        Along z, or along x.
    at : float
        Middle of the bead across its line: x of one across, z of one along a face. [m]
    begin, finish : float
        Ends along the line, in the coordinates of the bar. [m]
    width, height : float
        Of the foot, and above the face. [m]
    """

    name: str
    face: str
    line: str
    at: float
    begin: float
    finish: float
    width: float
    height: float


@dataclass(frozen=True)
class Bar:
    """A flat bar with the beads the case puts on it. [m]"""

    kind: str
    length: float
    width: float
    thickness: float
    material: str
    beads: tuple[Bead, ...] = ()
    up: ClassVar[str] = "+z"
    tacks: ClassVar[str] = "none"

    @property
    def volume(self) -> float:
        """Of the bar without beads. [m3]"""
        return self.length * self.width * self.thickness


def footprint(bead: Bead):
    """Where a bead sits: (travel axis, across axis, (begin, finish), centre of the bead line)."""
    normal, _ = FACES[bead.face]
    if bead.line == "across":
        return 2, 0, (bead.begin, bead.finish), bead.at
    across = 2 if normal == 1 else 1
    return 0, across, (bead.begin, bead.finish), bead.at if normal == 1 else 0.0


def seam_lines(part: Bar) -> dict[str, SeamLine]:
    """One seam a bead, along +z or +x."""
    return {bead.name: _seam_line(part, bead) for bead in part.beads}


def _seam_line(part: Bar, bead: Bead) -> SeamLine:
    travel, across, (begin, finish), at = footprint(bead)
    normal, sign = FACES[bead.face]
    first, last, inward = np.zeros(3), np.zeros(3), np.zeros(3)
    first[across] = last[across] = at
    first[normal] = last[normal] = extents(part)[normal, 0 if sign < 0 else 1]
    first[travel], last[travel] = begin, finish
    inward[normal] = -sign
    words = {"up": 1, "down": -1} if bead.line == "across" else {"+x": 1, "-x": -1}
    return straight_seam(bead.name, first, last, inward, words, bead.width, bead.width / 2)


def blocks(case, grade: Grade) -> Blocks:
    """Blocks of the bar and its beads, fine at the welds and coarse away from them."""
    part = case.part
    lines = [_axis_lines(case, grade, axis) for axis in range(3)]
    grid = [np.array([c for c, _ in line]) for line in lines]
    shape = [g.size for g in grid]
    points = list(np.stack(np.meshgrid(*grid, indexing="ij"), axis=-1).reshape(-1, 3))

    def at(i, j, k):
        return (i * shape[1] + j) * shape[2] + k

    divisions, out, faces = {}, [], {}
    for axis in range(3):
        for ijk in np.ndindex(*shape):
            if ijk[axis] + 1 < shape[axis]:
                step = list(ijk)
                step[axis] += 1
                divisions[at(*ijk), at(*step)] = lines[axis][ijk[axis]][1]
    for i, j, k in np.ndindex(*(n - 1 for n in shape)):
        out.append((_corners(at, i, j, k), "part"))
    _name_ends(case, at, grid, faces)
    volumes = {"part": part.length * part.width * part.thickness}
    for bead in part.beads:
        _add_bead(bead, grade, grid, at, points, divisions, out)
        section = bead.width * bead.height * (1 + TOP_SHARE) / 2
        volumes[bead_region(bead.name)] = section * (bead.finish - bead.begin)
    return Blocks(np.array(points), out, divisions, faces, volumes)


def _corners(at, i, j, k):
    """Eight corners of a grid block in Gmsh's order."""
    low = [at(i, j, k), at(i + 1, j, k), at(i + 1, j + 1, k), at(i, j + 1, k)]
    high = [at(i, j, k + 1), at(i + 1, j, k + 1), at(i + 1, j + 1, k + 1), at(i, j + 1, k + 1)]
    return low + high


def _name_ends(case, at, grid, faces) -> None:
    """Name the end faces, and the clamped part of both flat faces."""
    nx, ny, nz = (g.size for g in grid)
    for i, name in ((0, "start end"), (nx - 1, "free end")):
        for j, k in np.ndindex(ny - 1, nz - 1):
            quad = [at(i, j, k), at(i, j + 1, k), at(i, j, k + 1), at(i, j + 1, k + 1)]
            faces[frozenset(quad)] = name
    if case.clamping.kind != "one end":
        return
    for i in range(nx - 1):
        if grid[0][i + 1] > case.clamping.length * (1 + 1e-9):
            break
        for j in (0, ny - 1):
            for k in range(nz - 1):
                quad = [at(i, j, k), at(i + 1, j, k), at(i, j, k + 1), at(i + 1, j, k + 1)]
                faces[frozenset(quad)] = "vise"


def _add_bead(bead, grade, grid, at, points, divisions, out) -> None:
    """Put a bead's blocks on the face blocks of its footprint."""
    travel, across, (begin, finish), centre = footprint(bead)
    normal, sign = FACES[bead.face]
    layer = 0 if sign < 0 else grid[normal].size - 1
    half = bead.width / 2
    ia = _between(grid[across], centre - half, centre + half)
    it = _between(grid[travel], begin, finish)
    top = {}
    for a in ia:
        for t in it:
            index = [0, 0, 0]
            index[across], index[travel], index[normal] = a, t, layer
            foot = at(*index)
            p = np.array(points[foot])
            p[across] = centre + (p[across] - centre) * TOP_SHARE
            p[normal] += sign * bead.height
            top[a, t] = (foot, len(points))
            divisions[foot, len(points)] = (_bead_layers(grade), 1.0)
            points.append(p)
    for a in ia:
        for t in it:
            here = top[a, t]
            for other in ((a + 1, t), (a, t + 1)):
                if other in top:
                    divisions[here[1], top[other][1]] = divisions[here[0], top[other][0]]
    for a in ia[:-1]:
        for t in it[:-1]:
            ring = [top[a, t], top[a + 1, t], top[a + 1, t + 1], top[a, t + 1]]
            corners = [r[0] for r in ring] + [r[1] for r in ring]
            out.append((_right_handed(corners, points), bead_region(bead.name)))


def _right_handed(corners, points):
    """Same block with its bottom and top loops the right way round for a positive volume."""
    p = np.array([points[c] for c in corners])
    if np.dot(np.cross(p[1] - p[0], p[3] - p[0]), p[4] - p[0]) < 0:
        return [corners[i] for i in (0, 3, 2, 1, 4, 7, 6, 5)]
    return corners


def _bead_layers(grade: Grade) -> int:
    return max(1, grade.bead_cells // 3)


def _between(values: np.ndarray, low: float, high: float) -> list[int]:
    """Indices of grid lines from `low` to `high`, both of which are grid lines."""
    slack = 1e-9 + 1e-6 * abs(high - low)
    return [i for i, v in enumerate(values) if low - slack <= v <= high + slack]


def _axis_lines(case, grade: Grade, axis: int):
    """Grid lines of an axis: [(coordinate, (cells, ratio) to the next line), ...]."""
    part = case.part
    low, high = extents(part)[axis]
    zones, stops = [], {low, high}  # zones: (from, to, cell size)
    for bead in part.beads:
        travel, across, span, centre = footprint(bead)
        if axis == travel:
            zones.append((*span, grade.travel_cell * bead.width))
        elif axis == across:
            half = bead.width / 2
            zones.append((centre - half, centre + half, bead.width / grade.bead_cells))
        else:  # into the part
            depth = min(part.thickness, 2 * bead.width)
            face = low if FACES[bead.face][1] < 0 else high
            span = (face, face + depth) if face == low else (face - depth, face)
            zones.append((*span, min(depth / grade.through_cells, depth)))
    for begin, end, _ in zones:
        stops |= {begin, end}
    if axis == 0 and case.clamping.kind == "one end":
        stops.add(case.clamping.length)
    coarsest = grade.coarsest * max(b.width for b in part.beads)
    stops = _merge(sorted(stops), low, high)

    def size(x):
        near = [s + grade.growth * max(a - x, x - b, 0.0) for a, b, s in zones]
        return min([coarsest, *near])

    lines = []
    for a, b in zip(stops[:-1], stops[1:], strict=True):
        middle = (a + b) / 2
        humped = size(middle) > 1.5 * max(size(a), size(b))
        for s, e in ((a, middle), (middle, b)) if humped else ((a, b),):
            lines.append((s, _division(s, e, size)))
    return [*lines, (high, None)]


def _merge(stops, low, high):
    """Sorted grid lines without near duplicates and none outside the bar."""
    out = [low]
    for s in stops:
        if low < s < high and s - out[-1] > 1e-7:
            out.append(s)
    if high - out[-1] <= 1e-7:
        out.pop()
    return [*out, high]


def _division(start: float, end: float, size) -> tuple[int, float]:
    """Cells and geometric ratio that follow a size function from one line to the next."""
    x = np.linspace(start, end, 33)
    inverse = 1.0 / np.array([size(v) for v in x])
    cells = max(1, int(np.ceil(np.trapezoid(inverse, x) - 1e-6)))
    if cells == 1:
        return 1, 1.0
    ratio = (size(end) / size(start)) ** (1 / (cells - 1))
    return cells, float(ratio)
