"""What a finer grade gives more than the grade of a fit, between the few places where it was run.

The step is a constant and a process about it that forgets itself with distance (ordinary kriging,
N. A. C. Cressie, Statistics for Spatial Data, Wiley 1993, section 3.2; a coarse and a fine code so
joined, M. C. Kennedy and A. O'Hagan, Biometrika 87 (2000) 1-13, with a factor of 1 between them).
Few places cannot tell its length: that is our choice. Its size is by how much places left out are
missed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LENGTH = 0.5  # of the bounds, over which a step forgets itself; our choice
ROUGH = 0.2  # share of its variance that is otherwise at every place; our choice
NEAR = 0.1  # of the bounds: how far from the last place its error is looked at


@dataclass(frozen=True)
class GradeStep:
    """Steps to a finer grade at some places.

    Attributes
    ----------
    places : ndarray, shape (S, U)
        Shares of the bounds; the last is where the fit landed last.
    steps : ndarray, shape (S, K, M)
        Finer less coarser. [SI]
    """

    places: Floats
    steps: Floats

    @classmethod
    def of(cls, pairs: Sequence[tuple[Floats, Floats]]) -> GradeStep | None:
        """Of places (U,) with their steps (K, M); None without any."""
        if not pairs:
            return None
        return cls(np.array([p for p, _ in pairs]), np.array([s for _, s in pairs]))

    def predict(self, places: Floats) -> Floats:
        """Steps at other places.

        Parameters
        ----------
        places : ndarray, shape (B, U)
            Shares of the bounds.

        Returns
        -------
        ndarray, shape (B, K, M)
            [SI]
        """
        weights = _weights(self.places, places)[0]
        return np.einsum("bs,skm->bkm", weights, self.steps)

    @property
    def last(self) -> Floats:
        """Where the fit landed last, (K, M). [SI]"""
        return np.asarray(self.predict(self.places[-1:])[0])

    def errors(self) -> Floats:
        """What a step may be off near the last place: the sum of their squares is its variance.

        Returns
        -------
        ndarray, shape (S, K, M)
            None for a single place, whose error nothing tells. [SI]
        """
        count = len(self.places)
        if count < 2:
            return np.zeros((0, *self.steps.shape[1:]))
        out = np.empty_like(self.steps)
        for k in range(count):
            rest = np.arange(count) != k
            weights, variance = _weights(self.places[rest], self.places[k : k + 1])
            missed = np.einsum("s,skm->km", weights[0], self.steps[rest]) - self.steps[k]
            out[k] = missed / np.sqrt(variance[0])
        away = NEAR * np.eye(self.places.shape[1])
        about = self.places[-1] + np.vstack([away, -away])
        variance = _weights(self.places, about)[1].mean()
        return np.asarray(out * np.sqrt(variance / count))


def _weights(known: Floats, places: Floats) -> tuple[Floats, Floats]:
    """Weights of the known places, (B, S), and variance of what they give over a step's, (B,)."""

    def alike(a: Floats, b: Floats) -> Floats:
        apart = ((a[:, None, :] - b[None, :, :]) ** 2).sum(axis=2)
        return np.asarray((1.0 - ROUGH) * np.exp(-0.5 * apart / LENGTH**2))

    inverse = np.linalg.inv(alike(known, known) + ROUGH * np.eye(len(known)))
    among = alike(places, known)
    ones = np.ones(len(known))
    whole = float(ones @ inverse @ ones)
    lacking = 1.0 - among @ inverse @ ones  # what the weights lack to one is the mean's
    weights = among @ inverse + lacking[:, None] * (inverse @ ones)[None, :] / whole
    variance = 1.0 - np.einsum("bi,ij,bj->b", among, inverse, among) + lacking**2 / whole
    return weights, variance


def finer_runs(unknowns: int) -> int:
    """How many runs of the finer grade a case takes at most: spread out, and where it lands."""
    return 1 + unknowns + 2


def spread_out(places: Floats, count: int) -> Sequence[int]:
    """Places that lie far from each other, the first among them.

    Parameters
    ----------
    places : ndarray, shape (R, U)
        Shares of the bounds.
    count : int
        How many.

    Returns
    -------
    sequence of int
        Their numbers.
    """
    chosen = [0]
    while len(chosen) < min(count, len(places)):
        apart = [((places - places[k]) ** 2).sum(axis=1) for k in chosen]
        chosen.append(int(np.argmax(np.min(apart, axis=0))))
    return chosen
