"""What all pictures of a run share: camera, warp factor and colour ranges.

Parallel projection; up in every picture is up in the workshop. Metal that is not there yet does
not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from weldsim.errors import StoreError
from weldsim.plots.melt_smoothing import smooth_melt, softened_points
from weldsim.runs.frame_files import FieldFrame, read_frame
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedCase, recorded_case, recorded_paths

KELVIN = 273.15
HIGHEST = 1600.0  # degC; hotter metal takes the last colour
SHOWN_SHARE = 0.1  # largest displacement as drawn, as a share of the part's length
BAR_SIZE = (1500, 600)  # pixel; a bar is long and low
WIDEST, TALLEST, NARROWEST = 1500, 950, 1000  # pixel; bounds of the image of any other part
VIEW = (0.55, 0.80, 0.38)  # toward the eye, from a bar's front
UPWARD = (0.0, 0.0, 1.0)
EQUALLY = (0.69, 0.69)  # the same for a part that does not stand on its z
FLAT, FROM_ABOVE = 0.25, 0.75  # height over length of a part seen from higher up, and how high


class HasPath(Protocol):
    """A weld that lies somewhere: places (M, 3) [m], unit vector into the part."""

    points: np.ndarray
    inward: np.ndarray


@dataclass(frozen=True)
class Stage:
    """What all pictures of a run share.

    Attributes
    ----------
    view : (3,) unit vector from the part to the eye
    centre : (3,) where the camera looks [m]
    reach : half of what has to be seen, to the right and upward [m]
    size : width and height of the image [pixel]
    warp : factor on displacements
    hottest : end of the temperature range [degC]
    coldest : start of it [degC]
    farthest : end of the displacement range [m]
    jaws : boxes (x0, x1, y0, y1, z0, z1) of the vise's jaws [m]
    softened : (P,) bool, points that were soft at some time of the run; see `melt_smoothing`
    vertical : (3,) unit vector, up in the workshop and in the picture
    """

    view: np.ndarray
    centre: np.ndarray
    reach: tuple[float, float]
    size: tuple[int, int]
    warp: float
    coldest: float
    hottest: float
    farthest: float
    jaws: tuple = ()
    softened: np.ndarray | None = None
    vertical: tuple[float, float, float] = UPWARD

    @property
    def tall(self) -> bool:
        """Whether two pictures are better shown beside each other than one above the other."""
        return self.size[1] > 0.6 * self.size[0]

    @property
    def half_height(self) -> float:
        """Half of what the picture spans upward. [m]"""
        return max(self.reach[1], self.reach[0] * self.size[1] / self.size[0])

    @property
    def right(self) -> np.ndarray:
        """Unit vector to the right of the picture."""
        out = np.cross(self.vertical, self.view)
        return out / np.linalg.norm(out)

    @property
    def up(self) -> np.ndarray:
        """Unit vector to the top of the picture."""
        return np.cross(self.view, self.right)

    def to_picture(self, points) -> np.ndarray:
        """Places (P, 3) as shares of the image's width and height from its lower left, (P, 2)."""
        away = np.atleast_2d(points) - self.centre
        half_width = self.half_height * self.size[0] / self.size[1]
        out = np.column_stack([away @ self.right / half_width, away @ self.up / self.half_height])
        return 0.5 + out / 2


def make_stage(record: RunRecord, size=None) -> Stage:
    """Camera, warp and ranges that suit all frames of a run, from one pass through them.

    Parameters
    ----------
    size : (int, int), optional
        Width and height of the images; what suits the part when left out. [pixel]

    Raises
    ------
    StoreError
        If the run has no frames yet, or one cannot be read.
    """
    if not record.frames:
        raise StoreError(f"{record.path}: the run has no frames yet: resume it or wait")
    farthest, hottest, coldest, places, moved = 0.0, -np.inf, np.inf, None, []
    softened = softened_points(record, map(read_frame, record.frames))
    for file in record.frames:
        frame = smooth_melt(read_frame(file), softened)
        on = active_lattice_points(frame)
        places = _outer_points(frame.points) if places is None else places
        ids = np.intersect1d(places, on)
        moved.append((frame.points[ids], frame.displacement[ids]))
        farthest = max(farthest, largest_displacement(frame))
        hottest = max(hottest, float(frame.temperature[on].max()) - KELVIN)
        coldest = min(coldest, float(frame.temperature[on].min()) - KELVIN)
    length = float(np.ptp(frame.points, axis=0).max())
    case = recorded_case(record)
    vertical = axis_vector(case.part.up)
    if case.seams_of_welds:
        side = -1.0 if case.welds and case.welds[0].face == "back" else 1.0
        view, size = _unit([VIEW[0], VIEW[1] * side, VIEW[2]]), size or BAR_SIZE
    else:
        view = best_view(recorded_paths(record), np.ptp(frame.points, axis=0), vertical)
    stage = Stage(
        view, np.zeros(3), (1.0, 1.0), tuple(size or BAR_SIZE),
        warp_for(length, farthest),
        coldest, min(max(hottest, coldest + 1), HIGHEST), farthest, _jaws(case), softened, vertical,
    )  # fmt: skip
    stage = aim(stage, np.concatenate([p + w * u for p, u in moved for w in (0.0, stage.warp)]))
    return stage if size else replace(stage, size=fitting_size(stage.reach))


