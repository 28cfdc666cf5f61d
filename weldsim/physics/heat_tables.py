"""Heat properties of a metal as tables: enthalpy with latent heat, conductivity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.materials.material import Material
from weldsim.physics.arrays import Floats


@dataclass(frozen=True)
class HeatTables:
    """Material tables for the heat solve, piecewise linear in temperature.

    Attributes
    ----------
    density : float
        [kg/m3]
    enthalpy : tuple of two ndarrays, each shape (n,)
        Temperatures and specific enthalpies. [K, J/kg]
    conductivity : tuple of two ndarrays, each shape (m,)
        Temperatures and conductivities. [K, W/(m K)]
    """

    density: float
    enthalpy: tuple[Floats, Floats]
    conductivity: tuple[Floats, Floats]

    @classmethod
    def of(cls, material: Material) -> HeatTables:
        """Tables of a material.

        Parameters
        ----------
        material : Material
            Any.

        Returns
        -------
        HeatTables
            Its density, enthalpy and conductivity.
        """
        return cls(material.density, material.table("enthalpy"), material.table("conductivity"))

    def heat(self, temperature: Floats) -> tuple[Floats, Floats]:
        """Specific enthalpy and its slope.

        Parameters
        ----------
        temperature : ndarray
            [K]

        Returns
        -------
        enthalpy, slope : ndarray, each of the shape of `temperature`
            Beyond the ends of the table its last stretch goes on. [J/kg, J/(kg K)]
        """
        t, h = self.enthalpy
        i = np.clip(np.searchsorted(t, temperature, side="right") - 1, 0, t.size - 2)
        slope = (h[i + 1] - h[i]) / (t[i + 1] - t[i])
        return h[i] + slope * (temperature - t[i]), slope

    def temperature(self, enthalpy: Floats) -> Floats:
        """Temperature at a specific enthalpy, inverse of `heat`.

        Parameters
        ----------
        enthalpy : ndarray
            [J/kg]

        Returns
        -------
        ndarray
            Of the shape of `enthalpy`. [K]
        """
        t, h = self.enthalpy
        i = np.clip(np.searchsorted(h, enthalpy, side="right") - 1, 0, t.size - 2)
        return t[i] + (enthalpy - h[i]) * (t[i + 1] - t[i]) / (h[i + 1] - h[i])

    def conduct(self, temperature: Floats) -> Floats:
        """Conductivity.

        Parameters
        ----------
        temperature : ndarray
            [K]

        Returns
        -------
        ndarray
            Of the shape of `temperature`. [W/(m K)]
        """
        return np.interp(temperature, *self.conductivity)
