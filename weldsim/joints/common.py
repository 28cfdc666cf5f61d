"""What joint kinds share: keys of every part, tacks, sizes of cells near seams."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from weldsim.case import Tack
from weldsim.case_keys import Axis, Section, quantity

Gap = quantity("length", "not negative")
LEAST_GAP = 0.1e-3  # m; stands for surfaces that touch: the land needs cells to be fused
__all__ = ["Filler", "Gap", "JointSection", "LEAST_GAP", "Tack", "fill", "mm"]
MM = 1e3
SEAM = 1.25  # of the travel cell of a bead on a bar: a fillet's face is wide for its leg
THIN = 2.0  # tubes and plates bend as quadratic cells do, so cells may grow faster than in a bar


class JointSection(Section):
    """Keys that every joint has besides its own sizes."""

    kind: str
    material: str
    up: Axis = "+z"  # which way is up in the workshop, for positions and uphill
    tacks: Literal["usual", "none"] = "usual"  # what holds where no [[tack]] is written


@dataclass(frozen=True)
class Filler:
    """What a region of filler is, read from its name.

    `fill PASS SEAM...` is laid as a whole; `root SEAM...` is a land through the whole wall, of
    which a seam fuses the part that the joint's `fused` says.
    """

    number: int
    seams: tuple[str, ...]
    partly: bool = False

    @classmethod
    def of(cls, region: str) -> Filler | None:
        word, *rest = region.split()
        if word == "root":
            return cls(1, tuple(rest), True)
        return cls(int(rest[0]), tuple(rest[1:])) if word == "fill" else None


def fill(number: int, *seams: str) -> str:
    """Name of the region of a pass; metal where seams meet belongs to each of them."""
    return " ".join(["fill", str(number), *seams])


def root(*seams: str) -> str:
    """Name of the region of a land of which the seams fuse a part."""
    return " ".join(["root", *seams])


def mm(value: float) -> str:
    return f"{MM * value:.4g} mm"


def stated(values, part, *keys) -> list[tuple[str, str]]:
    """Complaints about keys that have to be within (low, high), as (key, sentence)."""
    out = []
    for key, low, high, why in values:
        value = getattr(part, key)
        if value < low - 1e-9 or value > high + 1e-9:
            out.append((key, f"{mm(value)} is not allowed: {why}, {mm(low)} to {mm(high)}"))
    return out


def near_seams(seams, grade):
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

    def size(places):
        off = np.asarray(places)[:, None, :] - a[None]
        share = np.clip((off * d).sum(axis=2) / square, 0.0, 1.0)
        away = np.linalg.norm(off - share[..., None] * d, axis=2)
        grown = SEAM * grade.travel_cell * width + THIN * grade.growth * np.maximum(
            away - width, 0.0
        )
        return np.minimum(grown, 1.5 * THIN * grade.coarsest * width).min(axis=1)

    return size


def through(grade, split: bool = False) -> int:
    """Cells through a wall, or through one of the two parts of a wall that is split."""
    return max(1, -(-grade.through_cells // 2)) if split else max(1, grade.through_cells)


def straight_seam(name, first, last, inward, ways, width, depth, **more):
    """A `SeamLine` of one straight piece."""
    from weldsim.path import SeamLine

    points = np.array([first, last], dtype=float)
    inward = np.asarray(inward, dtype=float)
    inwards = np.tile(inward / np.linalg.norm(inward), (2, 1))
    return SeamLine(name, points, inwards, ways, width, depth, **more)