def farthest_moved(record: RunRecord) -> float:
    """End of the displacement range of all pictures of a run, as `make_stage` has it. [m]"""
    softened = softened_points(record, map(read_frame, record.frames))
    frames = (smooth_melt(read_frame(file), softened) for file in record.frames)
    return max(map(largest_displacement, frames), default=0.0)


def warp_for(length: float, farthest: float) -> float:
    """The factor by which movement is drawn, in the pictures and in the view alike. [m]"""
    return round_warp(SHOWN_SHARE * length / farthest) if farthest > 0 else 1.0


def stage_frame(stage: Stage, file) -> FieldFrame:
    """A frame as it is drawn: soft metal carried along by what surrounds it."""
    return smooth_melt(read_frame(file), stage.softened)


def _unit(vector) -> np.ndarray:
    return np.asarray(vector, dtype=float) / np.linalg.norm(vector)


def axis_vector(word: str) -> tuple[float, float, float]:
    """Unit vector of an axis such as "-y".

    Parameters
    ----------
    word : str
        A sign and x, y or z.

    Returns
    -------
    tuple of float
        Of length one.
    """
    out = [0.0, 0.0, 0.0]
    out["xyz".index(word[1])] = -1.0 if word[0] == "-" else 1.0
    return out[0], out[1], out[2]


def best_view(
    paths: Sequence[HasPath], extent: np.ndarray, vertical: Sequence[float] = UPWARD
) -> np.ndarray:
    """Unit vector to the eye that sees as much of the welds as can be seen from one place.

    Parameters
    ----------
    paths : sequence of WeldPath or RecordedPath
        Places (M, 3) [m] and the way inward (3,) of each weld.
    extent : (3,)
        Size of the part along the axes. [m]
    vertical : (3,), optional
        Unit vector along an axis, up in the workshop.

    Returns
    -------
    ndarray, shape (3,)
        From above unless the welds lie below; with z up, the front (+y) and +x where that is as
        good.
    """
    k = int(np.argmax(np.abs(vertical)))
    first, second = (i for i in range(3) if i != k)
    high = FROM_ABOVE if extent[k] < FLAT * max(extent[first], extent[second]) else VIEW[2]
    best = None
    for up in (1, -1):
        for b in (1, -1):
            for a in (1, -1):
                view = up * high * np.asarray(vertical, dtype=float)
                aside = VIEW[:2] if k == 2 else EQUALLY
                view[first], view[second] = a * aside[0], b * aside[1]
                view = _unit(view)
                seen = sum(
                    float(np.linalg.norm(np.diff(p.points, axis=0), axis=1).sum())
                    * max(0.0, -float(np.dot(p.inward, view)))
                    for p in paths
                )
                if best is None or seen > 1.02 * best[0]:
                    best = (seen, view)
    return best[1]


def fitting_size(reach) -> tuple[int, int]:
    """Width and height of an image that something of half sizes `reach` fills. [m, pixel]"""
    shape = reach[0] / reach[1]
    if shape > WIDEST / TALLEST:
        return WIDEST, int(np.clip(WIDEST / shape, BAR_SIZE[1] * 0.8, TALLEST))
    return int(np.clip(TALLEST * shape, NARROWEST, WIDEST)), TALLEST


def _outer_points(points: np.ndarray) -> np.ndarray:
    """Numbers of the points that lie outermost in 26 directions: what bounds a picture."""
    directions = np.array([w for w in np.ndindex(3, 3, 3) if w != (1, 1, 1)]) - 1.0
    return np.unique(np.argmax((points / np.ptp(points, axis=0)) @ directions.T, axis=0))


def aim(stage: Stage, places: np.ndarray) -> Stage:
    """The stage with its camera on places (P, 3) and the jaws of a vise, with air around. [m]"""
    for box in stage.jaws:
        corners = [[x, y, z] for x in box[:2] for y in box[2:4] for z in box[4:]]
        places = np.concatenate([places, corners])
    flat = np.column_stack([places @ stage.right, places @ stage.up])
    low, high = flat.min(axis=0), flat.max(axis=0)
    middle, reach = (low + high) / 2, (high - low) / 2 * 1.06
    centre = middle[0] * stage.right + middle[1] * stage.up
    return replace(stage, centre=centre, reach=(float(reach[0]), float(reach[1])))


def round_warp(factor: float) -> float:
    """The next lower of 1, 2, 5, 10, 20, 50 ...; 1 where the movement is large anyway."""
    if factor <= 1:
        return 1.0
    power = 10.0 ** np.floor(np.log10(factor))
    return float(power * max(s for s in (1, 2, 5) if s * power <= factor * (1 + 1e-9)))


def active_lattice_points(frame: FieldFrame) -> np.ndarray:
    """Numbers of the points that belong to active cells."""
    return np.unique(frame.cells[frame.active])


def largest_displacement(frame: FieldFrame) -> float:
    """Of the points that are drawn. [m]"""
    return float(np.linalg.norm(frame.displacement[active_lattice_points(frame)], axis=1).max())


def _jaws(case: RecordedCase) -> tuple:
    """Boxes of a vise's jaws beside a bar, for the eye only."""
    part = case.part
    if case.clamping != "one end" or not case.seams_of_welds:
        return ()
    y, z = part.thickness / 2, part.width / 2
    thick, over = max(0.2 * part.width, part.thickness), 0.06 * part.width
    ends = (0.0, case.clamped_length), (-z - over, z + over)
    return tuple((*ends[0], *sorted((s * y, s * (y + thick))), *ends[1]) for s in (1, -1))
