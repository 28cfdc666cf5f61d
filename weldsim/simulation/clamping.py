"""Clamps bound to a mesh: which unknowns they hold, as springs or rigidly."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.geometry.part import Part
from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.rigid_motion import mean_motion, minimal_supports
from weldsim.physics.springs import Spring
from weldsim.schema.records import Clamp

FLAT = 1e-6  # m, that a face may stand off its plane where a clamp slides on it


@dataclass(frozen=True)
class Clamping:
    """The clamps of a case on its mesh. N displacement points, K clamps.

    Attributes
    ----------
    clamps : tuple of Clamp
        In the order of the case.
    lattice_points : tuple of ndarrays of int
        Lattice points under each clamp.
    points : ndarray, shape (N, 3)
        Displacement points. [m]
    body : ndarray of int
        Displacement points of the part without filler.
    across : tuple of int or None
        Axis across the faces of each clamp that slides on them, None for the others.
    """

    clamps: tuple[Clamp, ...]
    lattice_points: tuple[Integers, ...]
    points: Floats
    body: Integers
    across: tuple[int | None, ...]

    @classmethod
    def of(cls, case: Case, part: Part) -> Clamping:
        """Bind the clamps of a case.

        Parameters
        ----------
        case : Case
            Its clamps name faces of the part.
        part : Part
            Mesh of that part.

        Returns
        -------
        Clamping
            The clamps on the mesh.

        Raises
        ------
        CaseError
            If a clamp slides on faces that are not flat and across one axis.
        """
        lattice = part.lattice
        under = tuple(
            np.unique(np.concatenate([part.boundaries[face] for face in c.at])) for c in case.clamps
        )
        body = np.unique(lattice.displacement_cells[part.regions["part"]])
        across = tuple(
            _axis_across(case, c, lattice.points[nodes]) if c.slides else None
            for c, nodes in zip(case.clamps, under, strict=True)
        )
        if len(set(across) - {None}) > 1:
            raise CaseError(
                f"{case.source_file} [[clamp]] slides: clamps slide on faces that lie along "
                "different planes, allowed: along one"
            )
        points = lattice.points[: lattice.displacement_points]
        return cls(case.clamps, under, points, body, across)

    def _at(self, index: int) -> Integers:
        nodes = self.lattice_points[index]
        return nodes[nodes < len(self.points)]

    def points_of(self, name: str) -> Integers:
        """Displacement points under a clamp.

        Parameters
        ----------
        name : str
            Of the clamp.

        Returns
        -------
        ndarray of int
            Point numbers.
        """
        return self._at([c.name for c in self.clamps].index(name))

    def supports(self, closed_clamps: Collection[str]) -> Flags:
        """Unknowns that are held.

        Parameters
        ----------
        closed_clamps : collection of str
            Names of the clamps that grip.

        Returns
        -------
        ndarray of bool, shape (N, 3)
            Faces under rigid clamps, where these slide across the face alone. What no clamp stops
            of rigid motion is stopped by up to six unknowns: under clamps that slide, else where
            the part was first held if it ever was.
        """
        fixed = np.zeros(self.points.shape, dtype=bool)
        closed = [i for i, c in enumerate(self.clamps) if c.name in closed_clamps]
        holding = [i for i in closed if self.clamps[i].kind != "table"]
        for i in holding:
            if self.across[i] is not None:
                fixed[self._at(i), self.across[i]] = True
            elif self.clamps[i].kind == "rigid":
                fixed[self._at(i)] = True
        if not holding:
            nodes = self._at(0) if self.clamps else self.body
        elif all(self.across[i] is not None for i in holding):
            nodes = np.unique(np.concatenate([self._at(i) for i in holding]))
        else:
            return fixed
        fixed[nodes] |= minimal_supports(self.points[nodes])
        return fixed

    def rests(self, closed_clamps: Collection[str]) -> bool:
        """Whether the part is pressed on a table.

        Parameters
        ----------
        closed_clamps : collection of str
            Names of the clamps that grip.

        Returns
        -------
        bool
            True where a table is there and something else holds the part: weight is left out.
        """
        kinds = {c.kind for c in self.clamps if c.name in closed_clamps}
        return "table" in kinds and len(kinds) > 1

    def springs(self, closed_clamps: Collection[str], anchors: Floats) -> tuple[Spring, ...]:
        """Elastic clamps that grip.

        Parameters
        ----------
        closed_clamps : collection of str
            Names of the clamps that grip.
        anchors : ndarray, shape (K, 6)
            Mean shift and turn of each clamp's faces when it gripped. [m, rad]

        Returns
        -------
        tuple of Spring
            In the order of the case.
        """
        out = []
        for i, (clamp, anchor) in enumerate(zip(self.clamps, anchors, strict=True)):
            if clamp.kind == "spring" and clamp.name in closed_clamps:
                nodes = self._at(i)
                stiffness = np.repeat([clamp.stiffness, clamp.turning], 3)
                out.append(Spring(nodes, mean_motion(self.points[nodes]), stiffness, anchor))
        return tuple(out)

    def anchored(self, anchors: Floats, displacement: Floats, names: Collection[str]) -> Floats:
        """Anchors with those of some clamps set to where their faces are now.

        Parameters
        ----------
        anchors : ndarray, shape (K, 6)
            Before. [m, rad]
        displacement : ndarray, shape (N, 3)
            Now. [m]
        names : collection of str
            Clamps that grip now.

        Returns
        -------
        ndarray, shape (K, 6)
            [m, rad]
        """
        out = anchors.copy()
        for i, clamp in enumerate(self.clamps):
            if clamp.name in names:
                nodes = self._at(i)
                out[i] = mean_motion(self.points[nodes]) @ displacement[nodes].ravel()
        return out


def _axis_across(case: Case, clamp: Clamp, points: Floats) -> int:
    """Axis across flat faces that a clamp slides on."""
    wide = np.ptp(points, axis=0)
    axis = int(np.argmin(wide))
    if wide[axis] > FLAT:
        raise CaseError(
            f"{case.source_file} [[clamp]] {clamp.name} slides: its faces are not flat across one "
            "axis, allowed: flat ones, or slides = false"
        )
    return axis
