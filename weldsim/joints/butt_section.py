"""A butt weld as a section across the seam: what plates and girth welds share.

The section lies in y (across) and z (up, through the wall); z = 0 amid the wall, the seam at
y = 0, welded from +z. Levels cut the wall where a layer of the groove ends, where the bevel begins
and where fusion ends. Blocks run along a first coordinate, a straight x or the way around a tube.
Edges that touch are a thin layer apart, as under a stub.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.geometry.grades import Grade
from weldsim.joints.assembly import Assembly, Cells, Span, lines, spans
from weldsim.joints.kit import LEAST_GAP, Gap, JointSection, fill, mm, through
from weldsim.schema.quantities import Size, quantity
from weldsim.schema.records import Tack

Angle = quantity("angle", "not negative")
CAP_SHARE = 0.1  # height of a cap over the thickness, where none is stated
OVERLAP = 0.25  # of the fused depth: how far a cap reaches beyond the groove on each side
LEAST_CAP = 1.2  # of the fused depth: least width of a cap, a bead is about as wide as deep
TOP_SHARE = 1 / 3  # width of a cap's top over its foot, as of the beads on a bar
MAX_PASSES = 4
STEEPEST = np.pi / 2  # rad; largest included angle of a V
SNAP = 0.4  # of a layer: a layer that ends this near to where the bevel begins ends there
NARROW = 0.5  # of the thickness: a groove narrower at the top is one cell wide
TACK = 10e-3  # m; length of a default tack
TACK_SHARE = 1 / 6  # of a plate's seam, at most


class GrooveSection(JointSection):
    """Keys of a butt weld."""

    root_gap: Gap = 0.0
    bevel: Angle = 0.0
    root_face: Gap = 0.0
    passes: int = 1
    cap_height: Size | None = None
    penetration: Size | None = None


@dataclass(frozen=True)
class Groove:
    """Sizes of a groove and its weld. [m]

    Attributes
    ----------
    thickness : of the plates
    gap : between their edges at the root
    bevel : included angle of the V, 0 for square edges [rad]
    root_face : height of the land that is not bevelled, at the bottom
    passes : layers from the root up, the last one with the cap
    cap_height : over the plates' face
    fused : depth from the plates' face, the whole thickness or less
    """

    thickness: float
    gap: float
    bevel: float
    root_face: float
    passes: int
    cap_height: float
    fused: float

    @property
    def top(self) -> float:
        return self.thickness / 2

    @property
    def kink(self) -> float:
        """Height at which the bevel begins; the top where there is none."""
        return min(self.root_face - self.top, self.top) if self.bevel > 0 else self.top

    @property
    def layers(self) -> list[float]:
        """Heights at which layers begin and end, from the bottom of fusion to the top."""
        edges = np.linspace(self.top - self.fused, self.top, self.passes + 1)
        step = self.fused / self.passes
        inner = [self.kink if abs(e - self.kink) < SNAP * step else float(e) for e in edges[1:-1]]
        return [float(edges[0]), *inner, float(edges[-1])]

    @property
    def levels(self) -> list[float]:
        """Grid lines through the plates."""
        return lines(-self.top, self.kink, *self.layers)

    def half(self, z: float) -> float:
        """Half width of the groove at a height."""
        return self.gap / 2 + np.tan(self.bevel / 2) * max(z - self.kink, 0.0)

    @property
    def cap_width(self) -> float:
        return max(2 * self.half(self.top) + 2 * OVERLAP * self.fused, LEAST_CAP * self.fused)

    def region(self, z: float, seam: str) -> str:
        """Region of the groove at a height."""
        layers = self.layers
        if z < layers[0]:
            return "land"
        return fill(next(k for k, end in enumerate(layers[1:], 1) if z < end), seam)

    @property
    def bevelled(self) -> float:
        """Section that the bevel takes off one plate. [m2]"""
        return np.tan(self.bevel / 2) * (self.top - self.kink) ** 2 / 2

    @property
    def offsets(self) -> tuple:
        """Arc of each pass against the middle of the plates' face: (aside, outward)."""
        return tuple((0.0, float(end - self.top)) for end in self.layers[1:])

    @property
    def depth(self) -> float:
        """Depth an arc has to fuse: the highest layer."""
        return float(np.diff(self.layers).max())


def groove_of(part: Any, thickness: float) -> Groove:
    """The groove of a part with the keys of `GrooveSection`."""
    return Groove(
        thickness, max(part.root_gap, LEAST_GAP), part.bevel, part.root_face, part.passes,
        part.cap_height or CAP_SHARE * thickness, part.penetration or thickness,
    )  # fmt: skip


