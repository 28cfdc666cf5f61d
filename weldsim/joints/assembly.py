"""Building kit of joints: blocks given by the places of their corners.

Corners at one place are one point, edges that face each other in a block get the same number of
cells, and that number follows from a size function unless it is stated. A joint only says where
its blocks are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.gmsh_reading import Move

Span = tuple[float, float]  # begin and end
Edge = tuple[int, int]  # two corners by number, the lower first
Cells = tuple[int | None, int | None, int | None]  # along a block's three ways; None by size
SizeFunction = Callable[[np.ndarray], np.ndarray]  # places (K, 3) to cell lengths (K,) [m]
# corners in Gmsh's order; each row of edges is parallel in the block
PARALLEL = (
    ((0, 1), (3, 2), (4, 5), (7, 6)),
    ((1, 2), (0, 3), (5, 6), (4, 7)),
    ((0, 4), (1, 5), (2, 6), (3, 7)),
)
FACES = ((0, 1, 2, 3), (4, 5, 6, 7), (0, 1, 5, 4), (3, 2, 6, 7), (0, 3, 7, 4), (1, 2, 6, 5))
GRAIN = 1e-7  # m; corners nearer than this are one
THROAT = 0.575  # of the leg, both ways: a fillet a little convex, 15 % above the flat one


class Assembly:
    """Blocks of a joint while it is put together.

    Parameters
    ----------
    size : callable
        Places (K, 3) [m] -> wanted cell length there (K,) [m].
    """

    def __init__(self, size: SizeFunction) -> None:
        self.size = size
        self.points: list[np.ndarray] = []
        self._number: dict[tuple, int] = {}
        self.blocks: list = []
        self._stated: dict[tuple[int, int], int] = {}
        self.faces: dict[frozenset, str] = {}

    def point(self, place: ArrayLike) -> int:
        """Number of the corner at a place."""
        key = tuple(np.round(np.asarray(place) / GRAIN).astype(np.int64).tolist())
        for near in _neighbours(key):  # a place on the border of two grains is still one place
            if near in self._number:
                return self._number[near]
        self._number[key] = len(self.points)
        self.points.append(np.asarray(place, dtype=float))
        return self._number[key]

    def block(self, corners: ArrayLike, region: str, cells: Cells = (None, None, None)) -> None:
        """Add a block: eight corners (8, 3) in Gmsh's order [m], cells along its three ways."""
        corners = np.asarray(corners, dtype=float)
        turned = np.dot(
            np.cross(corners[1] - corners[0], corners[3] - corners[0]), corners[4] - corners[0]
        )
        if turned < 0:
            corners = corners[[0, 3, 2, 1, 4, 7, 6, 5]]
            cells = (cells[1], cells[0], cells[2])
        numbers = [self.point(c) for c in corners]
        self.blocks.append((numbers, region))
        for directions, count in zip(PARALLEL, cells, strict=True):
            if count is not None:
                a, b = (numbers[i] for i in directions[0])
                self._stated[min(a, b), max(a, b)] = int(count)

    def box(
        self, x: Span, y: Span, z: Span, region: str, cells: Cells = (None, None, None)
    ) -> None:
        """Add a block along the axes, each of x, y, z a pair (low, high). [m]"""
        (x0, x1), (y0, y1), (z0, z1) = x, y, z
        ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        self.block([(*p, z0) for p in ring] + [(*p, z1) for p in ring], region, cells)

    def name(self, title: str, test: Callable[[np.ndarray], np.ndarray]) -> None:
        """Name the faces all of whose corners (K, 3) pass `test`, a function to a mask (K,)."""
        places = np.array(self.points)
        on = np.asarray(test(places))
        for numbers, _ in self.blocks:
            for face in FACES:
                corners = [numbers[i] for i in face]
                if on[corners].all():
                    self.faces[frozenset(corners)] = title

    def finish(
        self, volumes: Mapping[str, float], move: Move | None = None, tolerance: float = 1e-6
    ) -> Blocks:
        """The blocks with a division for every edge."""
        points = np.array(self.points)
        return Blocks(
            points, self.blocks, self._divisions(points), self.faces, volumes, move, tolerance
        )

    def _divisions(self, points: np.ndarray) -> dict:
        """Cells and size ratio of every edge; edges facing each other are one class."""
        parent: dict[tuple[int, int], tuple[tuple[int, int], int]] = {}

        def find(edge: Edge) -> tuple[Edge, int]:
            sign = 1
            while parent[edge][0] != edge:
                edge, turn = parent[edge]
                sign *= turn
            return edge, sign

        for numbers, _ in self.blocks:
            for directions in PARALLEL:
                edges = []
                for i, j in directions:
                    a, b = numbers[i], numbers[j]
                    edge = (min(a, b), max(a, b))
                    parent.setdefault(edge, (edge, 1))
                    edges.append((edge, 1 if a < b else -1))
                first, turn = find(edges[0][0])
                turn *= edges[0][1]
                for edge, sign in edges[1:]:
                    root, way = find(edge)
                    if root != first:
                        parent[root] = (first, way * sign * turn)
        classes: dict = {}
        for edge in parent:
            root, sign = find(edge)
            classes.setdefault(root, []).append((edge, sign))
        out = {}
        for members in classes.values():
            stated = [self._stated[e] for e, _ in members if e in self._stated]
            wanted = [(self._division(points[a], points[b]), s) for (a, b), s in members]
            cells = max(stated) if stated else max(w[0] for w, _ in wanted)
            ratio = max((w[1] ** s for w, s in wanted), key=lambda r: abs(np.log(r)))
            share = ratio ** (1 / (cells - 1)) if cells > 1 else 1.0
            for edge, sign in members:
                out[edge] = (cells, float(share**sign))
        return out

    def _division(self, a: np.ndarray, b: np.ndarray) -> tuple[int, float]:
        """Wanted cells from a to b, and the size of the last over that of the first."""
        way = np.linspace(0.0, 1.0, 17)[:, None]
        sizes = self.size(a + way * (b - a))
        length = float(np.linalg.norm(b - a))
        cells = max(1, int(np.ceil(length * np.trapezoid(1 / sizes, way[:, 0]) - 0.05)))
        return cells, float(sizes[-1] / sizes[0])


