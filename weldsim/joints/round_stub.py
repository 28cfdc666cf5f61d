"""A round tube standing on a base, welded around: what a socket and a saddle share.

Laid out flat, everything is concentric squares with mitred corners: the square of half side rho
becomes the circle of radius rho, and a place at a constant share of a side a constant angle.
Angles are those of a clock seen from the tube's free end, 12 o'clock on +y and 3 o'clock on +x,
in radians clockwise from 12. A thin layer is left under the tube, as under a square one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import (
    Assembly,
    add_fillet,
    fillet_offsets,
    fillet_pass,
    fillet_shares,
    lines,
    spans,
)
from weldsim.joints.kit import fill, root, through
from weldsim.schema.records import Tack

QUARTER = np.pi / 2
QUARTERS = ("front", "right", "back", "left")  # centred on 12, 3, 6 and 9 o'clock
OUT = np.array([(0, 1), (1, 0), (0, -1), (-1, 0)], dtype=float)  # outward of each side
ROUND = np.array([(1, 0), (0, -1), (-1, 0), (0, 1)], dtype=float)  # clockwise along each side
PIECES = 14  # straight pieces of a seam in a quarter
AROUND = 24  # cells around a circle, at least
ROUGH_AROUND = 20  # the same where the travel cell is above ROUGH: a ring holds 98.4 % of its metal
ROUGH = 0.6  # bead widths
CORE = 0.6  # of the inner radius: half side of the square under the middle of the tube
BULGE = 0.35  # how round the core's outline is, 0 square to 1 a circle
MAIN = 1.5  # an axis names the travel when the seam goes this much further along it
LEAST_CLOCK = 30  # minutes on the clock (15 degrees) from one position to the next
SPARE = 0.1  # of a cell; an edge this much too long gets no further cell
SAME_SHARE = 1e-5  # of half a side; nearer cuts are one


@dataclass(frozen=True)
class RoundStub:
    """Sizes of the tube and its welds. [m]

    Attributes
    ----------
    radius, wall, length : outer radius, wall, length of the tube from the base
    gap : between the tube and the base
    penetration : how far from outside the land is fused
    leg : of the fillet
    passes : of the fillet
    clock : where seams begin, in clockwise order [rad]; empty for four quarters
    fine : a grid line where the fused land ends, as in a square stub
    """

    radius: float
    wall: float
    length: float
    gap: float
    penetration: float
    leg: float
    passes: int = 1
    clock: tuple = ()
    fine: bool = True

    @property
    def halves(self) -> bool:
        """Whether the fillet is cut in the middle of its sides."""
        return self.fine or self.passes > 1

    def shares(self):
        return fillet_shares(self.gap, self.leg, halves=self.halves)

    def fused(self, seam: str, points: np.ndarray) -> np.ndarray:
        """Which places under the tube (P, 3) its seam fuses."""
        return np.hypot(points[:, 0], points[:, 1]) > self.radius - self.penetration

    @property
    def inner(self) -> float:
        return self.radius - self.wall

    @property
    def toe(self) -> float:
        return self.radius + self.leg

    @property
    def radii(self) -> list[float]:
        """Rings of the base from the core's outline to the toe."""
        foot = [self.radius + s * self.leg for s in self.shares()[0]]
        edge = [self.radius - self.penetration] if self.fine else []
        return lines(CORE * self.inner, self.inner, *edge, self.radius, *foot)

    @property
    def heights(self) -> list[float]:
        """Grid lines up the tube, from its lower end."""
        middle = [self.gap + self.leg / 2] if self.halves else []
        return lines(self.gap, *middle, self.gap + self.leg, self.length)

    @property
    def seams(self) -> dict[str, tuple[float, float]]:
        """Seam -> (begin, finish) on the clock, the finish later than the begin. [rad]"""
        if not self.clock:
            middle = {name: QUARTER * k for k, name in enumerate(QUARTERS)}
            return {name: (c - QUARTER / 2, c + QUARTER / 2) for name, c in middle.items()}
        after = [*self.clock[1:], self.clock[0]]
        return {
            f"s{i + 1}": (a, a + ((b - a) % (2 * np.pi)))
            for i, (a, b) in enumerate(zip(self.clock, after, strict=True))
        }

    def owner(self, clock: float) -> str:
        """Seam at an angle of the clock [rad]."""
        return next(
            name for name, (a, b) in self.seams.items() if (clock - a) % (2 * np.pi) < b - a
        )


