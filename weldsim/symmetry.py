"""Mirrors and turns that bring a part onto itself, so that a schedule and its image are one.

A candidate is one of the 48 signed exchanges of the axes about the middle of the part. It counts
only when the mesh itself falls onto itself with it: points, cells, regions, tacks and clamps. Then
the computed answer of the image of a schedule is the image of the answer, to rounding.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import permutations, product

import numpy as np

NEAR = 1e-7  # m within which two mesh points are one


@dataclass(frozen=True)
class Symmetry:
    """One way to bring the part onto itself.

    Attributes
    ----------
    matrix : (3, 3), orthogonal, entries -1, 0, 1
    points : (Nh,) the lattice point each lattice point goes to
    seams : seam -> (seam it goes to, 1 or -1 as its natural direction is kept or turned)
    """

    matrix: np.ndarray
    points: np.ndarray = field(repr=False)
    seams: dict

    def of_moves(self, moves) -> tuple:
        """Image of moves, each (seam, sense)."""
        return tuple((self.seams[s][0], self.seams[s][1] * sense) for s, sense in moves)

    def of_state(self, state):
        """What a gauge reads from: the state's fields brought along, nothing else."""
        heat = np.empty_like(state.temperature)
        heat[self.points] = state.temperature
        own = self.points[: len(state.displacement)]
        moved, force = np.empty_like(state.displacement), np.empty_like(state.reaction)
        moved[own] = state.displacement @ self.matrix.T
        force[own] = state.reaction @ self.matrix.T
        return replace(state, temperature=heat, displacement=moved, reaction=force)

    @property
    def is_identity(self) -> bool:
        return bool(np.array_equal(self.matrix, np.eye(3)))


def symmetries(model, lines, among=None) -> tuple[Symmetry, ...]:
    """All symmetries of a bound case, the identity first.

    Parameters
    ----------
    model : Model
        Its welds may be in any order; tacks, clamps and mesh count.
    lines : dict
        Seam name -> `path.SeamLine`, all seams of the joint.
    among : iterable of str, optional
        Seams that must go to one another; all of them when left out.
    """
    from scipy.spatial import cKDTree

    among = set(lines if among is None else among)
    lattice = model.part.lattice
    points = lattice.points
    middle = (points.max(axis=0) + points.min(axis=0)) / 2
    tree = cKDTree(points)
    out = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[range(3), order] = signs
            span = np.abs(matrix) @ np.ptp(points, axis=0)
            if not np.allclose(span, np.ptp(points, axis=0), atol=NEAR):
                continue
            away, to = tree.query((points - middle) @ matrix.T + middle)
            if away.max() > NEAR or len(np.unique(to)) < len(points):
                continue
            seams = _seams(lines, matrix, middle)
            closed = seams is not None and all(seams[s][0] in among for s in among)
            if closed and _alike(model, lines, seams) and _same(model, to, seams):
                out.append(Symmetry(matrix, to, seams))
    return tuple(sorted(out, key=lambda s: not s.is_identity))


def _seams(lines, matrix, middle) -> dict | None:
    """Where each seam goes; None when one goes to where there is no seam."""
    out = {}
    for name, line in lines.items():
        image = (line.points - middle) @ matrix.T + middle
        for other, target in lines.items():
            if target.points.shape != image.shape:
                continue
            if np.allclose(target.points, image, atol=10 * NEAR):
                out[name] = (other, 1)
            elif np.allclose(target.points, image[::-1], atol=10 * NEAR):
                out[name] = (other, -1)
            if name in out:
                break
        else:
            return None
    return out


def _alike(model, lines, seams) -> bool:
    """Whether a seam and its image are welded alike, and no rule tells them apart."""
    case = model.case

    def stretches(seam, turned):
        length, out = lines[seam].length, []
        for w in case.welds:
            if w.seam == seam and w.tack < 0:
                ends = (length - w.finish, length - w.begin) if turned else (w.begin, w.finish)
                plain = replace(
                    w, name="", seam="", travel="", sense=1, start=None, begin=0.0, finish=0.0
                )
                out.append((round(ends[0], 9), round(ends[1], 9), repr(plain)))
        return sorted(out)

    rules = [r for c in case.clamps for r in (c.on, c.off)]
    named = {r.weld.partition(".")[0] for r in rules if r.weld is not None}
    return all(
        stretches(s, way < 0) == stretches(other, False) and (s == other or s not in named)
        for s, (other, way) in seams.items()
    )


def _same(model, to, seams) -> bool:
    """Whether cells, what is metal from the start, filler and clamps fall onto themselves."""
    from weldsim.joints.common import Filler

    lattice, regions = model.part.lattice, model.part.regions
    cells = np.sort(lattice.heat_cells, axis=1)
    seat = {row.tobytes(): i for i, row in enumerate(cells)}
    images = np.sort(to[lattice.heat_cells], axis=1).astype(cells.dtype)
    goes = np.array([seat.get(row.tobytes(), -1) for row in images])
    if np.any(goes < 0):
        return False
    there = np.isneginf(model.laying.place).any(axis=0)
    if not np.array_equal(there[goes], there):
        return False
    parent = model.part.heat_parent
    names = {}
    for region, members in regions.items():
        filler = Filler.of(region)
        if filler:
            kept = tuple(sorted(seams[s][0] for s in filler.seams if s in seams))
            same = [
                r for r in regions
                if (f := Filler.of(r)) and (f.number, f.partly) == (filler.number, filler.partly)
                and tuple(sorted(s for s in f.seams if s in seams)) == kept
            ]  # fmt: skip
            if len(same) != 1:
                return False
            names[region] = same[0]
        else:
            names[region] = region
        own = np.flatnonzero(np.isin(parent, members))
        if not np.isin(parent[goes[own]], regions[names[region]]).all():
            return False
    grips = {c.name: set(model._gripped(c).tolist()) for c in model.case.clamps}
    for clamp in model.case.clamps:
        image = set(to[list(grips[clamp.name])].tolist())
        twins = [c for c in model.case.clamps if grips[c.name] == image]
        if not twins or replace(twins[0], name=clamp.name, at=clamp.at) != clamp:
            return False
    return True
