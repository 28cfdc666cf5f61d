"""Seams along curves on a user's own part: which way they run, and where the part lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import Filler, mm
from weldsim.joints.own_parts.names import seam_name
from weldsim.joints.own_parts.outer_faces import OuterFaces, distances, outer_faces
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.schema.section_checks import nearest

if TYPE_CHECKING:
    import skfem

SAME_PLACE = 1e-7  # m
MEETING = 0.1  # bead widths; outer faces as near as this to a seam's place meet there
SAME_FACE = 0.82  # cosine of the angle between faces that count as one
AXES = {
    sign + axis: (1.0 if sign == "+" else -1.0) * np.eye(3)["xyz".index(axis)]
    for sign in "+-"
    for axis in "xyz"
}


@dataclass(frozen=True)
class SeamSettings:
    """What a case says about the seams of a part.

    Attributes
    ----------
    width, depth : float or None
        Of every bead that says nothing else. [m]
    seams : dict
        Name -> keys of a seam.
    """

    width: float | None
    depth: float | None
    seams: dict[str, Any]

    def of(self, name: str) -> Any:
        """Keys of the seam the case calls `name`, or None."""
        return {seam_name(n): keys for n, keys in self.seams.items()}.get(name)


def seam_lines_along(
    settings: SeamSettings, mesh: skfem.Mesh, curves: Mapping[str, np.ndarray]
) -> dict[str, SeamLine]:
    """Seams along curves, by name.

    Parameters
    ----------
    settings : SeamSettings
        What the case says about them.
    mesh : skfem.Mesh
        With subdomains. [m]
    curves : Mapping of str to ndarray, shape (M, 3)
        Places in order, the first again at the end of a closed seam. [m]

    Returns
    -------
    dict of str to SeamLine

    Raises
    ------
    NotAllowed
        If there is no seam, a size is missing, or a seam lies off the metal.
    """
    fillers = [(cells, f) for r, cells in mesh.subdomains.items() if (f := Filler.of(r))]
    out = {}
    for name, points in curves.items():
        keys = settings.of(name)
        width, depth = (_size(name, key, keys, settings) for key in ("width", "depth"))
        if np.linalg.norm(np.diff(points, axis=0), axis=1).min() < SAME_PLACE:
            raise NotAllowed("seams", f"{name}: two places of the seam are one, allowed: a path")
        passes = _passes(name, fillers)
        own = [cells for cells, f in fillers if name in f.seams]
        faces = outer_faces(mesh, np.concatenate(own) if own else None)
        inwards = _inwards(name, points, faces, width, keys)
        closed = _closed(points)
        directions = _direction_words(points, inwards, closed)
        points, inwards = _fewest(points, inwards)
        out[name] = SeamLine(name, points, inwards, directions, width, depth, closed, passes)
    if not out:
        raise NotAllowed(
            "seams", "there is none, allowed: named curves in the file or [part.seams.NAME]"
        )
    return out


def check_stated_seams(settings: SeamSettings, curves: Mapping[str, np.ndarray]) -> None:
    """Refuse keys of a seam that there is not, or two accounts of where a seam is."""
    for name, keys in settings.seams.items():
        short = seam_name(name)
        if keys.points is None and short not in curves:
            raise NotAllowed(
                "seams", f"{name}: the file has no such curve and no points are given"
                + (nearest(short, tuple(curves)) if curves else "")
            )  # fmt: skip
        if keys.points is not None and short in curves:
            raise NotAllowed("seams", f"{name} points: the file has a curve of this name already")
        if keys.points is not None and len(keys.points) < 2:
            raise NotAllowed("seams", f"{name} points: one place is no seam, allowed: two or more")


def _size(name: str, key: str, keys: Any, settings: SeamSettings) -> float:
    """Width or depth of a seam's bead. [m]"""
    size = (keys and getattr(keys, key)) or getattr(settings, key)
    if size is None:
        raise NotAllowed(
            key, f'missing for seam {name}, allowed: "5 mm" here or in [part.seams.{name}]'
        )
    return size


def _passes(name: str, fillers: list[tuple[np.ndarray, Filler]]) -> int:
    """How many passes a seam has."""
    found = sorted({f.number for _, f in fillers if name in f.seams}) or [1]
    if found != list(range(1, len(found) + 1)):
        raise NotAllowed(
            "file", f"filler of seam {name} is of passes {', '.join(map(str, found))}, "
            "allowed: 1, 2 and so on"
        )  # fmt: skip
    return len(found)


def _closed(points: np.ndarray) -> bool:
    return bool(len(points) > 3 and np.linalg.norm(points[0] - points[-1]) < SAME_PLACE)


