"""Blocks of a round tube welded onto a base: base, tube, layer under it, fillet."""

from __future__ import annotations

import numpy as np

from weldsim.geometry.gmsh_reading import Move
from weldsim.geometry.grades import Grade
from weldsim.joints.assembly import (
    Assembly,
    Cells,
    SizeFunction,
    Span,
    add_fillet,
    fillet_pass,
    lines,
    spans,
)
from weldsim.joints.kit import fill, root, through
from weldsim.joints.round_layout import OUT, QUARTER, ROUND, Rings
from weldsim.joints.round_stub import RoundStub

AROUND = 24  # cells around a circle, at least
ROUGH_AROUND = 20  # the same where the travel cell is above ROUGH: a ring holds 98.4 % of its metal
ROUGH = 0.6  # bead widths
SPARE = 0.1  # of a cell; an edge this much too long gets no further cell


class RoundKit(Assembly):
    """Assembly that counts cells where the edges really lie.

    Parameters
    ----------
    size : callable; real places (K, 3) [m] -> wanted cell length there (K,) [m]
    move : callable; flat places (K, 3) -> real places (K, 3) [m]
    stub : RoundStub
    grade : Grade
    """

    def __init__(self, size: SizeFunction, move: Move, stub: RoundStub, grade: Grade) -> None:
        super().__init__(size)
        self.turn = 2 * np.pi / (ROUGH_AROUND if grade.travel_cell > ROUGH else AROUND)
        self.move, self.core = move, stub.radii[0]
        self.arc, self.toe = stub.radius + stub.leg / 2, stub.toe

    def _division(self, a: np.ndarray, b: np.ndarray) -> tuple[int, float]:
        way = np.linspace(0.0, 1.0, 17)[:, None]
        places = self.move(a + way * (b - a))
        step = np.linalg.norm(np.diff(places, axis=0), axis=1)
        sizes = self.size(places)
        wanted = (step / (sizes[:-1] + sizes[1:]) * 2).sum()
        rho = np.abs([a[:2], b[:2]]).max(axis=1)
        around = abs(a[2] - b[2]) < 1e-9 and abs(rho[0] - rho[1]) < 1e-9
        if around:  # counted where the arc runs
            wanted *= min(1.0, self.arc / rho[0])
        elif rho.min() > self.toe - 1e-9:  # mitres of the plate are longer than its middle
            wanted *= abs(rho[1] - rho[0]) / np.linalg.norm(b - a)
        cells = max(1, int(np.ceil(wanted - SPARE)))
        if around or max(a[2], b[2]) < 1e-9:  # what turns across a fillet is only its face
            cells = max(cells, _turns(places, self.turn))
        if around or rho.max() < self.core + 1e-9:  # even around: cuts stay at their angle
            return cells, 1.0
        return cells, float(np.clip(sizes[-1] / step[-1] / (sizes[0] / step[0]), 0.2, 5.0))


def _turns(places: np.ndarray, most: float) -> int:
    """Least cells along an edge of places (17, 3) that turns at most `most` in a cell [rad]."""
    step = np.diff(places, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    turn = np.arccos(np.clip((step[:-1] * step[1:]).sum(axis=1), -1.0, 1.0)).sum()
    return max(1, int(np.ceil(turn * 16 / 15 / most - SPARE)))


def _sector(
    kit: Assembly, side: int, shares: Span, rhos: Span, heights: Span, region: str, cells: Cells
) -> None:
    """One block: a stretch of a side between two rings and two heights."""
    ends = [rhos[0] * (OUT[side] + g * ROUND[side]) for g in shares]
    ends += [rhos[1] * (OUT[side] + g * ROUND[side]) for g in shares[::-1]]
    kit.block([(*p, z) for z in heights for p in ends], region, cells)


def _across(stub: RoundStub, rhos: Span, grade: Grade) -> int | None:
    """Cells between two rings, stated within the tube's wall."""
    inside = stub.inner - 1e-9 < rhos[0] and rhos[1] < stub.radius + 1e-9
    return through(grade, split=stub.fine) if inside else None


def add_base(
    kit: RoundKit, stub: RoundStub, grade: Grade, cut: list[list[float]], rings: Rings, low: float
) -> None:
    """Blocks of the base from z = low to 0, out to the last ring of `rings` (see `widen`)."""
    radii = [*stub.radii, *(r for r, _ in rings[1:])]
    layers = through(grade)
    for x in spans(cut[0]):
        for y in spans(cut[3]):
            core = [tuple(radii[0] * v for v in way) for way in (x, y)]
            kit.box(*core, (low, 0.0), "part", (None, None, layers))
    for side in range(4):
        for shares in spans(cut[side]):
            for rhos in spans(radii):
                cells = (None, _across(stub, rhos, grade), layers)
                _sector(kit, side, shares, rhos, (low, 0.0), "part", cells)


def add_tube(kit: RoundKit, stub: RoundStub, grade: Grade, cut: list[list[float]]) -> None:
    """Blocks of the tube and of the layer under it."""
    edge = stub.radius - (stub.penetration if stub.fine else stub.wall)
    for side in range(4):
        for shares in spans(cut[side]):
            owner = stub.owner(QUARTER * (side + sum(shares) / 4))
            for rhos in spans(lines(stub.inner, edge, stub.radius)):
                cells = (None, _across(stub, rhos, grade))
                land = fill(1, owner) if rhos[0] > edge - 1e-9 else "land"
                land = land if stub.fine else root(owner)
                _sector(kit, side, shares, rhos, (0.0, stub.gap), land, (*cells, 1))
                for z in spans(stub.heights):
                    _sector(kit, side, shares, rhos, z, "part", (*cells, None))


def add_welds(kit: RoundKit, stub: RoundStub, cut: list[list[float]]) -> None:
    """Blocks of the fillet."""
    for side in range(4):

        def place(share: float, a: float, b: float, side: int = side) -> tuple[float, float, float]:
            return (*((stub.radius + a) * (OUT[side] + share * ROUND[side])), b)

        for shares in spans(cut[side]):
            owner = stub.owner(QUARTER * (side + sum(shares) / 4))
            add_fillet(
                kit, [shares], place, stub.gap, stub.leg, stub.shares(),
                lambda u, v, owner=owner: fill(fillet_pass(u, v, stub.passes), owner),
            )  # fmt: skip