def minutes(text: str) -> int | None:
    """Minutes past 12 of a position such as "10:30", 0 to 719; None when it is none."""
    found = re.fullmatch(r"(\d{1,2}):(\d\d)", str(text))
    if not found or not 1 <= int(found[1]) <= 12 or int(found[2]) > 59:
        return None
    return int(found[1]) % 12 * 60 + int(found[2])


def clock_angles(clock) -> tuple[float, ...]:
    """Angles of clock positions, clockwise from 12 [rad]."""
    return tuple(minutes(text) * np.pi / 360 for text in clock or ())


def clock_faults(clock) -> list[tuple[str, str]]:
    """What is wrong with a list of clock positions, as (key, sentence)."""
    if not isinstance(clock, list | tuple):
        return []
    bad = [text for text in clock if minutes(text) is None]
    if bad:
        return [("clock", f"{bad[0]!r} is not a clock position, allowed: 1:00 to 12:59")]
    if len(clock) < 2:
        return [("clock", f"{len(clock)} positions are not enough, allowed: from 2")]
    past = [minutes(text) for text in clock]
    if len(set(past)) < len(past):
        return [("clock", "a position is given twice, allowed: different positions")]
    steps = [(b - a) % 720 for a, b in zip(past, [*past[1:], past[0]], strict=True)]
    if sum(steps) != 720:
        return [("clock", "the positions are not in order, allowed: once around, clockwise")]
    if min(steps) < LEAST_CLOCK:
        return [
            ("clock", "two positions are too near each other, allowed: from half an hour apart")
        ]
    return []


def flat(clock, rho, z) -> np.ndarray:
    """Place (3,) in the flat layout of an angle of the clock [rad] on ring rho at height z [m]."""
    side = round(clock / QUARTER)
    share = 2 * (clock / QUARTER - side)
    return np.append(rho * (OUT[side % 4] + share * ROUND[side % 4]), z)


def polar(points):
    """Ring, direction on the circle and place on the unit square of flat points.

    Parameters
    ----------
    points : ndarray, shape (P, 3) [m]

    Returns
    -------
    rho : ndarray, shape (P,) [m]
    circle, square : ndarray, shape (P, 2); zeros in the middle
    """
    xy = points[:, :2]
    rho = np.abs(xy).max(axis=1)
    square = xy / np.where(rho > 0, rho, 1.0)[:, None]
    tall = np.abs(square[:, 1]) >= np.abs(square[:, 0])
    angle = np.pi / 4 * np.where(tall, square[:, 0], square[:, 1])
    sign = np.sign(np.where(tall, square[:, 1], square[:, 0]))
    major, minor = sign * np.cos(angle), np.sin(angle)
    circle = np.where(tall[:, None], np.stack([minor, major], 1), np.stack([major, minor], 1))
    return rho, circle, square


def plan(stub: RoundStub, rho, circle, square, outermost: float) -> np.ndarray:
    """Where rings up to `outermost` lie in plan, shape (P, 2): circles, a square in the core."""
    rho = np.minimum(rho, outermost)
    shape = np.interp(rho, [0.0, CORE * stub.inner, stub.inner], [0.0, BULGE, 1.0])[:, None]
    return rho[:, None] * (shape * circle + (1 - shape) * square)


