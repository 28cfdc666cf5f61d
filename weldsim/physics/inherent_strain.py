"""Inherent shrinkage strain for the `elastic` model, from each point's own temperature history.

A point that cannot expand keeps the plastic strain that holds its stress inside the yield limit:
heated, it is upset by its thermal strain less the yield strain; cooled, it is stretched back
until the yield strain is reached from the other side. That is the closed solution of a fully
restrained bar (Satoh test; formulas in the tests), applied along and across the weld. It knows
nothing of what the neighbours do, so the direction of travel is lost: use `plastic` for that.
"""

from __future__ import annotations

import numpy as np


def restrained_strain(inherent, thermal_strain, yield_strain):
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


def stated_strain(shrinkage, peak, now, melted, ambient):
    """A stated shrinkage coming in as fused metal cools.

    Parameters
    ----------
    shrinkage : float
        Strain when cold, negative for shrinkage.
    peak, now, ambient : thermal strain at the highest temperature so far, now, and when cold
    melted : ndarray of bool
        Where the shrinkage applies.
    """
    span = np.maximum(peak - ambient, 1e-12)
    return np.where(melted, shrinkage * np.clip((peak - now) / span, 0.0, 1.0), 0.0)


def directional(along, across, travel, aside) -> np.ndarray:
    """Strain tensor (..., 6) with shares along and across a seam, order xx yy zz xy yz xz.

    `travel` and `aside` (..., 3) are unit vectors along and across the seam at each point.
    """
    out = np.zeros((*np.shape(along), 6))
    for share, axis in ((along, travel), (across, aside)):
        for k, (i, j) in enumerate(((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (0, 2))):
            out[..., k] += share * axis[..., i] * axis[..., j]
    return out
