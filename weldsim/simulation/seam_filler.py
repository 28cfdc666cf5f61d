"""Which heat cells are filler of which seam, weld and tack.

Filler is told by the names of the mesh's regions (`joints.kit.Filler`), its order by how far along
its seam it lies.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.part import Part
from weldsim.joints.kit import Filler
from weldsim.joints.registry import kind_of_case, seam_lines_of
from weldsim.physics.arrays import Floats, Integers
from weldsim.schema.records import Tack, Weld

END = 1e-9  # m; what lies so near to the end of a stretch lies in it


def filler_of(
    case: Case, part: Part, middles: Floats, seam: str, number: int | None = None
) -> Integers:
    """Heat cells of a seam's filler; of a root only what the seam fuses.

    Parameters
    ----------
    case : Case
        Its part says how deep a root is fused.
    part : Part
        Mesh with regions of filler.
    middles : ndarray, shape (H, 3)
        Of the heat cells. [m]
    seam : str
        Its name.
    number : int, optional
        Of a pass; all passes when left out.

    Returns
    -------
    ndarray of int
        Cell numbers.
    """
    kind = kind_of_case(case)
    cells: list[Integers] = [np.empty(0, dtype=np.int64)]
    for region, members in part.regions.items():
        filler = Filler.of(region)
        if not filler or seam not in filler.seams or filler.number != (number or filler.number):
            continue
        found = np.flatnonzero(np.isin(part.heat_parent, members))
        if filler.partly and kind.fused is not None:
            found = found[kind.fused(case.part, seam, middles[found])]
        cells.append(found)
    return np.concatenate(cells)


def _whole(case: Case, seam: str) -> tuple[Any, Any]:
    """Line of a seam, and the whole of it as a seam: places are counted on it, not on a pass."""
    line = seam_lines_of(case)[seam]
    return line, replace(line, offsets=()).cut(0.0, line.length, 1)


def filler_of_weld(case: Case, part: Part, middles: Floats, weld: Weld) -> Integers:
    """Heat cells of filler that a weld activates.

    Parameters
    ----------
    case : Case
        With its tacks.
    part : Part
        Mesh with regions of filler.
    middles : ndarray, shape (H, 3)
        Of the heat cells. [m]
    weld : Weld
        Of the case.

    Returns
    -------
    ndarray of int
        Cell numbers; none for a weld without filler.
    """
    if weld.tack >= 0:
        return filler_of_tack(case, part, middles, case.tacks[weld.tack])
    if not weld.filler:
        return np.empty(0, dtype=np.int64)
    cells, along = along_seam(case, part, middles, weld.seam, weld.number)
    line, _ = _whole(case, weld.seam)
    low = -np.inf if weld.begin <= END else weld.begin
    high = np.inf if weld.finish >= line.length - END else weld.finish
    return cells[(along >= low - END) & (along < high - END)]


def along_seam(
    case: Case, part: Part, middles: Floats, seam: str, number: int
) -> tuple[Integers, Floats]:
    """Heat cells of a pass's filler and where along the seam they lie.

    Parameters
    ----------
    case : Case
        Its part has the seam.
    part : Part
        Mesh with regions of filler.
    middles : ndarray, shape (H, 3)
        Of the heat cells. [m]
    seam : str
        Its name.
    number : int
        Of the pass.

    Returns
    -------
    cells : ndarray of int, shape (K,)
        Cell numbers.
    along : ndarray, shape (K,)
        Places of their middles. [m]
    """
    cells, (_, whole) = filler_of(case, part, middles, seam, number), _whole(case, seam)
    return cells, whole.local(middles[cells])[0]


def filler_of_tack(case: Case, part: Part, middles: Floats, tack: Tack) -> Integers:
    """Heat cells of a tack: filler as near to the root as the tack is large, over its length.

    Parameters
    ----------
    case : Case
        Its part has the seam.
    part : Part
        Mesh with regions of filler.
    middles : ndarray, shape (H, 3)
        Of the heat cells. [m]
    tack : Tack
        Of the case.

    Returns
    -------
    ndarray of int
        Cell numbers, at least those next to the root.
    """
    line, whole = _whole(case, tack.seam)
    cells = filler_of(case, part, middles, tack.seam)
    along, across, inward = whole.local(middles[cells])
    on = (along >= tack.begin - END) & (along <= tack.finish + END)
    cells, across, inward = cells[on], across[on], inward[on]
    deep = np.hypot(across, inward - line.to_root)
    near: Integers = cells[deep <= max(tack.size, 1.001 * deep.min(initial=np.inf))]
    return near


def seam_distance(seam: Any, points: Floats) -> Floats:
    """Distance of points from a seam.

    Parameters
    ----------
    seam : Seam or CurvedSeam
        Counted from end to end.
    points : ndarray, shape (P, 3)
        [m]

    Returns
    -------
    ndarray, shape (P,)
        [m]
    """
    along, across, depth = seam.local(points)
    past = np.maximum(np.maximum(-along, along - seam.length), 0)
    distance: Floats = np.sqrt(past**2 + across**2 + depth**2)
    return distance