def _travel(points: np.ndarray) -> np.ndarray:
    """Unit direction at each place of a chain, (M, 3); mean of both sides at a bend."""
    step = np.diff(points, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    first, last = (step[-1], step[0]) if _closed(points) else (step[0], step[-1])
    before = np.vstack([first[None], step])
    both = before + np.vstack([step, last[None]])
    back = np.linalg.norm(both, axis=1) < 1e-6  # the chain turns right back
    both[back] = before[back]
    return both / np.linalg.norm(both, axis=1)[:, None]


def _inwards(
    name: str, points: np.ndarray, faces: OuterFaces, width: float, keys: Any
) -> np.ndarray:
    """Unit vectors across the travel into the part, (M, 3): as stated, or against the faces."""
    travel = _travel(points)
    stated = _stated_inward(name, keys) if keys else None
    if stated is None:
        inwards = _against_faces(name, points, travel, faces, width)
    else:
        for point in points:
            _touching(name, point, faces, width)
        inwards = np.tile(stated, (len(points), 1))
    inwards = inwards - (inwards * travel).sum(axis=1)[:, None] * travel
    size = np.linalg.norm(inwards, axis=1)
    if size.min() < 0.1:
        raise NotAllowed(
            "seams", f"{name} inward: not allowed along the seam, allowed: across it, "
            "into the part"
        )  # fmt: skip
    return inwards / size[:, None]


def _stated_inward(name: str, keys: Any) -> np.ndarray | None:
    """The inward vector the case states, unit, shape (3,)."""
    if keys.inward is None:
        return None
    vector = AXES[keys.inward] if isinstance(keys.inward, str) else np.array(keys.inward, float)
    size = np.linalg.norm(vector)
    if not size > 0:
        raise NotAllowed(
            "seams", f'{name} inward: no direction, allowed: such as "-z" or [0, 1, -1]'
        )
    return vector / size


def _against_faces(
    name: str, points: np.ndarray, travel: np.ndarray, faces: OuterFaces, width: float
) -> np.ndarray:
    """Directions into the part (M, 3): against the faces that meet at each place.

    A direction counts once, however many cells have it; faces across the travel are left out.
    """
    out = np.empty_like(points)
    for i, (point, along) in enumerate(zip(points, travel, strict=True)):
        normal = faces.normals[_touching(name, point, faces, width)]
        beside = normal[np.abs(normal @ along) < 0.7]
        mean = _distinct(beside).sum(axis=0)
        size = np.linalg.norm(mean)
        if size < 0.1:
            raise NotAllowed(
                "seams", f"{name} inward: cannot be told from the faces it touches, allowed: "
                'a direction such as inward = "-z"'
            )  # fmt: skip
        out[i] = -mean / size
    return out


def _touching(name: str, place: np.ndarray, faces: OuterFaces, width: float) -> np.ndarray:
    """Mask of the outer faces nearest to a place of a seam; refused when it lies off the metal."""
    away = distances(faces.corners, place)
    if away.min() > width:
        at = ", ".join(f"{1e3 * x:.4g}" for x in place)
        raise NotAllowed(
            "seams", f"{name}: ({at}) mm lies {mm(away.min())} off the metal to be welded, "
            f"allowed: within the width of the bead, {mm(width)}"
        )  # fmt: skip
    return away <= away.min() + MEETING * width  # a curved face is meshed with flat ones beside it


def _distinct(normals: np.ndarray) -> np.ndarray:
    """Unit normals (K, 3) gathered into those that differ by more than about 35 degrees."""
    sums: list[np.ndarray] = []
    for normal in normals:
        alike = [normal @ s / np.linalg.norm(s) for s in sums]
        if alike and max(alike) > SAME_FACE:
            sums[int(np.argmax(alike))] += normal
        else:
            sums.append(normal.copy())
    return np.array([s / np.linalg.norm(s) for s in sums]).reshape(-1, 3)


def _direction_words(points: np.ndarray, inwards: np.ndarray, closed: bool) -> dict[str, int]:
    """Words for the two directions: axes, the clock seen from outside, forward and backward."""
    out = {}
    if closed:
        around = np.cross(points[:-1] - points.mean(axis=0), np.diff(points, axis=0)).sum(axis=0)
        turn = float(around @ inwards.mean(axis=0)) / np.linalg.norm(around)
        if abs(turn) > 0.3:  # looking along the inward direction
            direction = 1 if turn > 0 else -1
            out = {"clockwise": direction, "counterclockwise": -direction}
    else:
        span = points[-1] - points[0]
        size = np.linalg.norm(span)
        for axis, share in zip("xyz", span / size if size > 0 else span, strict=True):
            if abs(share) > 0.5:
                direction = 1 if share > 0 else -1
                out |= {f"+{axis}": direction, f"-{axis}": -direction}
    return out | {"forward": 1, "backward": -1}


def _fewest(points: np.ndarray, inwards: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The chain without places at which it goes straight on: a straight seam has two."""
    keep = [0]
    for i in range(1, len(points) - 1):
        before, after = points[i] - points[keep[-1]], points[i + 1] - points[i]
        bend = np.linalg.norm(np.cross(before, after))
        straight = bend < 1e-6 * np.linalg.norm(before) * np.linalg.norm(after)
        on = straight and before @ after > 0
        same = np.abs(inwards[i] - inwards[keep[-1]]).max() < 1e-3
        if not (on and same and np.abs(inwards[i + 1] - inwards[i]).max() < 1e-3):
            keep.append(i)
    keep.append(len(points) - 1)
    return points[keep], inwards[keep]
