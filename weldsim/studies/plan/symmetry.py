"""Mirrors and turns that bring a part onto itself, so that a schedule and its image are one.

A candidate is one of the 48 signed exchanges of the axes about the middle of the part. It counts
only when the mesh itself falls onto itself with it: points, cells, regions, tacks and clamps. Then
the computed answer of the image of a schedule is the image of the answer, to rounding.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import permutations, product

import numpy as np

from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import Filler
from weldsim.schema.records import StartRule, Weld
from weldsim.simulation.model import Model
from weldsim.simulation.seam_filler import along_seam
from weldsim.simulation.state import State
from weldsim.studies.plan.space import Moves

SAME_POINT = 1e-7  # m within which two mesh points are one


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

    def of_moves(self, moves: Moves) -> Moves:
        """Image of moves, each (seam, direction)."""
        return tuple((self.seams[s][0], self.seams[s][1] * direction) for s, direction in moves)

    def of_state(self, state: State) -> State:
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


def symmetries(
    model: Model,
    lines: Mapping[str, SeamLine],
    among: Iterable[str] | None = None,
    directions: Mapping[str, int] | None = None,
) -> tuple[Symmetry, ...]:
    """All symmetries of a bound case, the identity first.

    Parameters
    ----------
    model : Model
        Its welds may be in any order; tacks, clamps and mesh count.
    lines : dict
        Seam name -> `path.SeamLine`, all seams of the joint.
    among : iterable of str, optional
        Seams that must go to one another; all of them when left out.
    directions : dict, optional
        Seam -> direction in which the model's case welds it; as the words of its own line say when
        left out.
    """
    from scipy.spatial import cKDTree

    among = set(lines if among is None else among)
    if directions is None:
        directions = {
            w.seam: lines[w.seam].directions.get(w.travel, w.direction) for w in model.case.welds
        }
    alone = _has_no_images(model, lines)
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
            if not np.allclose(span, np.ptp(points, axis=0), atol=SAME_POINT):
                continue
            away, to = tree.query((points - middle) @ matrix.T + middle)
            if away.max() > SAME_POINT or len(np.unique(to)) < len(points):
                continue
            seams = _seams(lines, matrix, middle)
            closed = seams is not None and all(seams[s][0] in among for s in among)
            if alone and not np.array_equal(matrix, np.eye(3)):
                continue
            if closed and _alike(model, lines, seams, directions) and _same(model, to, seams):
                out.append(Symmetry(matrix, to, seams))
    return tuple(sorted(out, key=lambda s: not s.is_identity))


def canonical(images: Sequence[Symmetry], moves: Moves) -> tuple[Moves, int]:
    """The least image of a row of moves, and the number of the symmetry that gives it.

    The beginning of a canonical row is canonical, since rows are compared move by move; so the
    images of a schedule share the branches of its canonical form.
    """
    if not images:
        return tuple(moves), 0
    rows = [s.of_moves(moves) for s in images]
    best = min(range(len(rows)), key=lambda i: rows[i])
    return rows[best], best


def _seams(lines, matrix, middle) -> dict | None:
    """Where each seam goes; None when one goes to where there is no seam."""
    out = {}
    for name, line in lines.items():
        image = (line.points - middle) @ matrix.T + middle
        for other, target in lines.items():
            if target.points.shape != image.shape:
                continue
            if np.allclose(target.points, image, atol=10 * SAME_POINT):
                out[name] = (other, 1)
            elif np.allclose(target.points, image[::-1], atol=10 * SAME_POINT):
                out[name] = (other, -1)
            if name in out:
                break
        else:
            return None
    return out


def _has_no_images(model: Model, lines: Mapping[str, SeamLine]) -> bool:
    """Whether a mirror image would be computed otherwise, however alike part and welds are.

    Tacks laid by an arc come first and in their own order. A part that nothing holds to the end is
    read against three points of its own, which lie on no mirror. A cell whose middle lies on the
    end of a stretch goes to one side of it, its image to the other.
    """
    case, start = model.case, StartRule("time", 0.0)
    if any(w.tack >= 0 for w in case.welds):
        return True
    if not any(c.on == start and c.off.kind == "never" for c in case.clamps):
        return True
    middles = model.part.lattice.points[model.part.lattice.heat_cells].mean(axis=1)
    for w in case.welds:
        length = lines[w.seam].length
        ends = [e for e in (w.begin, w.finish) if 1e-9 < e < length - 1e-9]
        if ends and w.filler:
            _, along = along_seam(case, model.part, middles, w.seam, w.number)
            if np.abs(along[:, None] - ends).min(initial=np.inf) < 10 * SAME_POINT:
                return True
    return False


def _alike(model, lines, seams, directions) -> bool:
    """Whether a seam and its image are welded alike, and no rule tells them apart.

    The stretches of a seam count in their order and directions: the image of a seam welded one way
    is compared with its partner welded the way the image runs. Start rules do not count, since a
    plan sets them by the place in the order.
    """
    case = model.case
    rules = [r for c in case.clamps for r in (c.on, c.off) if r.weld is not None]
    bases = {r.weld.partition(".")[0] for r in rules}
    named = {w.seam for w in case.welds if w.name.partition(".")[0] in bases}
    for seam, (other, turn) in seams.items():
        if seam != other and seam in named:
            return False
        welded = stretches_of(case, seam)
        image = [_mirrored(w, 0.0, lines[seam].length) if turn < 0 else w for w in welded]
        target = stretches_of(case, other)
        if welded and target and directions[other] != directions[seam] * turn:
            target = _other_way(target)
        if [_plain(w) for w in image] != [_plain(w) for w in target]:
            return False
    return True


def stretches_of(case, seam) -> list:
    """What a case welds on a seam, in order, tacks left out."""
    return [w for w in case.welds if w.seam == seam and w.tack < 0]


def _plain(weld: Weld) -> tuple[tuple[float, float], str]:
    """All that makes a stretch but where it belongs and when it starts."""
    ends = round(weld.begin, 9), round(weld.finish, 9)
    bare = replace(weld, name="", seam="", travel="", start=None, begin=0.0, finish=0.0)
    return ends, repr(bare)


def _mirrored(weld: Weld, low: float, high: float) -> Weld:
    """A stretch between two places of its seam, seen in a mirror midway."""
    return replace(
        weld,
        begin=low + high - weld.finish,
        finish=low + high - weld.begin,
        direction=-weld.direction,
    )


def _other_way(welds: Sequence[Weld]) -> list[Weld]:
    """The stretches of a seam as they are when it is welded the other way: each section and pass
    turns within its own ends and keeps its order."""
    groups: dict[tuple[str, int], list[Weld]] = {}
    for w in welds:
        groups.setdefault((w.name.partition(".")[0], w.number), []).append(w)
    ends = {k: (min(w.begin for w in g), max(w.finish for w in g)) for k, g in groups.items()}
    return [_mirrored(w, *ends[w.name.partition(".")[0], w.number]) for w in welds]


def _same(model, to, seams) -> bool:
    """Whether cells, what is metal from the start, filler and clamps fall onto themselves."""
    lattice, regions = model.part.lattice, model.part.regions
    cells = np.sort(lattice.heat_cells, axis=1)
    seat = {row.tobytes(): i for i, row in enumerate(cells)}
    images = np.sort(to[lattice.heat_cells], axis=1).astype(cells.dtype)
    goes = np.array([seat.get(row.tobytes(), -1) for row in images])
    if np.any(goes < 0):
        return False
    there = np.isneginf(model.activation.place).any(axis=0)
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
    clamping = model.history.clamping
    clamp_contacts = {
        c.name: set(points.tolist())
        for c, points in zip(clamping.clamps, clamping.lattice_points, strict=True)
    }
    for clamp in model.case.clamps:
        image = set(to[list(clamp_contacts[clamp.name])].tolist())
        twins = [c for c in model.case.clamps if clamp_contacts[c.name] == image]
        if not twins or replace(twins[0], name=clamp.name, at=clamp.at) != clamp:
            return False
    return True
