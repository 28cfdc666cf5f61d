"""What a metal knows at a point: properties at its temperature, and what it remembers.

J2 plasticity with temperature-dependent stiffness, yield, hardening and expansion. The strain is
the sum of thermal, reference, plastic and elastic parts; the reference strain is that at which the
point is free of stress, set where metal joins and anew while it is soft (`equilibrium.accept`).
Metal that is made stress-free at every step must carry next to nothing within the step, or the
result hangs on the step: stiffness and yield fall to `SOFT_STIFFNESS` within `SOFT_RANGE` above
the softening temperature. Above that it does not yield at all: it forgets its stress anyway, and
flow without strength would leave the tangent all but singular. The law itself is
`plasticity_kernels.stress_update`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from weldsim.materials.material import Material
from weldsim.physics.arrays import Flags, Floats, Integers

INACTIVE_STIFFNESS = 1e-5  # share of stiffness of inactive filler: it only carries its points
SOFT_STIFFNESS = 1e-4  # share of stiffness left in soft metal: it carries next to nothing
THERE = 2 * INACTIVE_STIFFNESS  # share of stiffness above which metal is there
SOFT_RANGE = 50.0  # K from the softening temperature to that share


@dataclass(frozen=True)
class Filler:
    """Cells that another metal fills than that of the part, as strong as it is. c cells.

    Attributes
    ----------
    cells : ndarray of int, shape (c,)
        Cell numbers.
    material : Material
        Its yield stress and hardening count; all else is the part's.
    """

    cells: Integers
    material: Material


@dataclass(frozen=True)
class Properties:
    """Material at the quadrature points for one step, each array of shape (C, Q).

    Attributes
    ----------
    bulk, shear, yield_stress, isotropic, kinematic : ndarray
        Moduli of elasticity and hardening, and yield stress. [Pa]
    thermal_strain : ndarray
        From the zero of the material's table. [1]
    """

    bulk: Floats
    shear: Floats
    yield_stress: Floats
    isotropic: Floats
    kinematic: Floats
    thermal_strain: Floats

    @classmethod
    def of(
        cls,
        material: Material,
        temperature: Floats,
        active: Flags | None = None,
        softens: bool = True,
        filler: Filler | None = None,
    ) -> Properties:
        """Properties at temperatures.

        Parameters
        ----------
        material : Material
            Curves.
        temperature : ndarray, shape (C, Q)
            [K]
        active : ndarray of bool, shape (C, Q), optional
            Points that carry; the others are soft. All of them when left out.
        softens : bool
            False keeps the floor of the stiffness above the softening temperature, for a law
            without flow that could not give soft metal its shape back.
        filler : Filler, optional
            Cells of another strength.

        Returns
        -------
        Properties
            Inactive points keep their thermal strain, so that they are free of stress at the
            temperature they join with and not at that of the table's zero.
        """
        modulus = np.interp(temperature, *material.table("youngs_modulus"))
        hardening = np.interp(temperature, *material.table("hardening_modulus"))
        yield_stress = np.interp(temperature, *material.table("yield_stress"))
        thermal = np.interp(temperature, *material.table("thermal_strain"))
        if filler is not None:
            laid, own = temperature[filler.cells], filler.material.table
            yield_stress[filler.cells] = np.interp(laid, *own("yield_stress"))
            hardening[filler.cells] = np.interp(laid, *own("hardening_modulus"))
        if softens:
            left = strength_share(material, temperature)
            modulus *= left
            yield_stress *= left
            yield_stress[temperature >= material.softening_temperature + SOFT_RANGE] = np.inf
        if active is not None:
            modulus[~active] *= INACTIVE_STIFFNESS
            yield_stress[~active] = np.inf
        nu = material.poisson_ratio
        share = material.isotropic_share
        return cls(
            modulus / (3 * (1 - 2 * nu)),
            modulus / (2 * (1 + nu)),
            yield_stress,
            share * hardening,
            (1 - share) * hardening,
            thermal,
        )

    def cold(self) -> Properties:
        """The metal that is there, as stiff as any of it is and without flow.

        Returns
        -------
        Properties
            Filler that waits, and soft metal, stay as soft as they are.
        """
        there = self.shear > THERE * self.shear.max()
        return replace(
            self,
            bulk=np.where(there, self.bulk.max(), self.bulk),
            shear=np.where(there, self.shear.max(), self.shear),
            yield_stress=np.full_like(self.yield_stress, np.inf),
        )

    def of_cells(self, cells: Integers) -> Properties:
        """Those of some cells.

        Parameters
        ----------
        cells : ndarray of int, shape (c,)
            Cell numbers.

        Returns
        -------
        Properties
            Each array of shape (c, Q).
        """
        return Properties(*(getattr(self, f.name)[cells] for f in fields(self)))

    @property
    def youngs_modulus(self) -> Floats:
        """E = 9 K G / (3 K + G), (C, Q). [Pa]"""
        return 9 * self.bulk * self.shear / (3 * self.bulk + self.shear)


def strength_share(material: Material, temperature: Floats) -> Floats:
    """Share of stiffness and yield left above the softening temperature.

    Parameters
    ----------
    material : Material
        Says where it softens.
    temperature : ndarray
        [K]

    Returns
    -------
    ndarray
        Of the shape of `temperature`, from 1 to `SOFT_STIFFNESS`.
    """
    soft = material.softening_temperature
    if not np.isfinite(soft):
        return np.ones_like(temperature)
    return np.interp(temperature, [soft, soft + SOFT_RANGE], [1.0, SOFT_STIFFNESS])


@dataclass(frozen=True)
class InternalVariables:
    """What the metal remembers at the quadrature points; tensor shears, xx yy zz xy yz xz.

    Attributes
    ----------
    plastic_strain : ndarray, shape (C, Q, 6)
        The `elastic` model keeps its inherent strain here. [1]
    equivalent_plastic_strain : ndarray, shape (C, Q)
        Grows with plastic flow, never below zero. [1]
    reference_strain : ndarray, shape (C, Q, 6)
        Strain at which the point is free of stress at zero thermal strain. [1]
    """

    plastic_strain: Floats
    equivalent_plastic_strain: Floats
    reference_strain: Floats

    @classmethod
    def virgin(cls, cells: int, points: int) -> InternalVariables:
        """Metal that nothing has happened to.

        Parameters
        ----------
        cells, points : int
            Cells, and quadrature points in each.

        Returns
        -------
        InternalVariables
            All zero.
        """
        return cls(
            np.zeros((cells, points, 6)), np.zeros((cells, points)), np.zeros((cells, points, 6))
        )

    def of_cells(self, cells: Integers) -> InternalVariables:
        """Those of some cells.

        Parameters
        ----------
        cells : ndarray of int, shape (c,)
            Cell numbers.

        Returns
        -------
        InternalVariables
            Each array of c cells.
        """
        return InternalVariables(*(getattr(self, f.name)[cells] for f in fields(self)))


def von_mises(stress: Floats) -> Floats:
    """Equivalent stress.

    Parameters
    ----------
    stress : ndarray, shape (..., 6)
        Order xx yy zz xy yz xz. [Pa]

    Returns
    -------
    ndarray, shape (...)
        [Pa]
    """
    d = stress[..., :3] - stress[..., :3].mean(axis=-1, keepdims=True)
    size: Floats = np.sqrt(1.5 * ((d**2).sum(axis=-1) + 2 * (stress[..., 3:] ** 2).sum(axis=-1)))
    return size
