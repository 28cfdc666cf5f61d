"""Which metal is there: the part from the start, filler as an arc passes it.

A heat cell conducts from a front length ahead of the arc on; a point carries load once the arc has
passed it. Until then filler follows the part as a soft skin, and it joins without stress.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.lattice import Lattice
from weldsim.geometry.part import Part
from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.simulation.seam_filler import filler_of_tack, filler_of_weld, seam_distance


@dataclass(frozen=True)
class Activation:
    """When each heat cell joins. H heat cells, W welds, C cells of Q quadrature points.

    Attributes
    ----------
    weld : ndarray of int, shape (R, H)
        Welds that may activate a cell, W for none; several rows, since seams meet and a seam welds
        over its tacks.
    place : ndarray, shape (R, H)
        How far along that weld it lies; -inf for metal that is there from the start, inf for land
        that stays open. [m]
    lead : ndarray, shape (W,)
        How far ahead of the arc filler begins to conduct. [m]
    point_child : ndarray of int, shape (Q,)
        Child that each quadrature point of a cell lies in.
    children : int
        Heat cells in a cell.
    base_points : tuple of ndarrays of int
        For each weld, lattice points where its bead sits on metal that is there.
    middle_points : tuple of int
        For each weld, the one of them nearest to its middle.
    riders, carriers : ndarray of int, equal shapes
        Lattice points of filler alone, and the points of the part they are drawn on.
    """

    weld: Integers
    place: Floats
    lead: Floats
    point_child: Integers
    children: int
    base_points: tuple[Integers, ...]
    middle_points: tuple[int, ...]
    riders: Integers
    carriers: Integers

    @classmethod
    def of(
        cls, case: Case, part: Part, seams: tuple[Any, ...], point_child: Integers
    ) -> Activation:
        """Bind the welds of a case to its mesh.

        Parameters
        ----------
        case : Case
            With its welds and tacks.
        part : Part
            Its mesh.
        seams : tuple of Seam or CurvedSeam
            Of the welds.
        point_child : ndarray of int, shape (Q,)
            Child that each quadrature point of a cell lies in.

        Returns
        -------
        Activation
            Of every heat cell.
        """
        lattice, parent = part.lattice, part.heat_parent
        middles = lattice.points[lattice.heat_cells].mean(axis=1)
        base = np.isin(parent, part.regions["part"])
        for tack in case.tacks:
            if not tack.arc:
                base[filler_of_tack(case, part, middles, tack)] = True
        owned = [filler_of_weld(case, part, middles, w) for w in case.welds]
        weld, place = _order(part, seams, owned)
        place[:, base] = -np.inf
        body = np.unique(lattice.heat_cells[base])
        feet, amid = [], []
        for spec, cells, seam in zip(case.welds, owned, seams, strict=True):
            foot = np.intersect1d(np.unique(lattice.heat_cells[cells]), body)
            if foot.size == 0:  # heat without filler, or a bead on beads
                away = seam_distance(seam, lattice.points[body])
                foot = body[away <= max(spec.arc.half_width, away.min() * 1.001)]
            feet.append(foot)
            off = np.linalg.norm(lattice.points[foot] - seam.middle, axis=1)
            amid.append(int(foot[np.argmin(off)]))
        lead = np.array([w.arc.front_length for w in case.welds], dtype=float)
        return cls(
            weld, place, lead, point_child, len(lattice.children), tuple(feet), tuple(amid),
            *_riders(lattice, base, body),
        )  # fmt: skip

    def passed(self, reached: Floats) -> Flags:
        """Cells of the part and of filler that lies before some places.

        Parameters
        ----------
        reached : ndarray, shape (W,)
            Place on each weld. [m]

        Returns
        -------
        ndarray of bool, shape (H,)
            True where a cell lies before the place on one of its welds.
        """
        before = self.place <= np.append(reached, -np.inf)[self.weld]
        return np.asarray(before.any(axis=0))

    def active_cells(self, reached: Floats) -> Flags:
        """Heat cells that conduct.

        Parameters
        ----------
        reached : ndarray, shape (W,)
            Place of the arc on each weld. [m]

        Returns
        -------
        ndarray of bool, shape (H,)
            Filler from a front length ahead of the arc on.
        """
        return self.passed(reached + self.lead)

    def active_points(self, reached: Floats) -> Flags:
        """Quadrature points that carry load.

        Parameters
        ----------
        reached : ndarray, shape (W,)
            Place of the arc on each weld. [m]

        Returns
        -------
        ndarray of bool, shape (C, Q)
            The part, and filler the arc has passed.
        """
        return self.passed(reached).reshape(-1, self.children)[:, self.point_child]


def _order(part: Part, seams: tuple[Any, ...], owned: list[Integers]) -> tuple[Integers, Floats]:
    """Welds that activate each cell and the places along them, rows filled from the top."""
    count = len(part.heat_parent)
    active = sum((np.bincount(c, minlength=count) for c in owned), np.zeros(count, dtype=int))
    rows = max(1, int(active.max(initial=0)))
    weld = np.full((rows, count), len(owned))
    place = np.full((rows, count), np.inf)
    filled = np.zeros(count, dtype=np.int64)
    mesh = part.mesh
    middle = mesh.p[:, mesh.t].mean(axis=1).T[part.heat_parent]  # children join with their cell
    for i, (cells, seam) in enumerate(zip(owned, seams, strict=True)):
        weld[filled[cells], cells] = i
        # an end that overhangs, such as a mitre, joins with the end itself
        along = seam.local(middle[cells])[0]
        place[filled[cells], cells] = np.clip(along, 0.0, seam.length)
        filled[cells] += 1
    return weld, place


def _riders(lattice: Lattice, base: Flags, body: Integers) -> tuple[Integers, Integers]:
    """Lattice points of filler alone, and for each the nearest point of the part."""
    from scipy.spatial import cKDTree

    loose = np.setdiff1d(np.unique(lattice.heat_cells[~base]), body)
    if not loose.size:
        return loose, loose
    nearest = cKDTree(lattice.points[body]).query(lattice.points[loose])[1]
    return loose, body[nearest]
