"""Groove welds as a cross-section: what a plate butt and a tube butt share.

The section lies across the seam: y from the middle of the groove, z up from the back of the wall.
It is extruded along the seam, straight or laid out flat to be wrapped around a tube. Without a gap
a thin layer stands for the faces that touch; below the penetration it stays open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.joints.assembly import Assembly, lines, spans
from weldsim.joints.common import fill, mm, through

CAP_OVER = 0.25  # of the wall: how far the cap reaches over the plate beside the groove
CAP_TOP = 0.6  # width of the cap's top over its foot
WIDE = 1e-3  # m; a groove at least this wide at its root gets two cells across
LEAST_FACE = 0.1  # of the wall; a thinner root face would make slivers


@dataclass(frozen=True)
class Groove:
    """Section of a butt weld. [m, rad]

    Attributes
    ----------
    wall, gap : thickness and opening at the root
    bevel : included angle of the V; 0 is a square butt
    face : height of the unbevelled root face
    cap : height of the cap
    depth : from the top down to where the faces are fused
    passes : layers from the root up; the last one carries the cap
    """

    wall: float
    gap: float
    bevel: float
    face: float
    cap: float
    depth: float
    passes: int

    def half(self, z: float) -> float:
        """Half width of the groove at a height."""
        return self.gap / 2 + max(0.0, z - self.face) * np.tan(self.bevel / 2)

    @property
    def cap_half(self) -> float:
        return self.half(self.wall) + CAP_OVER * self.wall

    @property
    def face_width(self) -> float:
        """Width of the bead's face; of a narrow groove at least two walls, as the pool is."""
        return max(2 * self.cap_half, 2 * self.wall)

    @property
    def bottom(self) -> float:
        """Height above which the groove is filled."""
        return self.wall - self.depth

    @property
    def tops(self) -> list[float]:
        """Height of the top of each layer; layers hold about the same metal."""
        z = np.linspace(self.bottom, self.wall, 201)
        width = np.array([self.half(v) for v in z])
        area = np.concatenate([[0.0], np.cumsum((width[1:] + width[:-1]) / 2 * np.diff(z))])
        wanted = area[-1] * np.arange(1, self.passes + 1) / self.passes
        return [float(v) for v in np.interp(wanted, area, z)]

    @property
    def heights(self) -> list[float]:
        """Grid lines through the wall."""
        face = [self.face] if self.bevel > 0 else []
        low = [self.bottom] if self.bottom > 1e-9 else []
        near = LEAST_FACE * self.wall  # lines nearer than that to another one are left out
        out = [0.0, self.wall]
        for z in [*low, *face, *self.tops[:-1]]:
            if all(abs(z - other) > near for other in out):
                out.append(z)
        return lines(*out)


