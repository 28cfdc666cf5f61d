"""Temperature round a moving double ellipsoid in closed form but for one integral over time.

After V. D. Fachinotti, A. A. Anca, A. Cardona, Int. J. Numer. Meth. Biomed. Engng 27 (2011), for
unequal front and rear, re-derived; insulated faces by images (Carslaw and Jaeger, 1959).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial.legendre import leggauss


@dataclass(frozen=True)
class MovingEllipsoid:
    """Double ellipsoid that runs from x = 0 at t = 0 along +x on the surface z = 0. SI.

    Attributes
    ----------
    power, speed, arc_time : float
        [W, m/s, s]
    a, b, front, rear : float
        Semi-axes across, in depth, before and behind the arc. [m]
    conductivity, capacity : float
        Of the metal; the latter by volume. [W/(m K), J/(m3 K)]
    box : (x0, x1, half width, thickness), optional
        Insulated faces, by images; a half space when left out. [m]
    """

    power: float
    a: float
    b: float
    front: float
    rear: float
    speed: float
    arc_time: float
    conductivity: float
    capacity: float
    box: tuple[float, float, float, float] | None = None


def ellipsoid_rise(place, t: float, source: MovingEllipsoid, terms: int = 12) -> float:
    """Temperature rise at a place and a time. [m, s; K]

    Time integral with u = sqrt(t - t') and the interval split where the arc passes, where the
    integrand is steep.
    """
    x, y, z = place
    box, speed = source.box, source.speed
    on = min(t, source.arc_time)
    low, high = np.sqrt(max(t - on, 0.0)), np.sqrt(t)
    cuts = [low, high]
    for x_image in (x,) if box is None else (x, 2 * box[0] - x, 2 * box[1] - x):
        cuts.append(np.sqrt(max(t - x_image / speed, 0.0)))
    cuts = np.unique(np.clip(cuts, low, high))
    node, weight = leggauss(16)
    total = 0.0
    for one, two in zip(cuts[:-1], cuts[1:], strict=True):
        # pieces that shrink toward both cuts
        edges = one + (two - one) * 0.5 * (1 - np.cos(np.linspace(0, np.pi, 41)))
        half = np.diff(edges)[:, None] / 2
        u = (edges[:-1, None] + half + half * node).ravel()
        w = (half * weight).ravel() * 2 * u
        total += float(np.dot(w, _instant((x, y, z), t, u, source, terms)))
    return 3 * np.sqrt(3) * source.power / (source.capacity * np.pi**1.5) * total


def _instant(place, t, u, source, terms):
    from scipy.special import erf

    (x, y, z), box, tau = place, source.box, u**2
    a, b, front, rear = source.a, source.b, source.front, source.rear
    diffusivity = source.conductivity / source.capacity
    s = 12 * diffusivity * tau
    n = np.arange(-terms, terms + 1)[:, None]

    def gauss(places, axis):
        return (np.exp(-3 * places**2 / (s + axis**2)) / np.sqrt(s + axis**2)).sum(axis=0)

    if box is None:
        across, deep, along = gauss(np.array([[y]]), a), gauss(np.array([[z]]), b), [[x]]
    else:
        x0, x1, half_width, thickness = box
        images = 40  # thickness is small against the width
        across = gauss(np.where(n % 2 == 0, y, -y) + 2 * half_width * n, a)
        deep = gauss(z - 2 * thickness * np.arange(-images, images + 1)[:, None], b)
        shift = 2 * (x1 - x0) * n
        along = np.concatenate([x + shift, 2 * x0 - x + shift])
    xi = np.asarray(along) - source.speed * (t - tau)
    shares = 2 * front / (front + rear), 2 * rear / (front + rear)
    moving = 0.0
    for share, c, sign in zip(shares, (front, rear), (1, -1), strict=True):
        turn = erf(c * xi / (2 * np.sqrt(diffusivity * tau) * np.sqrt(s + c**2)))
        spread = np.exp(-3 * xi**2 / (s + c**2)) / np.sqrt(s + c**2)
        moving = moving + share * (1 + sign * turn) * spread
    return across * deep * moving.sum(axis=0)
