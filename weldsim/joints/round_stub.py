"""A round tube standing on a base, welded around: what a socket and a saddle share.

Sizes, seams and places; the flat layout is that of `round_layout`, the blocks are `round_kit`'s.
A thin layer is left under the tube, as under a square one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import fillet_offsets, fillet_shares, lines
from weldsim.joints.kit import Pair
from weldsim.joints.round_layout import QUARTER, Rings, flat, polar, widen
from weldsim.schema.records import Tack

Move = Callable[[np.ndarray], np.ndarray]  # flat layout to the part, points (P, 3) [m]
# clockwise from +y as seen from the free end; on the clock that is marked on the tube the front is
# at 6, nearest to the reader, so that right is at 3
QUARTERS = ("front", "left", "back", "right")
PIECES = 14  # straight pieces of a seam in a quarter
CORE = 0.6  # of the inner radius: half side of the square under the middle of the tube
BULGE = 0.35  # how round the core's outline is, 0 square to 1 a circle
MAIN = 1.5  # an axis names the travel when the seam goes this much further along it
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
    clock : where seams begin, clockwise from +y [rad]; empty for four quarters
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

    def shares(self) -> tuple[list[float], list[float]]:
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
        """Seam -> (begin, finish) clockwise from +y, the finish later than the begin. [rad]"""
        if not self.clock:
            middle = {name: QUARTER * k for k, name in enumerate(QUARTERS)}
            return {name: (c - QUARTER / 2, c + QUARTER / 2) for name, c in middle.items()}
        after = [*self.clock[1:], self.clock[0]]
        return {
            f"s{i + 1}": (a, a + ((b - a) % (2 * np.pi)))
            for i, (a, b) in enumerate(zip(self.clock, after, strict=True))
        }

    def owner(self, clock: float) -> str:
        """Seam at an angle clockwise from +y [rad]."""
        return next(
            name for name, (a, b) in self.seams.items() if (clock - a) % (2 * np.pi) < b - a
        )


def plan(
    stub: RoundStub, rho: np.ndarray, circle: np.ndarray, square: np.ndarray, outermost: float
) -> np.ndarray:
    """Where rings up to `outermost` lie in plan, shape (P, 2): circles, a square in the core."""
    rho = np.minimum(rho, outermost)
    shape = np.interp(rho, [0.0, CORE * stub.inner, stub.inner], [0.0, BULGE, 1.0])[:, None]
    return rho[:, None] * (shape * circle + (1 - shape) * square)


def plate_rings(stub: RoundStub, half_x: float, half_y: float) -> list:
    """Rings of a flat plate beyond the toe, for `widen`; a square first where there is room."""
    room = min(half_x, half_y) / stub.toe
    own = 1.3 * stub.toe
    between = [(own, (own, own))] if room > 1.6 else []
    return [(stub.toe, None), *between, (1.6 * stub.toe, (half_x, half_y))]


def plate_move(stub: RoundStub, rings: Rings) -> Move:
    """Map of the flat layout to a tube on a flat plate, points (P, 3) -> (P, 3) [m]."""

    def move(points: np.ndarray) -> np.ndarray:
        rho, circle, square = polar(points)
        near = plan(stub, rho, circle, square, stub.toe)
        return np.column_stack([widen(rho, near, square, rings), points[:, 2]])

    return move


def seam_lines(stub: RoundStub, move: Move) -> dict[str, SeamLine]:
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
            name, points, inwards, _direction_words(points, finish - begin), np.sqrt(2) * stub.leg,
            stub.leg / np.sqrt(2) + stub.penetration / 2, passes=stub.passes,
            offsets=offsets,  # across is inward x travel: toward the tube, away from the foot
        )  # fmt: skip
    return out


def _steps(begin: float, finish: float) -> np.ndarray:
    """Angles of a seam's points, an even number of pieces so that its middle is one. [rad]"""
    pieces = 2 * int(np.ceil(PIECES / 2 * (finish - begin) / QUARTER - 1e-9))
    return np.linspace(begin, finish, max(pieces, 2) + 1)


def _direction_words(points: np.ndarray, span: float) -> dict[str, int]:
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


def default_tacks(stub: RoundStub, move: Move, length: float, size: float) -> tuple[Tack, ...]:
    """A tack in the middle of each seam."""
    out = []
    for name, seam in seam_lines(stub, move).items():
        half = min(length, seam.length / 2) / 2
        out.append(Tack(name, seam.length / 2 - half, seam.length / 2 + half, size))
    return tuple(out)


def gap_places(stub: RoundStub, move: Move) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap: on the inner radius, amid each seam."""
    out = {}
    for name, (begin, finish) in stub.seams.items():
        spots = np.array([flat((begin + finish) / 2, stub.inner, z) for z in (0.0, stub.gap)])
        low, high = move(spots)
        out[name] = (tuple(low.tolist()), tuple(high.tolist()))
    return out


def cuts(
    stub: RoundStub, move: Move, tacks: Sequence[Tack] = (), more: Sequence[float] = ()
) -> list[list[float]]:
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
