"""Where the welds, tacks and clamps of a case lie on its part, before anything is computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.geometry.path import Seam
from weldsim.joints.registry import seam_lines_of, seams_of
from weldsim.plots.welds import along

PLACES = 41  # places along a path looked at for what hides them


@dataclass(frozen=True)
class WeldPath:
    """A weld on the part: places in the direction of travel (M, 3) and the way into the part."""

    number: int
    name: str
    seam: str
    points: np.ndarray
    inward: np.ndarray
    width: float
    tack: bool


def weld_paths(case) -> list[WeldPath]:
    """Every weld of a case in order, with places close enough to see what hides them."""

    out = []
    for number, (weld, seam) in enumerate(zip(case.welds, seams_of(case), strict=True), 1):
        points = np.array([seam.start, seam.end]) if isinstance(seam, Seam) else seam.points
        points = along(np.asarray(points, dtype=float), np.linspace(0, 1, PLACES))
        out.append(
            WeldPath(number, weld.name, weld.seam, points, np.asarray(seam.inward),
                  weld.bead_width, weld.tack >= 0)
        )  # fmt: skip
    return out


def tack_lines(case) -> list[np.ndarray]:
    """Places along every tack, each (K, 3). [m]"""

    if not case.tacks:
        return []
    lines = seam_lines_of(case)
    return [
        along(_seam_points(lines[t.seam].cut(t.begin, t.finish, 1)), np.linspace(0, 1, 5))
        for t in case.tacks
    ]


def _seam_points(seam) -> np.ndarray:
    points = getattr(seam, "points", None)
    return np.array([seam.start, seam.end]) if points is None else points


def clamp_places(case, part) -> list[tuple[str, np.ndarray]]:
    """Name of each clamp and the middle of each face it clamps, (3,). [m]"""
    out = []
    for clamp in case.clamps:
        for face in clamp.at:
            place = part.lattice.points[part.boundaries[face]].mean(axis=0)
            alone = clamp.at in ((clamp.name,), ("vise",))
            text = clamp.name if alone else f"{clamp.name} ({face})"
            out.append((text, place))
    return out


def order_words(paths) -> str:
    """Order of welding with neighbours on one seam taken together: `1-4 front, 5 back`."""
    runs: list[list[WeldPath]] = []
    for path in paths:
        if runs and runs[-1][-1].seam == path.seam and runs[-1][-1].tack == path.tack:
            runs[-1].append(path)
        else:
            runs.append([path])
    words = []
    for run in runs:
        span = f"{run[0].number}" + (f"-{run[-1].number}" if len(run) > 1 else "")
        words.append(f"{span} {'tack on ' if run[0].tack else ''}{run[0].seam}")
    return "Order: " + ", ".join(words)
