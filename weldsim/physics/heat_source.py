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

from weldsim.geometry.path import Seam
from weldsim.schema.records import Arc

ROOT3 = np.sqrt(3.0)
WEAVE_POINTS = 9  # enough for amplitudes up to three half widths


@dataclass(frozen=True)
class DoubleEllipsoid:
    """Moving arc heat.

    Attributes
    ----------
    power : absorbed power [W]
    front_length, rear_length, half_width, depth : semi-axes, 5 % of the peak is left there [m]
    speed : travel speed [m/s]
    seam : Seam the arc follows
    weave : amplitude of a weave across the seam [m]
    dwell, crater : how long the arc stands at its start and at its end [s]
    """

    power: float
    front_length: float
    rear_length: float
    half_width: float
    depth: float
    speed: float
    seam: Seam
    weave: float = 0.0
    dwell: float = 0.0
    crater: float = 0.0

    @classmethod
    def of(cls, arc: Arc, seam: Seam) -> DoubleEllipsoid:
        """The heat of a case's arc on a seam.

        Parameters
        ----------
        arc : weldsim.schema.records.Arc
            In SI.
        seam : Seam
            In its direction of travel.

        Returns
        -------
        DoubleEllipsoid
            With the arc's absorbed power.
        """
        return cls(
            arc.power, arc.front_length, arc.rear_length, arc.half_width, arc.depth, arc.speed,
            seam, arc.weave, arc.dwell, arc.crater,
        )  # fmt: skip

    @property
    def duration(self) -> float:
        """Arc time: standing at the start, travel, standing at the end. [s]"""
        return self.dwell + self.seam.length / self.speed + self.crater

    @property
    def stands(self) -> tuple[float, float]:
        """When the arc sets off and when it has arrived, after its start. [s]"""
        return self.dwell, self.dwell + self.seam.length / self.speed

    def place(self, time: float) -> float:
        """Way of the arc along its seam at a time after its start. [m]

        Beyond the ends the way goes on, so that a case without dwell or crater may be sampled
        there; with them the arc stands.
        """
        way = self.speed * (time - self.dwell)
        if self.dwell > 0:
            way = max(way, 0.0)
        return min(way, self.seam.length) if self.crater > 0 else way

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


def laps(seam) -> tuple[float, ...]:
    """What to add to a place along a seam: a closed one also lies one lap before and behind. [m]"""
    return (0.0, seam.length, -seam.length) if seam.closed else (0.0,)


def mean_density(position, begin, end, source: DoubleEllipsoid, local=None):
    """Heat per volume averaged from `begin` to `end` [s after arc start], shape (P,). [W/m3]

    `local` is what `seam.local(position)` gave, where it is known. The arc stands still before
    its start time and after it has reached the end of the seam (dwell, crater filling).
    """
    if end <= begin:
        raise ValueError("the step must have a positive length")
    s, y, z = source.seam.local(position) if local is None else local
    cuts = sorted({begin, end, *(t for t in source.stands if begin < t < end)})
    total = np.zeros_like(s)
    for one, two in zip(cuts[:-1], cuts[1:], strict=True):
        total += (two - one) / (end - begin) * _share(s, one, two, source)
    return source.power * total * _woven(y, z, source)


def _share(s, begin, end, source: DoubleEllipsoid):
    """Mean of `along` while the arc moves or stands from `begin` to `end`. [1/m]"""
    first, last = source.place(begin), source.place(end)
    out = 0.0
    for lap in laps(source.seam):
        if last - first <= 1e-12:
            out = out + along(s + lap - first, source)
        else:
            before, after = s + lap - first, s + lap - last
            out = out + (share_ahead(before, source) - share_ahead(after, source)) / (last - first)
    return out


def _woven(y, z, source: DoubleEllipsoid):
    """Cross-section spread over the weave, which is faster than a step: a sine across the seam."""
    if source.weave <= 0:
        return cross_section(y, z, source)
    # Gauss-Chebyshev points are where an evenly timed sine is found
    at = source.weave * np.cos(np.pi * (np.arange(WEAVE_POINTS) + 0.5) / WEAVE_POINTS)
    return sum(cross_section(y - a, z, source) for a in at) / WEAVE_POINTS


def nodal_power(
    position, weight, shape, cells, nodes, begin, end, source: DoubleEllipsoid, local=None
):
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
    local : three ndarrays, each shape (K Q,), optional
        `seam.local` of the points, where it is known.

    Returns
    -------
    power : ndarray, shape (nodes,) [W]
    factor : float
        What the quadrature had to be multiplied with; far from 1 when the ellipsoid overhangs.
    """
    k, q = weight.shape
    density = mean_density(position.reshape(-1, 3), begin, end, source, local).reshape(k, q)
    shares = (density * weight) @ shape
    raw = shares.sum()
    if not raw > 0:
        raise ValueError("the arc does not touch the part")
    factor = source.power / raw
    power = np.bincount(cells.ravel(), (factor * shares).ravel(), minlength=nodes)
    return power, float(factor)
