"""The flat layout of what is round: concentric squares with mitred corners.

The square of half side rho becomes the circle of radius rho, and a place at a constant share of a
side a constant angle. Angles are those of a clock seen from the tube's free end, 12 o'clock on +y
and 3 o'clock on +x, in radians clockwise from 12.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.joints.assembly import spans

Rings = list[tuple[float, Any]]  # flat half side, and half sizes of the rectangle there [m]
QUARTER = np.pi / 2
OUT = np.array([(0, 1), (1, 0), (0, -1), (-1, 0)], dtype=float)  # outward of each side
ROUND = np.array([(1, 0), (0, -1), (-1, 0), (0, 1)], dtype=float)  # clockwise along each side


def flat(clock: float, rho: float, z: float) -> np.ndarray:
    """Place (3,) in the flat layout of an angle of the clock [rad] on ring rho at height z [m]."""
    side = round(clock / QUARTER)
    share = 2 * (clock / QUARTER - side)
    return np.append(rho * (OUT[side % 4] + share * ROUND[side % 4]), z)


def polar(points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ring, direction on the circle and place on the unit square of flat points.

    Parameters
    ----------
    points : ndarray, shape (P, 3) [m]

    Returns
    -------
    rho : ndarray, shape (P,) [m]
    circle, square : ndarray, shape (P, 2); zeros in the middle
    """
    xy = points[:, :2]
    rho = np.abs(xy).max(axis=1)
    square = xy / np.where(rho > 0, rho, 1.0)[:, None]
    tall = np.abs(square[:, 1]) >= np.abs(square[:, 0])
    angle = np.pi / 4 * np.where(tall, square[:, 0], square[:, 1])
    sign = np.sign(np.where(tall, square[:, 1], square[:, 0]))
    major, minor = sign * np.cos(angle), np.sin(angle)
    circle = np.where(tall[:, None], np.stack([minor, major], 1), np.stack([major, minor], 1))
    return rho, circle, square


def widen(rho: np.ndarray, toe: np.ndarray, square: np.ndarray, rings: Rings) -> np.ndarray:
    """Places (P, 2) beyond the toe: from the toe's line to rectangles, straight in between.

    Parameters
    ----------
    rho : ndarray, shape (P,)
    toe : ndarray, shape (P, 2); where the toe is in that direction
    square : ndarray, shape (P, 2); place on the unit square
    rings : (flat half side of the toe, None) and then (flat half side, (half x, half y)) of each
        rectangle, outwards [m]
    """
    out = toe.copy()
    for (low, _), (high, half) in spans(rings):
        share = np.clip((rho - low) / (high - low), 0.0, 1.0)[:, None]
        out = np.where(share > 0, (1 - share) * out + share * square * np.array(half), out)
    return out
