"""A square tube standing on a flat face, welded around: what a tee and a socket share.

The face is z = 0 and the tube stands on it along +z, its middle on the z axis. It does not touch
the face: a thin layer is left, of which the outer strip is fused by the seam that passes it and
the inner part stays open. The fillets end at the tube's corners; the metal that wraps around a
corner is left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import (
    Assembly,
    Span,
    add_fillet,
    fillet_offsets,
    fillet_pass,
    fillet_shares,
    lines,
    spans,
)
from weldsim.joints.kit import Pair, fill, root, straight_seam, through
from weldsim.schema.records import Tack

# Seam -> (axis it runs along, side of the tube). Right and left as seen by one who stands before
# the front (+y) with the tube upright: +x is on the left; clockwise as seen from its free end.
SIDES = {"front": (0, 1), "back": (0, -1), "left": (1, 1), "right": (1, -1)}
CLOCKWISE = {"front": 1, "back": -1, "left": -1, "right": 1}


@dataclass(frozen=True)
class SquareStub:
    """Sizes of the tube and its welds. [m]

    Attributes
    ----------
    half, wall, length : outer half width, wall, length of the tube
    gap : between the tube and the face
    penetration : how far from outside the land is fused
    leg : of the fillets
    passes : of each fillet
    flush : sides along x on which the face ends with the tube, so that a bead covers the joint
    tack_ends : places along a seam, from its middle, where a tack ends
    fine : a grid line where the fused land ends; else the land is one cell wide, of which the
        points within the penetration are fused
    """

    half: float
    wall: float
    length: float
    gap: float
    penetration: float
    leg: float
    passes: int = 1
    flush: bool = False
    tack_ends: tuple = ()
    cap_height: float = 0.0
    fine: bool = True

    @property
    def ring(self) -> list[float]:
        """Grid lines across the tube: faces, roots, inner faces, ends of tacks."""
        half = [self.half, self.half - self.wall, *self.tack_ends]
        half += [self.half - self.penetration] if self.fine else []
        return lines(*half, *(-h for h in half))

    @property
    def heights(self) -> list[float]:
        """Grid lines up the tube."""
        middle = [self.gap + self.leg / 2] if self.halves else []
        return lines(0.0, self.gap, *middle, self.gap + self.leg, self.length)

    @property
    def halves(self) -> bool:
        """Whether fillets are cut in the middle of their sides."""
        return self.fine or self.passes > 1

    def toes(self, flush: bool, other: Sequence[float] = ()) -> list[float]:
        """Grid lines of the fillets' feet on both sides; `other` are lines of the base there."""
        if flush:
            return []
        shares, _ = self.shares(other)
        out = [self.half + s * self.leg for s in shares]
        return [*out, *(-v for v in out)]

    def shares(self, other: Sequence[float] = ()) -> tuple[list[float], list[float]]:
        return fillet_shares(self.gap, self.leg, [abs(v) - self.half for v in other], self.halves)

    def in_wall(self, x: float, y: float) -> bool:
        inner = self.half - self.wall
        return max(abs(x), abs(y)) < self.half and max(abs(x), abs(y)) > inner

    def land_region(self, x: float, y: float) -> str:
        """Region of the layer under the tube: of the seams that fuse it, or the open land."""
        edge = self.half - (self.penetration if self.fine else self.wall)
        owners = []
        if abs(y) > edge:
            owners.append("front" if y > 0 else "back")
        if abs(x) > edge:
            owners.append("left" if x > 0 else "right")
        if not self.fine:
            return root(*owners)
        return fill(1, *owners) if owners else "land"

    def fused(self, seam: str, points: np.ndarray) -> np.ndarray:
        """Which places under the tube (P, 3) a seam fuses."""
        axis, side = SIDES[seam]
        return side * points[:, 1 - axis] > self.half - self.penetration


