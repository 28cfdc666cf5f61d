"""How much larger the model's errors are than a fit takes them for, by runs that were left out.

A fit takes the error of its surrogate for a normal one, of the size of the median run, in each
curve by itself. What such errors do to the values is seen on the runs, whose values are known: each
run is predicted without it, and its miss read as if it had been measured. Where that throws the
values farther off than the covariances say, these are too small in the directions that a fit reads,
and the squared errors are scaled by as much: cross-validation of a variance, as that of a Gaussian
process may be set (F. Bachoc, Comput. Stat. Data Anal. 66 (2013) 55-69), but along the values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLAT = 12.0  # inverse variance of a share of the bounds of which nothing else is known


@dataclass(frozen=True)
class CurveErrors:
    """Errors of one curve and what they are believed to be; E errors, P values, N readings.

    Attributes
    ----------
    whiten : ndarray, shape (N, N)
        Its transpose times itself is the inverse covariance of a reading.
    covariance : ndarray, shape (N, N)
        Of the model's errors alone. [SI]
    errors : ndarray, shape (E, N)
        [SI]
    slopes : ndarray, shape (E, P, N)
        Change of the readings with each value where the error was made. [SI]
    """

    whiten: Floats
    covariance: Floats
    errors: Floats
    slopes: Floats


def error_scale(curves: Sequence[CurveErrors], weights: Floats, flat: Floats) -> float:
    """What the variance of the model's errors is to be multiplied by.

    Parameters
    ----------
    curves : sequence of CurveErrors
        All of one case; error e of each is of the same run.
    weights : ndarray, shape (E,)
        Of the squares of the errors.
    flat : ndarray, shape (P,)
        Inverse variance of each value beforehand.

    Returns
    -------
    float
        Squares of the values' errors over what the covariances have them; never below 1.
    """
    count = len(flat)
    information = np.tile(np.diag(flat), (len(weights), 1, 1))
    pull = np.zeros((len(weights), count))
    spread = np.zeros((len(weights), count, count))
    for c in curves:
        white = c.slopes @ c.whiten.T
        information += np.einsum("epn,eqn->epq", white, white)
        pull += np.einsum("epn,en->ep", white, c.errors @ c.whiten.T)
        own = c.whiten @ c.covariance @ c.whiten.T
        spread += np.einsum("epn,nm,eqm->epq", white, own, white)
    inverse = np.linalg.inv(information)
    found = np.einsum("e,ep,epq,eq->", weights, pull, inverse, pull)
    believed = np.einsum("epq,eqp->e", inverse, spread).mean()
    return float(max(1.0, found / believed)) if believed > 0 else 1.0