def _neighbours(key: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    yield key
    for axis in range(3):
        for step in (-1, 1):
            near = list(key)
            near[axis] += step
            yield tuple(near)


def lines(*values: float, near: float = 1e-6) -> list[float]:
    """Sorted places of grid lines without near doubles. [m]"""
    out: list[float] = []
    for value in sorted(values):
        if not out or value - out[-1] > near:
            out.append(float(value))
    return out


def spans(values: Sequence[float]) -> list[tuple[float, float]]:
    """Neighbouring pairs."""
    return list(pairwise(values))


def fillet_shares(
    gap: float, leg: float, foot_lines: Sequence[float] = (), halves: bool = True
) -> tuple[list[float], list[float]]:
    """Shares of the foot and of the wall side at which a fillet is cut into blocks.

    Parameters
    ----------
    gap, leg : float
        The wall begins `gap` above the base. [m]
    foot_lines : sequence of float
        Places on the foot, from the root, where the base has a grid line. [m]
    halves : bool
        Cut it in the middle of its sides as well, which several passes need.
    """
    own = [leg / 2] if halves and all(abs(f - leg / 2) > 0.2 * leg for f in foot_lines) else []
    inside = [f for f in foot_lines if 1e-6 < f < leg - 1e-6]
    foot = lines(0.0, leg, *own, *inside)
    side = lines(0.0, gap, gap + leg, *([gap + leg / 2] if halves else []))
    return [f / leg for f in foot], [s / (gap + leg) for s in side]


def fillet_pass(u: float, v: float, passes: int) -> int:
    """Which pass a place in a fillet belongs to: u along the foot, v up the wall, both 0 to 1.

    One pass fills it; of two the first lies in the root; of three the second covers the foot
    and the third leans on it and on the wall.
    """
    if passes == 1 or (u < 0.5 and v < 0.5):
        return 1
    return 2 if passes == 2 or u >= 0.5 else 3


def fillet_offsets(leg: float, passes: int) -> tuple:
    """Arc of each pass against the middle of the finished fillet's face: (toward foot, outward).

    The first is across the seam, positive toward the foot on the base; both in m.
    """
    half = leg / 2
    if passes == 1:
        return ((0.0, 0.0),)
    root = (0.0, -half / np.sqrt(2))
    if passes == 2:
        return (root, (0.0, 0.0))
    return (root, (half / np.sqrt(2), 0.0), (-half / np.sqrt(2), 0.0))


def add_fillet(
    kit: Assembly,
    along: Sequence[Span],
    place: Callable[[float, float, float], ArrayLike],
    gap: float,
    leg: float,
    shares: tuple[Sequence[float], Sequence[float]],
    names: Callable[[float, float], str],
    cells: int = 1,
) -> None:
    """Add the blocks of a fillet.

    Parameters
    ----------
    along : list of (begin, end)
        Stretches of the seam. [m]
    place : callable
        (place along, distance from the root on the base, height above the base) -> (3,) [m]
    shares : from `fillet_shares`
    names : callable
        (u, v) of a block's middle -> region.
    cells : int
        Across each block.
    """
    us, vs = shares
    corner = {(0, 0): (0.0, 0.0), (1, 0): (leg, 0.0), (0, 1): (0.0, gap + leg)}
    corner[1, 1] = (THROAT * leg, gap + THROAT * leg)

    def at(t: float, u: float, v: float) -> ArrayLike:
        w = {(0, 0): (1 - u) * (1 - v), (1, 0): u * (1 - v), (0, 1): (1 - u) * v, (1, 1): u * v}
        return place(t, *(sum(w[k] * corner[k][i] for k in corner) for i in range(2)))

    for begin, end in along:
        for (u0, u1), (v0, v1) in ((a, b) for a in spans(us) for b in spans(vs)):
            ring = [(u0, v0), (u1, v0), (u1, v1), (u0, v1)]
            corners = [at(begin, *p) for p in ring] + [at(end, *p) for p in ring]
            kit.block(corners, names((u0 + u1) / 2, (v0 + v1) / 2), (cells, cells, None))


def fillet_area(gap: float, leg: float) -> float:
    """Section of the fillet, gap edge included. [m2]"""
    foot, wall = leg, gap + leg
    tx, tz = THROAT * leg, gap + THROAT * leg
    return 0.5 * (foot * tz + tx * wall)
