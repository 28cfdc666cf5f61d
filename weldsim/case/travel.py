"""Words for the two directions in which a seam can be welded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from weldsim.geometry.path import SeamLine
from weldsim.joints.registry import clamped_places, kind_of_case

AXES = "xyz"
STEEP = 0.5  # rise over length from which a seam has an uphill
APART = 0.3  # of the length: how much nearer one end has to be to the clamps


def directions_of(line: SeamLine, part: Any, clamped: Sequence[np.ndarray]) -> dict[str, int]:
    """Words for the two directions of a seam: its own, the hill's, and the clamp's.

    Parameters
    ----------
    line : SeamLine
        The seam.
    part : record of a joint kind
        Whose `up` says which way is up in the workshop.
    clamped : sequence of ndarray, shape (3,)
        Middles of clamped faces. [m]

    Returns
    -------
    dict of str to int
        1 along the seam's natural direction, -1 against it.
    """
    out = dict(line.directions)
    way = line.points[-1] - line.points[0]
    length = float(np.linalg.norm(way))
    if line.closed or length < 1e-9:
        return out
    up = np.zeros(3)
    up[AXES.index(part.up[1])] = 1.0 if part.up[0] == "+" else -1.0
    rise = float(way @ up) / length
    if abs(rise) > STEEP:
        out |= {"uphill": 1 if rise > 0 else -1, "downhill": -1 if rise > 0 else 1}
    if clamped:
        ends = (line.points[0], line.points[-1])
        near = [min(np.linalg.norm(p - c) for c in clamped) for p in ends]
        if abs(near[1] - near[0]) > APART * length:
            toward = 1 if near[1] < near[0] else -1
            out |= {"toward the clamp": toward, "away from the clamp": -toward}
    return out


def opposite(words: Mapping[str, int], word: str) -> str:
    """The word for the opposite direction, of the same sort: words come in pairs.

    Parameters
    ----------
    words : mapping of str to int
        From `directions_of`.
    word : str
        One of them.

    Returns
    -------
    str
        Such as "downhill" for "uphill"; the word itself where there is no other.
    """
    listed = list(words)
    at = listed.index(word) ^ 1
    if at < len(listed) and words[listed[at]] == -words[word]:
        return listed[at]
    return next((w for w in listed if words[w] == -words[word]), word)


def directions_of_case(case: Any) -> Mapping[str, dict[str, int]]:
    """Words for the two directions of all seams of a case's part.

    Parameters
    ----------
    case : weldsim.case.load.Case
        With its clamps.

    Returns
    -------
    dict of str to dict
        Seam -> word for a travel -> direction along it.
    """
    clamped = clamped_places(case)
    lines = kind_of_case(case).seam_lines(case.part)
    return {name: directions_of(line, case.part, clamped) for name, line in lines.items()}