def add_groove(kit: Assembly, groove: Groove, seam: str, along, widths, grade, cells) -> None:
    """Blocks of both plates and of the weld.

    Parameters
    ----------
    along : list of (begin, end)
        Stretches along the seam. [m]
    widths : (left, right)
        How far the plates reach from the middle of the groove. [m]
    cells : callable
        (begin, end) -> cells along, or None for what the size asks.
    """
    rows = spans(groove.heights)
    layers = max(1, -(-through(grade) // len(rows)))
    across = 2 if groove.gap >= WIDE else 1
    edge = groove.cap_half
    for begin, end in along:
        count = cells((begin, end))

        def block(ring, region, over, up, begin=begin, end=end, count=count):
            corners = [(begin, *p) for p in ring] + [(end, *p) for p in ring]
            kit.block(corners, region, (over, up, count))

        for low, high in rows:
            a, b = groove.half(low), groove.half(high)
            ring = [(-a, low), (a, low), (b, high), (-b, high)]
            block(ring, _region(groove, seam, (low + high) / 2), across, layers)
            for side, width in ((-1, widths[0]), (1, widths[1])):
                near = [(side * a, low), (side * edge, low), (side * edge, high), (side * b, high)]
                block(near, "part", 1, layers)
                far = [(side * edge, low), (side * width, low), (side * width, high),
                       (side * edge, high)]  # fmt: skip
                block(far, "part", None, layers)
        if groove.cap > 0:
            wall, top = groove.wall, groove.wall + groove.cap
            half = groove.half(wall)
            for left, right, over in ((-edge, -half, 1), (-half, half, across), (half, edge, 1)):
                ring = [(left, wall), (right, wall), (CAP_TOP * right, top), (CAP_TOP * left, top)]
                block(ring, fill(groove.passes, seam), over, 1)


def _region(groove: Groove, seam: str, z: float) -> str:
    if z < groove.bottom - 1e-9:
        return "land"
    number = next((k for k, top in enumerate(groove.tops, 1) if z < top + 1e-9), groove.passes)
    return fill(number, seam)


def plate_area(groove: Groove, widths) -> float:
    """Section of both plates. [m2]"""
    z = np.array(lines(0.0, groove.wall, *([groove.face] if groove.bevel > 0 else [])))
    half = np.array([groove.half(v) for v in z])
    return sum(widths) * groove.wall - 2 * float(np.trapezoid(half, z))


def groove_of(part, wall: float) -> Groove:
    """Groove of a part's keys."""
    from weldsim.joints.common import LEAST_GAP

    bevelled = part.bevel > 0
    full = wall if bevelled or part.penetration is None else part.penetration
    cap = 0.1 * wall if part.cap_height is None else part.cap_height
    face = min(part.root_face, wall) if bevelled else 0.0
    return Groove(
        wall, max(part.root_gap, LEAST_GAP), part.bevel, face, cap, full, part.passes
    )


def groove_faults(part, wall: float, what: str) -> list[tuple[str, str]]:
    """What does not fit of a groove, as (key, sentence)."""
    out = []
    if not 0 <= part.bevel <= np.pi / 2 + 1e-9:
        out.append(("bevel", f"{np.degrees(part.bevel):.4g} deg is not allowed: 0 to 90 deg"))
    if part.root_face > wall:
        out.append(
            ("root_face", f"{mm(part.root_face)} is more than the {what}, allowed: up to {mm(wall)}")
        )
    if part.root_gap > wall:
        out.append(
            ("root_gap", f"{mm(part.root_gap)} is not allowed: at most the {what}, {mm(wall)}")
        )
    if part.penetration is not None and not 0.2 * wall <= part.penetration <= wall + 1e-9:
        out.append(
            ("penetration", f"{mm(part.penetration)} is not allowed: {mm(0.2 * wall)} to {mm(wall)}")
        )
    if part.penetration is not None and part.bevel > 0 and part.penetration < wall - 1e-9:
        out.append(
            ("penetration", "a bevelled groove is filled from the root, allowed: no penetration")
        )
    if not 1 <= part.passes <= 4:
        out.append(("passes", f"{part.passes} is not allowed: 1 to 4"))
    elif part.passes > 1 and part.bevel == 0:
        out.append(("passes", f"{part.passes} is not allowed for a square butt: 1"))
    if part.cap_height is not None and part.cap_height > wall / 2:
        out.append(
            ("cap_height", f"{mm(part.cap_height)} is not allowed: at most half the {what}, "
             f"{mm(wall / 2)}")
        )  # fmt: skip
    return out


def groove_offsets(groove: Groove) -> tuple:
    """Arc of each pass against the top of the plate: (0, up)."""
    return tuple((0.0, top - groove.wall) for top in groove.tops)


def groove_words(groove: Groove) -> str:
    shape = f"V of {np.degrees(groove.bevel):.3g} deg" if groove.bevel else "square butt"
    face = f", root face {mm(groove.face)}" if groove.bevel else ""
    passes = "one pass" if groove.passes == 1 else f"{groove.passes} layers from the root up"
    return f"{shape}{face}, gap {mm(groove.gap)}, {passes}, fused {mm(groove.depth)} deep"
