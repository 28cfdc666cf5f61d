"""Inherent strain of the `elastic` model bound to the welds of a case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.part import Part
from weldsim.materials.material import Material
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.inherent_strain import directional, restrained_strain, stated_strain
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.simulation.seam_filler import seam_distance
from weldsim.simulation.state import State

# share of the yield strain a restrained bar is left with: just inside, so that rounding cannot make
# it yield again
INSIDE_YIELD = 0.999


@dataclass(frozen=True)
class SeamFrame:
    """Cells that shrink along and across one weld. K of them.

    Attributes
    ----------
    cells : ndarray of bool, shape (C,)
        Nearest to its seam.
    travel, aside : ndarray, shape (K, 1, 3)
        Unit vectors along and across the seam at their middles.
    along, across : float, optional
        Stated shrinkage, negative for shorter; the restrained bar's when left out. [1]
    """

    cells: Flags
    travel: Floats
    aside: Floats
    along: float | None
    across: float | None


@dataclass(frozen=True)
class Shrinkage:
    """How much each point shrinks, and along which seam.

    Attributes
    ----------
    material : Material
        Softening temperature and thermal strain.
    ambient : float
        Temperature of a cold part. [K]
    frames : tuple of SeamFrame
        One for each weld; together they hold every cell once.
    """

    material: Material
    ambient: float
    frames: tuple[SeamFrame, ...]

    @classmethod
    def of(cls, case: Case, part: Part, seams: tuple[Any, ...], material: Material) -> Shrinkage:
        """Bind the welds of a case.

        Parameters
        ----------
        case : Case
            With its welds.
        part : Part
            Its mesh.
        seams : tuple of Seam or CurvedSeam
            Of the welds.
        material : Material
            Of the part.

        Returns
        -------
        Shrinkage
            Of every cell.
        """
        middle = part.mesh.p[:, part.mesh.t].mean(axis=1).T
        frames: list[SeamFrame] = []
        if seams:
            nearest = np.argmin([seam_distance(seam, middle) for seam in seams], axis=0)
            for i, (weld, seam) in enumerate(zip(case.welds, seams, strict=True)):
                cells = nearest == i
                travel, aside = (f[cells][:, None, :] for f in seam.frames(middle))
                frames.append(
                    SeamFrame(cells, travel, aside, weld.shrinkage_along, weld.shrinkage_across)
                )
        return cls(material, case.surroundings.ambient, tuple(frames))

    def _thermal(self, temperature: Any) -> Any:
        return np.interp(temperature, *self.material.table("thermal_strain"))

    def brought_up_to(
        self, state: State, peak: Floats, properties: Properties
    ) -> tuple[InternalVariables, Floats]:
        """Inherent strain after the temperature of a state has moved on.

        Parameters
        ----------
        state : State
            With the inherent strain so far.
        peak : ndarray, shape (C, Q)
            Highest temperature so far. [K]
        properties : Properties
            At the temperature now; points without a yield stress have not joined.

        Returns
        -------
        internal_variables : InternalVariables
            With the inherent strain as a tensor in the place of the plastic strain.
        inherent_strain : ndarray, shape (C, Q)
            As a number. [1]
        """
        waits = np.isinf(properties.yield_stress)
        limit = properties.yield_stress * INSIDE_YIELD / properties.youngs_modulus
        ambient = self._thermal(self.ambient)
        thermal = properties.thermal_strain - ambient
        scalar = restrained_strain(state.inherent_strain, thermal, np.where(waits, 1.0, limit))
        scalar = np.where(waits, 0.0, scalar)
        melted = peak >= self.material.softening_temperature
        peak_strain = self._thermal(peak)
        strain = np.zeros_like(state.internal_variables.plastic_strain)
        for frame in self.frames:
            at = frame.cells
            shares = [
                scalar[at] if stated is None else stated_strain(
                    stated, peak_strain[at], properties.thermal_strain[at], melted[at], ambient
                )
                for stated in (frame.along, frame.across)
            ]  # fmt: skip
            strain[at] = directional(shares[0], shares[1], frame.travel, frame.aside)
        reference = state.internal_variables.reference_strain
        none = np.zeros_like(scalar)
        return InternalVariables(strain, none, reference), scalar
