"""What joint kinds share: keys of every part, tacks, sizes of cells near seams."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from weldsim.errors import CaseError
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import SizeFunction
from weldsim.schema.quantities import Axis, Section, Size, quantity

Gap = quantity("length", "not negative")
LEAST_GAP = 0.1e-3  # m; stands for surfaces that touch: the land needs cells to be fused
MM = 1e3
Place = tuple[float, float, float]  # m
Pair = tuple[Place, Place]
BEAD = "bead"  # first word of the region of a bead on a bar
SEAM = 1.25  # of the travel cell of a bead on a bar: a fillet's face is wide for its leg
THIN = 2.0  # tubes and plates bend as quadratic cells do, so cells may grow faster than in a bar


class JointSection(Section):
    """Keys that every joint has besides its own sizes."""

    kind: str
    material: str
    up: Axis = "+z"  # which way is up in the workshop, for positions and uphill
    tacks: Literal["usual", "none"] = "usual"  # what holds where no [[tack]] is written


class FilletSection(JointSection):
    """Keys of a piece that stands on another and is welded with fillets."""

    leg: Size
    root_gap: Gap = 0.0
    penetration: Size | None = None
    passes: int = 1


@dataclass(frozen=True)
class Filler:
    """What a region of filler is, read from its name.

    `fill PASS SEAM...` and `bead SEAM` are laid as a whole; `root SEAM...` is a land through the
    whole wall, of which a seam fuses the part that the joint's `fused` says.
    """

    number: int
    seams: tuple[str, ...]
    partly: bool = False

    @classmethod
    def of(cls, region: str) -> Filler | None:
        word, *rest = region.split()
        if word == BEAD:
            return cls(1, (region.removeprefix(f"{BEAD} "),))
        if word == "root":
            return cls(1, tuple(rest), True)
        return cls(int(rest[0]), tuple(rest[1:])) if word == "fill" else None


def bead_region(seam: str) -> str:
    """Name of the region of a bead on a bar."""
    return f"{BEAD} {seam}"


def fill(number: int, *seams: str) -> str:
    """Name of the region of a pass; metal where seams meet belongs to each of them."""
    return " ".join(["fill", str(number), *seams])


def root(*seams: str) -> str:
    """Name of the region of a land of which the seams fuse a part."""
    return " ".join(["root", *seams])


def mm(value: float) -> str:
    return f"{MM * value:.4g} mm"


def fillet_faults(part: Any, tube: str, wall: float, base: float) -> list[tuple[str, str]]:
    """What does not fit of the weld on a tube, as (key, sentence).

    Parameters
    ----------
    tube : what the length of the standing tube is called
    wall, base : walls of the standing tube and of what it stands on [m]
    """
    out = []
    thin, length = min(wall, base), getattr(part, f"{tube}_length")
    if part.leg > 1.5 * thin + 1e-9:
        out.append(
            ("leg", f"{mm(part.leg)} is larger than the walls allow: up to one and a half of the "
             f"thinner wall, {mm(1.5 * thin)}")
        )  # fmt: skip
    if part.penetration is not None and part.penetration > 0.9 * wall:
        out.append(
            ("penetration", f"{mm(part.penetration)} is not allowed: at most nine tenths of the "
             f"{tube} wall, {mm(0.9 * wall)}")
        )  # fmt: skip
    if part.root_gap > wall:
        out.append(
            ("root_gap", f"{mm(part.root_gap)} is not allowed: at most the {tube} wall, {mm(wall)}")
        )
    if length < 3 * part.leg:
        out.append(
            (f"{tube}_length", f"{mm(length)} is not allowed: from three legs, {mm(3 * part.leg)}")
        )
    if not 1 <= part.passes <= 3:
        out.append(("passes", f"{part.passes} is not allowed: 1, 2 or 3"))
    return out


def land_height(part: Any) -> float:
    """Height of the layer under a standing piece. [m]"""
    return max(part.root_gap, LEAST_GAP)


def land_words(part: Any, penetration: float) -> str:
    """What is between the pieces, how deep it is fused, and the fillets."""
    gap = f"a root gap of {mm(part.root_gap)}" if part.root_gap else "the contact faces touching"
    return f"{gap}, fused {mm(penetration)} deep; fillets with leg {mm(part.leg)}"


def named(found: dict, name: str, joint: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,); `CaseError` says which there are. [m]"""
    if name not in found:
        raise CaseError(f"place {name} is unknown on a {joint}, allowed: {', '.join(found)}")
    return np.array(found[name], dtype=float)


def near_seams(seams: Iterable[SeamLine], grade: Grade) -> SizeFunction:
    """Size function of a joint: the travel cell at its seams, growing away from them.

    Parameters
    ----------
    seams : iterable of SeamLine
    grade : Grade

    Returns
    -------
    callable
        Places (K, 3) [m] -> cell length (K,) [m].
    """
    starts, steps, fine = [], [], []
    for seam in seams:
        starts.append(seam.points[:-1])
        steps.append(np.diff(seam.points, axis=0))
        fine += [seam.width] * (len(seam.points) - 1)
    a, d, width = np.concatenate(starts), np.concatenate(steps), np.array(fine)
    square = (d**2).sum(axis=1)

    def size(places: np.ndarray) -> np.ndarray:
        off = np.asarray(places)[:, None, :] - a[None]
        share = np.clip((off * d).sum(axis=2) / square, 0.0, 1.0)
        away = np.linalg.norm(off - share[..., None] * d, axis=2)
        grown = SEAM * grade.travel_cell * width + THIN * grade.growth * np.maximum(
            away - width, 0.0
        )
        return np.minimum(grown, 1.5 * THIN * grade.coarsest * width).min(axis=1)

    return size


def through(grade: Grade, split: bool = False) -> int:
    """Cells through a wall, or through one of the two parts of a wall that is split."""
    return max(1, -(-grade.through_cells // 2)) if split else max(1, grade.through_cells)


def straight_seam(
    name: str,
    first: ArrayLike,
    last: ArrayLike,
    inward: ArrayLike,
    directions: dict[str, int],
    width: float,
    depth: float,
    **more: Any,
) -> SeamLine:
    """A `SeamLine` of one straight piece."""
    points = np.array([first, last], dtype=float)
    into = np.asarray(inward, dtype=float)
    inwards = np.tile(into / np.linalg.norm(into), (2, 1))
    return SeamLine(name, points, inwards, directions, width, depth, **more)
