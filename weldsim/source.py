"""Heat of the arc: a double ellipsoid moving along a seam, averaged exactly over a step.

q = 6 sqrt(3) f P / (a b c pi^1.5) exp(-3 xi^2/c^2 - 3 y^2/a^2 - 3 z^2/b^2) in a frame moving with
the arc, with c = front or rear length and shares f = 2 c / (front + rear), so that q is continuous
at the arc and integrates to P over a half space (J. Goldak et al., Metall. Trans. B 15 (1984)
299-305, doi:10.1007/BF02667333; the normalisation is re-derived in the tests). The average over a
step is closed: an error-function difference along the travel. A part never fills the half space,
so the nodal powers are rescaled to exactly P and the factor is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.path import Seam

ROOT3 = np.sqrt(3.0)


@dataclass(frozen=True)
class DoubleEllipsoid:
    """Moving arc heat.

    Attributes
    ----------
    power : absorbed power [W]
    front_length, rear_length, half_width, depth : semi-axes, 5 % of the peak is left there [m]
    speed : travel speed [m/s]
    seam : Seam the arc follows
    """

    power: float
    front_length: float
    rear_length: float
    half_width: float
    depth: float
    speed: float
    seam: Seam

    @property
    def shares(self) -> tuple[float, float]:
        """Front and rear share, summing to 2."""
        total = self.front_length + self.rear_length
        return 2 * self.front_length / total, 2 * self.rear_length / total


def cross_section(y, z, source: DoubleEllipsoid):
    """Heat density across the travel, integrating to 1 over the half plane z >= 0. [1/m2]"""
    a, b = source.half_width, source.depth
    return 6.0 / (np.pi * a * b) * np.exp(-3 * (y / a) ** 2 - 3 * (z / b) ** 2)


def along(xi, source: DoubleEllipsoid):
    """Heat density along the travel at `xi` ahead of the arc, integrating to 1. [1/m]"""
    front, rear = source.shares
    c = np.where(xi >= 0, source.front_length, source.rear_length)
    f = np.where(xi >= 0, front, rear)
    return f * ROOT3 / (c * np.sqrt(np.pi)) * np.exp(-3 * (xi / c) ** 2)


def share_ahead(xi, source: DoubleEllipsoid):
    """Integral of `along` from 0 to `xi` (negative behind the arc), dimensionless."""
    from scipy.special import erf

    front, rear = source.shares
    c = np.where(xi >= 0, source.front_length, source.rear_length)
    f = np.where(xi >= 0, front, rear)
    return 0.5 * f * erf(ROOT3 * xi / c)


def heat_density(position, time, source: DoubleEllipsoid):
    """Heat per volume at an instant after arc start, before any rescaling.

    Parameters
    ----------
    position : ndarray, shape (P, 3)
        [m]
    time : float
        Time since the arc started at the seam's first end. [s]

    Returns
    -------
    ndarray, shape (P,)
        [W/m3]
    """
    s, y, z = source.seam.local(position)
    return source.power * along(s - source.speed * time, source) * cross_section(y, z, source)


def mean_density(position, begin, end, source: DoubleEllipsoid):
    """Heat per volume averaged from `begin` to `end` [s after arc start], shape (P,). [W/m3]"""
    s, y, z = source.seam.local(position)
    travelled = source.speed * (end - begin)
    if travelled <= 0:
        raise ValueError("the step must have a positive length")
    before, after = s - source.speed * begin, s - source.speed * end
    mean = (share_ahead(before, source) - share_ahead(after, source)) / travelled
    return source.power * mean * cross_section(y, z, source)


def nodal_power(position, weight, shape, cells, nodes, begin, end, source: DoubleEllipsoid):
    """Power at each node averaged over a step, rescaled to the absorbed power.

    Parameters
    ----------
    position : ndarray, shape (K, Q, 3); weight : ndarray, shape (K, Q)
        Quadrature points and volumes of the cells that are laid. [m, m3]
    shape : ndarray, shape (Q, n)
        Shape functions at the quadrature points.
    cells : ndarray of int, shape (K, n)
    nodes : int
        Length of the result.

    Returns
    -------
    power : ndarray, shape (nodes,) [W]
    factor : float
        What the quadrature had to be multiplied with; far from 1 when the ellipsoid overhangs.
    """
    k, q = weight.shape
    density = mean_density(position.reshape(-1, 3), begin, end, source).reshape(k, q)
    shares = (density * weight) @ shape
    raw = shares.sum()
    if not raw > 0:
        raise ValueError("the arc does not touch the part")
    factor = source.power / raw
    power = np.bincount(cells.ravel(), (factor * shares).ravel(), minlength=nodes)
    return power, float(factor)
