"""Odds that one way to go on ends nearer to zero than another.

Where the part stands, and what heat input and speed were, is the same for both ways: an error of
that moves both ends alike. What a mesh leaves to each way, and what a hand does from here on, comes
out otherwise in each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldsim.studies.plan.shop_spread import ShopSpread

Floats = NDArray[np.float64]

DRAWS = 20_000


@dataclass(frozen=True)
class StillToCome:
    """What of a shop's spread the welds that are left add, M columns.

    Attributes
    ----------
    own, alike : ndarray, shape (M,)
        Standard deviations of what comes out otherwise in each way, and of what is the same in all
        of them. [SI]
    """

    own: Floats
    alike: Floats

    @classmethod
    def of(cls, spread: ShopSpread | None, columns: int, left: int, welds: int) -> StillToCome:
        """Of the welds that are left.

        Parameters
        ----------
        spread : ShopSpread or None
            Of a whole part; None: nothing is known of it.
        columns : int
            M of them.
        left, welds : int
            Still to be welded, and all.

        Returns
        -------
        StillToCome
            Variances of welds made by hand add up, so those left have their share of them; what
            the metal does goes with how much is left.
        """
        if spread is None:
            return cls(np.zeros(columns), np.zeros(columns))
        share = left / max(welds, 1)
        own = np.sqrt(share) * np.array(spread.afresh[:columns])
        return cls(own, share * np.array(spread.unread[:columns]))


def chance_nearer(means: Floats, covariance: Floats) -> float:
    """Chance that the first of two ends is nearer to zero.

    Parameters
    ----------
    means : ndarray, shape (2, M)
        Expected ends. [SI]
    covariance : ndarray, shape (2 M, 2 M)
        Of both together.

    Returns
    -------
    float
        0 to 1; an even chance for ends that are alike.
    """
    rng = np.random.default_rng(5)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    drawn = means.ravel() + rng.normal(size=(DRAWS, len(root))) @ root.T
    far = np.linalg.norm(drawn.reshape(DRAWS, 2, -1), axis=2)
    # ends that nothing tells apart differ by rounding alone
    least = 1e-9 * float(far.mean())
    nearer, even = far[:, 0] < far[:, 1] - least, np.abs(far @ [1.0, -1.0]) <= least
    return float(nearer.mean() + 0.5 * even.mean())