def groove_faults(part: Any, thickness: float) -> list[tuple[str, str]]:
    """What does not fit of a groove, as (key, sentence)."""
    out = []
    if part.bevel > STEEPEST + 1e-9:
        out.append(
            ("bevel", f"{np.degrees(part.bevel):.4g} deg is not allowed: the included angle of the "
             f"V, 0 to {np.degrees(STEEPEST):.4g} deg")
        )  # fmt: skip
    square = part.bevel == 0
    face = thickness if square else 0.9 * thickness
    if part.root_face > face + 1e-9:
        of = "the thickness" if square else "nine tenths of the thickness"
        out.append(("root_face", f"{mm(part.root_face)} is not allowed: at most {of}, {mm(face)}"))
    if part.root_gap > thickness + 1e-9:
        out.append(
            ("root_gap", f"{mm(part.root_gap)} is not allowed: at most the thickness, "
             f"{mm(thickness)}")
        )  # fmt: skip
    if not 1 <= part.passes <= MAX_PASSES:
        out.append(("passes", f"{part.passes} is not allowed: 1 to {MAX_PASSES}"))
    if part.cap_height is not None and part.cap_height > thickness / 2 + 1e-9:
        out.append(
            ("cap_height", f"{mm(part.cap_height)} is not allowed: at most half of the thickness, "
             f"{mm(thickness / 2)}")
        )  # fmt: skip
    deep = part.penetration
    if deep is not None and (not square or part.root_gap > 0):
        out.append(
            ("penetration", "a bevel or a root gap is filled through the whole thickness, allowed: "
             "penetration only with bevel 0 and root_gap 0")
        )  # fmt: skip
    elif deep is not None and not 0.2 * thickness - 1e-9 <= deep <= 0.9 * thickness + 1e-9:
        out.append(
            ("penetration", f"{mm(deep)} is not allowed: a fifth to nine tenths of the thickness, "
             f"{mm(0.2 * thickness)} to {mm(0.9 * thickness)}; left out it is all of it")
        )  # fmt: skip
    return out


def end_tacks(seam: str, length: float, size: float) -> tuple[Tack, ...]:
    """Tacks at both ends of a seam. [m]"""
    long = min(TACK, TACK_SHARE * length)
    return (Tack(seam, 0.0, long, size), Tack(seam, length - long, length, size))


def prism(
    kit: Assembly,
    along: Span,
    quad: Sequence[tuple[float, float]],
    region: str,
    cells: Cells = (None, None, None),
) -> None:
    """Add a block: a quadrangle of the section, four (y, z), from `along[0]` to `along[1]`. [m]

    Cells go from the first place to the second, from the second to the third, and along.
    """
    kit.block([(t, *p) for t in along for p in quad], region, cells)


def add_butt(
    kit: Assembly,
    groove: Groove,
    seam: str,
    along: Sequence[Span],
    width: float,
    grade: Grade,
    count: Callable[[float, float], int] | None = None,
) -> None:
    """Add the blocks of two plates, the groove between them and the cap.

    Parameters
    ----------
    along : list of (begin, end)
        Stretches of the seam. [m]
    width : float
        Of each plate, from its root edge. [m]
    count : callable, optional
        (begin, end) -> cells along that stretch; by size when left out.
    """
    rows = spans(groove.levels)
    layer = max(1, -(-through(grade) // len(rows)))
    toe, edge, top = groove.cap_width / 2, groove.gap / 2 + width, groove.top
    wide = 2 * groove.half(top)
    across = 1 if wide < NARROW * groove.thickness else max(2, grade.bead_cells // 2)
    for stretch in along:
        long = count(*stretch) if count else None
        for low, high in rows:
            a, b = groove.half(low), groove.half(high)
            cells = (None, layer, long)
            for side in (1, -1):
                quad = [(side * a, low), (side * toe, low), (side * toe, high), (side * b, high)]
                prism(kit, stretch, quad, "part", cells)
                quad = [(side * y, z) for y, z in _box(toe, edge, low, high)]
                prism(kit, stretch, quad, "part", cells)
            quad = [(-a, low), (a, low), (b, high), (-b, high)]
            region = groove.region((low + high) / 2, seam)
            prism(kit, stretch, quad, region, (across, layer, long))
        for left, right in spans([-toe, -wide / 2, wide / 2, toe]):
            lift = top + groove.cap_height
            quad = [(left, top), (right, top), (TOP_SHARE * right, lift), (TOP_SHARE * left, lift)]
            columns = across if left < 0 < right else None
            cells = (columns, through(grade, split=True), long)
            prism(kit, stretch, quad, fill(groove.passes, seam), cells)


def _box(y0: float, y1: float, z0: float, z1: float) -> list[tuple[float, float]]:
    return [(y0, z0), (y1, z0), (y1, z1), (y0, z1)]


def plates_area(groove: Groove, width: float) -> float:
    """Section of both plates. [m2]"""
    return 2 * (width * groove.thickness - groove.bevelled)


def cuts(length: float, tacks: Sequence[Tack], seam: str) -> list[tuple[float, float]]:
    """Stretches of a seam between its ends and those of its tacks. [m]"""
    ends = [v for t in tacks if t.seam == seam for v in (t.begin, t.finish)]
    inside = [v for v in ends if 1e-6 < v < length - 1e-6]
    return spans(lines(0.0, length, *inside))


def groove_words(part: Any, groove: Groove) -> str:
    """The groove and its weld, part of a line."""
    edges = "square edges"
    if part.bevel:
        edges = f"a V of {np.degrees(part.bevel):.4g} deg with a root face of {mm(part.root_face)}"
    gap = f"a root gap of {mm(part.root_gap)}" if part.root_gap else "the edges touching"
    deep = mm(groove.fused) + " deep" if part.penetration else "through"
    passes = "one pass" if groove.passes == 1 else f"{groove.passes} passes"
    return f"{edges}, {gap}, fused {deep} in {passes}; cap {mm(groove.cap_height)} high"
