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

from weldsim.errors import MeshError
from weldsim.geometry.path import CurvedSeam, Seam
from weldsim.physics.arrays import Floats, Integers
from weldsim.schema.records import Arc

ROOT3 = np.sqrt(3.0)
WEAVE_POINTS = 9  # enough for amplitudes up to three half widths


@dataclass(frozen=True)
class DoubleEllipsoid:
    """Moving arc heat.

    Attributes
    ----------
    power : float
        That the part takes up. [W]
    front_length, rear_length, half_width, depth : float
        Semi-axes; 5 % of the peak is left there. [m]
    speed : float
        Of the travel. [m/s]
    seam : Seam or CurvedSeam
        The arc follows.
    weave : float
        Amplitude of a weave across the seam. [m]
    dwell, crater : float
        How long the arc stands at its start and at its end. [s]
    spread : float
        Half the breadth over which the middles of several beads lie, laid as one. [m]
    """

    power: float
    front_length: float
    rear_length: float
    half_width: float
    depth: float
    speed: float
    seam: Seam | CurvedSeam
    weave: float = 0.0
    dwell: float = 0.0
    crater: float = 0.0
    spread: float = 0.0

    @classmethod
    def of(cls, arc: Arc, seam: Seam | CurvedSeam) -> DoubleEllipsoid:
        """The heat of a case's arc on a seam.

        Parameters
        ----------
        arc : Arc
            Of a weld.
        seam : Seam or CurvedSeam
            In its direction of travel.

        Returns
        -------
        DoubleEllipsoid
            Moving along that seam.
        """
        return cls(
            arc.power, arc.front_length, arc.rear_length, arc.half_width, arc.depth, arc.pace,
            seam, arc.weave, arc.dwell / arc.speed_up, arc.crater / arc.speed_up, arc.spread,
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
        """Way of the arc along its seam.

        Parameters
        ----------
        time : float
            After its start. [s]

        Returns
        -------
        float
            Beyond the ends the way goes on, so that a case without dwell or crater may be sampled
            there; with them the arc stands. [m]
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


def cross_section(y: Floats, z: Floats, source: DoubleEllipsoid) -> Floats:
    """Heat density across the travel.

    Parameters
    ----------
    y, z : ndarray, equal shapes
        Across the seam, and into the part. [m]
    source : DoubleEllipsoid
        The arc.

    Returns
    -------
    ndarray
        Integrates to 1 over the half plane z >= 0. [1/m2]
    """
    a, b, s = source.half_width, source.depth, source.spread
    inward = 6.0 / (np.pi * a * b) * np.exp(-3 * (z / b) ** 2)
    density: Floats = inward * (np.exp(-3 * (y / a) ** 2) if s <= 0 else _spread_out(y, a, s))
    return density


def _spread_out(y: Floats, half_width: float, spread: float) -> Floats:
    """Mean of exp(-3 y^2/a^2) over sources whose middles lie from -spread to spread."""
    from scipy.special import erf

    root = ROOT3 / half_width
    between = erf(root * (y + spread)) - erf(root * (y - spread))
    return np.asarray(np.sqrt(np.pi) / (4 * root * spread) * between)


def along(xi: Floats, source: DoubleEllipsoid) -> Floats:
    """Heat density along the travel.

    Parameters
    ----------
    xi : ndarray
        Ahead of the arc. [m]
    source : DoubleEllipsoid
        The arc.

    Returns
    -------
    ndarray
        Integrates to 1. [1/m]
    """
    front, rear = source.shares
    c = np.where(xi >= 0, source.front_length, source.rear_length)
    f = np.where(xi >= 0, front, rear)
    density: Floats = f * ROOT3 / (c * np.sqrt(np.pi)) * np.exp(-3 * (xi / c) ** 2)
    return density


def share_ahead(xi: Floats, source: DoubleEllipsoid) -> Floats:
    """Share of the heat between the arc and a place.

    Parameters
    ----------
    xi : ndarray
        Ahead of the arc. [m]
    source : DoubleEllipsoid
        The arc.

    Returns
    -------
    ndarray
        Integral of `along` from 0 to `xi`, negative behind the arc.
    """
    from scipy.special import erf

    front, rear = source.shares
    c = np.where(xi >= 0, source.front_length, source.rear_length)
    f = np.where(xi >= 0, front, rear)
    share: Floats = 0.5 * f * erf(ROOT3 * xi / c)
    return share


def laps(seam: Seam | CurvedSeam) -> tuple[float, ...]:
    """What to add to a place along a seam: a closed one also lies one lap before and behind.

    Parameters
    ----------
    seam : Seam or CurvedSeam
        Of an arc.

    Returns
    -------
    tuple of float
        [m]
    """
    return (0.0, seam.length, -seam.length) if seam.closed else (0.0,)


def mean_density(
    position: Floats,
    begin: float,
    end: float,
    source: DoubleEllipsoid,
    local: tuple[Floats, ...] | None = None,
) -> Floats:
    """Heat per volume averaged over a step.

    Parameters
    ----------
    position : ndarray, shape (P, 3)
        [m]
    begin, end : float
        After the arc's start; it stands before it sets off and after it has arrived. [s]
    source : DoubleEllipsoid
        The arc.
    local : three ndarrays, each shape (P,), optional
        `seam.local` of the places, where it is known.

    Returns
    -------
    ndarray, shape (P,)
        [W/m3]

    Raises
    ------
    ValueError
        If the step has no length.
    """
    if end <= begin:
        raise ValueError("the step must have a positive length")
    s, y, z = source.seam.local(position) if local is None else local
    cuts = sorted({begin, end, *(t for t in source.stands if begin < t < end)})
    total = np.zeros_like(s)
    for one, two in zip(cuts[:-1], cuts[1:], strict=True):
        total += (two - one) / (end - begin) * _share(s, one, two, source)
    density: Floats = source.power * total * _woven(y, z, source)
    return density


def _share(s: Floats, begin: float, end: float, source: DoubleEllipsoid) -> Floats:
    """Mean of `along` while the arc moves or stands from `begin` to `end`. [1/m]"""
    first, last = source.place(begin), source.place(end)
    out = np.zeros_like(s)
    for lap in laps(source.seam):
        if last - first <= 1e-12:
            out = out + along(s + lap - first, source)
        else:
            before, after = s + lap - first, s + lap - last
            out = out + (share_ahead(before, source) - share_ahead(after, source)) / (last - first)
    return out


def _woven(y: Floats, z: Floats, source: DoubleEllipsoid) -> Floats:
    """Cross-section spread over the weave, which is faster than a step: a sine across the seam."""
    if source.weave <= 0:
        return cross_section(y, z, source)
    # Gauss-Chebyshev points are where an evenly timed sine is found
    at = source.weave * np.cos(np.pi * (np.arange(WEAVE_POINTS) + 0.5) / WEAVE_POINTS)
    woven = sum((cross_section(y - a, z, source) for a in at), np.zeros_like(y))
    return np.asarray(woven / WEAVE_POINTS)


def nodal_power(
    position: Floats,
    weight: Floats,
    shape: Floats,
    cells: Integers,
    nodes: int,
    begin: float,
    end: float,
    source: DoubleEllipsoid,
    local: tuple[Floats, ...] | None = None,
) -> tuple[Floats, float]:
    """Power at each node averaged over a step, rescaled to the absorbed power.

    Parameters
    ----------
    position : ndarray, shape (K, Q, 3)
        Quadrature points of the active cells. [m]
    weight : ndarray, shape (K, Q)
        Their volumes. [m3]
    shape : ndarray, shape (Q, n)
        Shape functions at the quadrature points.
    cells : ndarray of int, shape (K, n)
        Nodes of the cells.
    nodes : int
        Length of the result.
    begin, end : float
        After the arc's start. [s]
    source : DoubleEllipsoid
        The arc.
    local : three ndarrays, each shape (K Q,), optional
        `seam.local` of the points, where it is known.

    Returns
    -------
    power : ndarray, shape (nodes,)
        [W]
    factor : float
        What the quadrature had to be multiplied with; far from 1 when the ellipsoid overhangs.

    Raises
    ------
    MeshError
        If the arc touches no active cell.
    """
    k, q = weight.shape
    density = mean_density(position.reshape(-1, 3), begin, end, source, local).reshape(k, q)
    shares = (density * weight) @ shape
    raw = shares.sum()
    if not raw > 0:
        raise MeshError(
            "the arc's heat does not touch the part: it falls between the points of the mesh, or "
            "beside the metal"
        )
    factor = source.power / raw
    power = np.bincount(cells.ravel(), (factor * shares).ravel(), minlength=nodes)
    return power.astype(np.float64, copy=False), float(factor)