def widen(rho, toe, square, rings) -> np.ndarray:
    """Places (P, 2) beyond the toe: from the toe's line to rectangles, straight in between.

    Parameters
    ----------
    rho : ndarray, shape (P,)
    toe : ndarray, shape (P, 2); where the toe is in that direction
    square : ndarray, shape (P, 2); place on the unit square
    rings : (flat half side of the toe, None) and then (flat half side, (half x, half y)) of each
        rectangle, outwards [m]
    """
    out = toe.copy()
    for (low, _), (high, half) in spans(rings):
        share = np.clip((rho - low) / (high - low), 0.0, 1.0)[:, None]
        out = np.where(share > 0, (1 - share) * out + share * square * np.array(half), out)
    return out


def plate_rings(stub: RoundStub, half_x: float, half_y: float) -> list:
    """Rings of a flat plate beyond the toe, for `widen`; a square first where there is room."""
    room = min(half_x, half_y) / stub.toe
    own = 1.3 * stub.toe
    between = [(own, (own, own))] if room > 1.6 else []
    return [(stub.toe, None), *between, (1.6 * stub.toe, (half_x, half_y))]


def plate_move(stub: RoundStub, rings):
    """Map of the flat layout to a tube on a flat plate, points (P, 3) -> (P, 3) [m]."""

    def move(points):
        rho, circle, square = polar(points)
        near = plan(stub, rho, circle, square, stub.toe)
        return np.column_stack([widen(rho, near, square, rings), points[:, 2]])

    return move


class RoundKit(Assembly):
    """Assembly that counts cells where the edges really lie.

    Parameters
    ----------
    size : callable; real places (K, 3) [m] -> wanted cell length there (K,) [m]
    move : callable; flat places (K, 3) -> real places (K, 3) [m]
    stub : RoundStub
    grade : Grade
    """

    def __init__(self, size, move, stub: RoundStub, grade):
        super().__init__(size)
        self.turn = 2 * np.pi / (ROUGH_AROUND if grade.travel_cell > ROUGH else AROUND)
        self.move, self.core = move, stub.radii[0]
        self.arc, self.toe = stub.radius + stub.leg / 2, stub.toe

    def _division(self, a, b) -> tuple[int, float]:
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


