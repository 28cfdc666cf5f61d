"""Where heat leaves the metal that is there: areas of its outer faces, lumped to their nodes."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.physics.arrays import Flags, Floats

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018


@dataclass(frozen=True)
class SurfaceExchange:
    """Outer faces and volumes of one set of active cells and closed clamps.

    Attributes
    ----------
    film_area : ndarray, shape (Nh,)
        Area open to the air. [m2]
    contact : ndarray, shape (Nh,)
        Contact conductance times area under clamps. [W/K]
    volume : ndarray, shape (Nh,)
        Volume of active cells. [m3]
    active : ndarray of bool, shape (Nh,)
        Node of an active cell.
    film_coefficient : float, optional
        Where it is not that of the surroundings, as under a fan. [W/(m2 K)]
    """

    film_area: Floats
    contact: Floats
    volume: Floats
    active: Flags
    film_coefficient: float | None = None
