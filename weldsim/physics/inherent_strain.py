"""Inherent shrinkage strain for the `elastic` model, from each point's own temperature history.

A point that cannot expand keeps the plastic strain that holds its stress inside the yield limit:
heated, it is upset by its thermal strain less the yield strain; cooled, it is stretched back
until the yield strain is reached from the other side. That is the closed solution of a fully
restrained bar (Satoh test; formulas in the tests), applied along and across the weld. It knows
nothing of what the neighbours do, so the direction of travel is lost: use `plastic` for that.
"""

from __future__ import annotations

import numpy as np

from weldsim.physics.arrays import Flags, Floats


def restrained_strain(inherent: Floats, thermal_strain: Floats, yield_strain: Floats) -> Floats:
    """Inherent strain of a fully restrained bar after its temperature has moved on.

    Parameters
    ----------
    inherent, thermal_strain, yield_strain : ndarray, equal shapes
        Strain left so far; thermal strain and yield stress over stiffness at the new temperature.

    Returns
    -------
    ndarray
        Nearest value to `inherent` with |thermal + inherent| <= yield strain.
    """
    return np.clip(inherent, -thermal_strain - yield_strain, -thermal_strain + yield_strain)


def stated_strain(
    shrinkage: float, peak: Floats, now: Floats, melted: Flags, ambient: float
) -> Floats:
    """A stated shrinkage coming in as fused metal cools.

    Parameters
    ----------
    shrinkage : float
        Strain when cold, negative for shrinkage.
    peak, now : ndarray, equal shapes
        Thermal strain at the highest temperature so far, and now.
    melted : ndarray of bool
        Where the shrinkage applies.
    ambient : float
        Thermal strain when cold.

    Returns
    -------
    ndarray
        The share of the shrinkage that has come in, zero where nothing melted.
    """
    span = np.maximum(peak - ambient, 1e-12)
    return np.where(melted, shrinkage * np.clip((peak - now) / span, 0.0, 1.0), 0.0)


def directional(along: Floats, across: Floats, travel: Floats, aside: Floats) -> Floats:
    """Strain tensor with shares along and across a seam.

    Parameters
    ----------
    along, across : ndarray, shape (...)
        Shares. [1]
    travel, aside : ndarray, shape (..., 3)
        Unit vectors along and across the seam at each point.

    Returns
    -------
    ndarray, shape (..., 6)
        Order xx yy zz xy yz xz, tensor shears. [1]
    """
    out = np.zeros((*np.shape(along), 6))
    for share, axis in ((along, travel), (across, aside)):
        for k, (i, j) in enumerate(((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (0, 2))):
            out[..., k] += share * axis[..., i] * axis[..., j]
    return out