def _turns(places, most: float) -> int:
    """Least cells along an edge of places (17, 3) that turns at most `most` in a cell [rad]."""
    step = np.diff(places, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    turn = np.arccos(np.clip((step[:-1] * step[1:]).sum(axis=1), -1.0, 1.0)).sum()
    return max(1, int(np.ceil(turn * 16 / 15 / most - SPARE)))


def seam_lines(stub: RoundStub, move) -> dict[str, SeamLine]:
    """The seams around the tube, clockwise.

    Parameters
    ----------
    move : callable
        Map of the flat layout to the part, points (P, 3) -> (P, 3) [m].
    """
    out = {}
    offsets = tuple((-a, o) for a, o in fillet_offsets(stub.leg, stub.passes))
    half, gap = stub.leg / 2, stub.gap
    for name, (begin, finish) in stub.seams.items():
        clock = _steps(begin, finish)
        points = move(np.array([flat(c, stub.radius + half, gap + half) for c in clock]))
        inwards = move(np.array([flat(c, stub.radius, gap) for c in clock])) - points
        inwards /= np.linalg.norm(inwards, axis=1)[:, None]
        out[name] = SeamLine(
            name, points, inwards, _ways(points, finish - begin), np.sqrt(2) * stub.leg,
            stub.leg / np.sqrt(2) + stub.penetration / 2, passes=stub.passes,
            offsets=offsets,  # across is inward x travel: toward the tube, away from the foot
        )  # fmt: skip
    return out


def _steps(begin: float, finish: float) -> np.ndarray:
    """Angles of a seam's points, an even number of pieces so that its middle is one. [rad]"""
    pieces = 2 * int(np.ceil(PIECES / 2 * (finish - begin) / QUARTER - 1e-9))
    return np.linspace(begin, finish, max(pieces, 2) + 1)


def _ways(points, span: float) -> dict[str, int]:
    """Words for the two directions of a seam that runs clockwise."""
    words = {"clockwise": 1, "counterclockwise": -1}
    if span > np.pi + 1e-9:
        return words
    chord = points[-1] - points[0]
    for axis, letter in enumerate("xy"):
        if abs(chord[axis]) > MAIN * abs(chord[1 - axis]):
            direction = 1 if chord[axis] > 0 else -1
            words |= {f"+{letter}": direction, f"-{letter}": -direction}
    return words


def default_tacks(stub: RoundStub, move, length: float, size: float) -> tuple[Tack, ...]:
    """A tack in the middle of each seam."""
    out = []
    for name, seam in seam_lines(stub, move).items():
        half = min(length, seam.length / 2) / 2
        out.append(Tack(name, seam.length / 2 - half, seam.length / 2 + half, size))
    return tuple(out)


def gap_places(stub: RoundStub, move) -> dict:
    """Pairs of places whose distance is the open gap: on the inner radius, amid each seam."""
    out = {}
    for name, (begin, finish) in stub.seams.items():
        spots = np.array([flat((begin + finish) / 2, stub.inner, z) for z in (0.0, stub.gap)])
        low, high = move(spots)
        out[name] = (tuple(low.tolist()), tuple(high.tolist()))
    return out


def cuts(stub: RoundStub, move, tacks=(), more=()) -> list[list[float]]:
    """Shares of each side, clockwise from -1 to 1, where seams and tacks end, and at `more` [rad].

    Sides that face each other are cut alike, so that the core under the tube is a grid.
    """
    angles = [*more]
    angles += [a for ends in stub.seams.values() for a in ends]
    seams = seam_lines(stub, move)
    for tack in tacks:
        seam = seams[tack.seam]
        step = np.linalg.norm(np.diff(seam.points, axis=0), axis=1)
        way = np.concatenate([[0.0], np.cumsum(step)])
        angles += np.interp((tack.begin, tack.finish), way, _steps(*stub.seams[tack.seam])).tolist()
    found: tuple = ([-1.0, 1.0], [-1.0, 1.0])  # along x, along y
    for angle in angles:
        x, y, _ = flat(angle, 1.0, 0.0)
        if abs(abs(x) - abs(y)) > SAME_SHARE:
            found[0 if abs(y) > abs(x) else 1].append(x if abs(y) > abs(x) else y)
    xs, ys = (lines(*f, near=SAME_SHARE) for f in found)
    return [xs, [-y for y in ys[::-1]], [-x for x in xs[::-1]], ys]


def _sector(kit: Assembly, side: int, shares, rhos, heights, region: str, cells) -> None:
    """One block: a stretch of a side between two rings and two heights."""
    ends = [rhos[0] * (OUT[side] + g * ROUND[side]) for g in shares]
    ends += [rhos[1] * (OUT[side] + g * ROUND[side]) for g in shares[::-1]]
    kit.block([(*p, z) for z in heights for p in ends], region, cells)


def _across(stub: RoundStub, rhos, grade) -> int | None:
    """Cells between two rings, stated within the tube's wall."""
    inside = stub.inner - 1e-9 < rhos[0] and rhos[1] < stub.radius + 1e-9
    return through(grade, split=stub.fine) if inside else None


def add_base(kit: RoundKit, stub: RoundStub, grade, cut, rings, low: float) -> None:
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


def add_tube(kit: RoundKit, stub: RoundStub, grade, cut) -> None:
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


def add_welds(kit: RoundKit, stub: RoundStub, cut) -> None:
    """Blocks of the fillet."""
    for side in range(4):

        def place(share, a, b, side=side):
            return (*((stub.radius + a) * (OUT[side] + share * ROUND[side])), b)

        for shares in spans(cut[side]):
            owner = stub.owner(QUARTER * (side + sum(shares) / 4))
            add_fillet(
                kit, [shares], place, stub.gap, stub.leg, stub.shares(),
                lambda u, v, owner=owner: fill(fillet_pass(u, v, stub.passes), owner),
            )  # fmt: skip
