"""Melt smoothing: metal that was soft is drawn where the metal around it has carried it.

Metal above its softening temperature has next to no stiffness, so where its points end up within a
pool says nothing, and drawn too large it looks torn. Its surface is drawn as a membrane on the
metal that stayed firm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.materials.material import load_material
from weldsim.runs.frame_files import FieldFrame
from weldsim.runs.reading import RunRecord

# 1200 degC; for a folder of before run.json said it, whose material file is gone as well
STEEL_SOFTENS = 1473.15  # K
EDGES = {
    8: ((0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4),
        (0, 4), (1, 5), (2, 6), (3, 7)),
    4: ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)),
}  # fmt: skip


def smooth_melt(frame: FieldFrame, softened: np.ndarray) -> FieldFrame:
    """The frame with the displacement of soft points harmonic between the firm points about them.

    Parameters
    ----------
    frame : FieldFrame
        As it was computed.
    softened : ndarray of bool, shape (P,)
        Points that were soft at some time of the run; see `softened_points`.

    Returns
    -------
    FieldFrame
        The same frame where no point was soft.
    """
    import scipy.sparse as sp
    from scipy.sparse.linalg import spsolve

    cells = frame.cells[frame.active]
    drawn = np.zeros(len(frame.points), dtype=bool)
    drawn[cells] = True
    inner, firm = np.flatnonzero(softened & drawn), np.flatnonzero(~softened & drawn)
    if not inner.size or not firm.size:
        return frame
    pairs = np.sort(np.concatenate([cells[:, e] for e in EDGES[cells.shape[1]]]), axis=1)
    one, two = np.unique(pairs, axis=0).T
    share = 1.0 / np.linalg.norm(frame.points[one] - frame.points[two], axis=1)
    ends = np.concatenate([one, two]), np.concatenate([two, one])
    graph = sp.coo_matrix((np.concatenate([share, share]), ends), 2 * (len(drawn),)).tocsr()
    # pools that no firm point borders (none in practice) stay where they were built
    diagonal = sp.diags(np.asarray(graph.sum(axis=1)).ravel() * (1 + 1e-9))
    rows = (diagonal - graph)[inner]
    moved = frame.displacement.copy()
    moved[inner] = spsolve(rows[:, inner].tocsc(), -(rows[:, firm] @ moved[firm]))
    return replace(frame, displacement=moved)


def softening_temperature(record: RunRecord) -> float:
    """Above which the metal of a run carries next to nothing: it softens, or begins to melt. [K]"""
    stated = record.manifest.get("softening_temperature_K")
    if isinstance(stated, int | float):
        return float(stated)
    try:
        return load_material(str(record.case["part"]["material"])).carries_below
    except (WeldsimError, OSError, LookupError, TypeError):
        return STEEL_SOFTENS


def softened_points(record: RunRecord, frames: Iterable[FieldFrame]) -> np.ndarray:
    """Points (P,) that some of the frames show hotter than metal that carries, bool."""
    limit = softening_temperature(record)
    return np.any([frame.temperature > limit for frame in frames], axis=0)
