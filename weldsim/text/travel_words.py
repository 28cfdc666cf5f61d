"""Which way an arc travels, as it is said at the bench: toward something that can be seen there."""

from __future__ import annotations

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.joints.registry import kind_of_case, seam_lines_of
from weldsim.text.describe_joint import STEEP, up_of

AHEAD = 0.7  # cosine: a place lies ahead where the way to it turns by less than 45 degrees
FACING = 0.5  # cosine: an end face from which a seam is seen around its middle
CURVED = 0.9  # chord over length, below which a seam runs around something


def travel_words(case, weld, seam) -> str:
    """Where a weld goes, by what lies ahead of its arc.

    Parameters
    ----------
    case : Case
    weld : Weld
    seam : Seam or CurvedSeam
        Of the weld, in its direction of travel.

    Returns
    -------
    str
        Such as "toward the chord end", "upward, toward the back seam", or "clockwise, seen from
        the branch end".
    """
    faces = _faces(case)
    chord = float(np.linalg.norm(seam.end - seam.start))
    if seam.closed or chord < CURVED * seam.length:
        return _around(seam, faces, weld.travel) or weld.travel
    way = (seam.end - seam.start) / chord
    rise = float(way @ up_of(case.part))
    lift = "upward" if rise > STEEP else "downward" if rise < -STEEP else ""
    if kind_of_case(case).seams_of_welds:  # the word the case, its menus and its ranking have
        lift = weld.travel
    seams = {
        f"{name} seam": np.asarray(line.points).mean(axis=0)
        for name, line in seam_lines_of(case).items()
        if name != weld.seam
    }
    toward = _ahead(way, seam.middle, faces) or _ahead(way, seam.middle, seams)
    away = _ahead(-way, seam.middle, faces)
    target = f"toward the {toward}" if toward else f"away from the {away}" if away else ""
    said = [text for text in (lift, target) if text]
    return ", ".join(said) or f"toward {_axis(way)}"


def faces_named(case, travels) -> list[str]:
    """End faces that ways of travel name: they have to be marked on the part."""
    return [name for name in _faces(case) if any(f"the {name}" in text for text in travels)]


def _faces(case) -> dict[str, np.ndarray]:
    """End faces of a part and where they are."""
    kind, out = kind_of_case(case), {}
    for name in kind.faces(case.part):
        try:
            out[name] = np.asarray(kind.place(case.part, name), dtype=float)
        except WeldsimError:  # a face without a place of its own cannot be pointed at
            continue
    return out


def _ahead(way, middle, places) -> str | None:
    """Name of the place farthest ahead; None where nothing lies ahead."""
    best, farthest = None, 0.0
    for name, place in places.items():
        step = place - middle
        reach, size = float(step @ way), float(np.linalg.norm(step))
        if size > 0 and reach > AHEAD * size and reach > farthest:
            best, farthest = name, reach
    return best


def _around(seam, faces, word) -> str | None:
    """The sense around, as one sees it who looks at the seam from an end face."""
    points = np.asarray(seam.points)
    centre = points.mean(axis=0)
    arms = points - centre
    normal = np.cross(arms[:-1], arms[1:]).sum(axis=0)  # counterclockwise for who looks against it
    size = float(np.linalg.norm(normal))
    seen = []
    for name, place in faces.items():
        step = place - centre
        facing = float(step @ normal) / max(size * float(np.linalg.norm(step)), 1e-30)
        if abs(facing) > FACING:
            seen.append((f"{'counterclockwise' if facing > 0 else 'clockwise'}", name))
    seen.sort(key=lambda pair: pair[0] != word)  # from where the word of the case is right
    return f"{seen[0][0]}, seen from the {seen[0][1]}" if seen else None


def _axis(way) -> str:
    axis = int(np.argmax(np.abs(way)))
    return ("+" if way[axis] > 0 else "-") + "xyz"[axis]