def seam_lines(stub: SquareStub) -> dict[str, SeamLine]:
    """The four seams around the tube."""
    half, leg, gap = stub.half, stub.leg, stub.gap
    out = {}
    for name, (axis, side) in SIDES.items():
        words = {"+x": 1, "-x": -1} if axis == 0 else {"+y": 1, "-y": -1}
        words |= {"clockwise": CLOCKWISE[name], "counterclockwise": -CLOCKWISE[name]}
        first, last, inward = np.zeros(3), np.zeros(3), np.zeros(3)
        first[axis], last[axis] = -half, half
        cap = stub.flush and axis == 0
        aside = half if cap else half + leg / 2
        first[1 - axis] = last[1 - axis] = side * aside
        first[2] = last[2] = gap / 2 if cap else gap + leg / 2
        inward[1 - axis] = -side
        inward[2] = 0.0 if cap else -1.0
        # offsets are across = inward x travel: toward the foot on two sides, away on the others
        sign = -side if axis == 0 else side
        offsets = tuple((sign * a, o) for a, o in fillet_offsets(leg, stub.passes))
        width = 2 * leg + gap if cap else np.sqrt(2) * leg
        depth = stub.penetration if cap else leg / np.sqrt(2) + stub.penetration / 2
        out[name] = straight_seam(
            name, first, last, inward, words, width, depth,
            passes=1 if cap else stub.passes, offsets=((0.0, 0.0),) if cap else offsets,
        )  # fmt: skip
    return out


def default_tacks(stub: SquareStub, length: float, size: float) -> tuple[Tack, ...]:
    """Tacks at the four corners, on the ends of the front and back seams."""
    side = 2 * stub.half
    return tuple(
        Tack(seam, begin, begin + length, size)
        for seam in ("front", "back")
        for begin in (0.0, side - length)
    )


def gap_places(stub: SquareStub) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, one a side: (on the base, on the tube)."""
    r = stub.half - stub.wall
    places = {"front": (0.0, r), "back": (0.0, -r), "left": (r, 0.0), "right": (-r, 0.0)}
    return {k: ((x, y, 0.0), (x, y, stub.gap)) for k, (x, y) in places.items()}


def add_tube(kit: Assembly, stub: SquareStub, grade: Grade) -> None:
    """Blocks of the tube and of the layer under it."""
    ring = spans(stub.ring)
    cells = through(grade, split=stub.fine)
    for x, y in ((a, b) for a in ring for b in ring):
        mx, my = sum(x) / 2, sum(y) / 2
        if not stub.in_wall(mx, my):
            continue
        inner = stub.half - stub.wall
        count = (cells if abs(mx) > inner else None, cells if abs(my) > inner else None)
        kit.box(x, y, (0.0, stub.gap), stub.land_region(mx, my), (*count, 1))
        for z in spans([h for h in stub.heights if h >= stub.gap - 1e-9]):
            kit.box(x, y, z, "part", (*count, None))


def add_welds(
    kit: Assembly, stub: SquareStub, foot_lines: Sequence[float] = (), base_wall: float = 0.0
) -> dict[str, float]:
    """Blocks of the fillets, and of the caps on flush sides; volumes by pass region."""
    along = spans(stub.ring)
    volumes: dict[str, float] = {}
    for name, (axis, side) in SIDES.items():
        if axis == 0 and stub.flush:
            volumes[fill(1, name)] = _add_cap(kit, stub, name, side, along, base_wall)
            continue

        def place(t: float, a: float, b: float, axis: int = axis, side: int = side) -> np.ndarray:
            out = np.zeros(3)
            out[axis], out[1 - axis], out[2] = t, side * (stub.half + a), b
            return out

        other = foot_lines if axis == 0 else ()
        add_fillet(
            kit, along, place, stub.gap, stub.leg, stub.shares(other),
            lambda u, v, name=name: fill(fillet_pass(u, v, stub.passes), name),
        )  # fmt: skip
    return volumes


def _add_cap(
    kit: Assembly, stub: SquareStub, name: str, side: int, along: Sequence[Span], base_wall: float
) -> float:
    """A bead over the joint on a side where tube and base are flush."""
    foot = lines(*cap_lines(stub, base_wall))
    middle = stub.gap / 2

    def corner(x: float, z: float, top: bool) -> tuple[float, float, float]:
        y = stub.half + (stub.cap_height if top else 0.0)
        return (x, side * y, middle + (z - middle) / 3 if top else z)

    for x0, x1 in along:
        for z0, z1 in spans(foot):
            ring = [(x0, z0), (x1, z0), (x1, z1), (x0, z1)]
            corners = [corner(*p, False) for p in ring] + [corner(*p, True) for p in ring]
            kit.block(corners, fill(1, name), (None, None, 1))
    return 2 * stub.half * (2 * stub.leg + stub.gap) * stub.cap_height * (1 + 1 / 3) / 2


def cap_lines(stub: SquareStub, wall: float = 0.0) -> list[float]:
    """Grid lines up the joint that a flush bead needs."""
    up = [h for h in stub.heights if h < stub.length]
    return [-stub.leg, *([-wall] if 0 < wall < stub.leg else []), *up]
