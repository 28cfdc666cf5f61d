"""When the arc burns, told from how bright the film is away from the target."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BURNING = 250  # grey level from which a pixel counts as blinded
LEAST_SHARE = 3e-4  # of the picture that an arc in view must blind
BRIDGED = 0.8  # pauses up to this are flicker, not the end of the arc [s]
SHORTEST = 0.5  # light shorter than this is a spark [s]


class ArcTimes(NamedTuple):
    """When the arc burnt.

    Attributes
    ----------
    on, off : ndarray, shape (K,)
        Beginnings and ends of its K times, in order. [s]
    """

    on: Floats
    off: Floats


def blinded_share(picture: NDArray[np.uint8], target: NDArray[np.bool_]) -> float:
    """Share of a picture that is blinded.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        As filmed.
    target : ndarray of bool, shape (H, W)
        Where the target is, which the spot may blind.

    Returns
    -------
    float
        0 to 1.
    """
    return float(np.count_nonzero((picture.min(axis=2) >= BURNING) & ~target)) / target.size


def arc_times(times: Floats, shares: Floats) -> ArcTimes:
    """Times at which the arc burnt.

    Parameters
    ----------
    times : ndarray, shape (N,)
        Of the frames. [s]
    shares : ndarray, shape (N,)
        From `blinded_share`.

    Returns
    -------
    ArcTimes
        None in it where no arc is in view: the share must rise by `LEAST_SHARE`.
    """
    none = ArcTimes(np.zeros(0), np.zeros(0))
    if len(times) < 3:
        return none
    dark = float(np.percentile(shares, 5))
    bright = float(np.percentile(shares, 95))
    top = max(bright, float(np.sort(shares)[-min(len(shares), 5)]))  # arcs may be short in a clip
    if top - dark < LEAST_SHARE:
        return none
    burning = shares > dark + 0.25 * (top - dark)
    on: list[float] = []
    off: list[float] = []
    for k in np.flatnonzero(burning):
        if off and times[k] - off[-1] <= BRIDGED:
            off[-1] = times[k]
        else:
            on.append(times[k])
            off.append(times[k])
    kept = [(a, b) for a, b in zip(on, off, strict=True) if b - a >= SHORTEST]
    return ArcTimes(np.array([a for a, _ in kept]), np.array([b for _, b in kept]))
