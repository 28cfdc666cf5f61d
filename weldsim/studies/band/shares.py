"""What share of a scatter each of its causes explains: Sobol's first-order and total indices.

A share is the part of the variance that would go if its cause were known exactly. Estimated with
SALib on a surrogate: A. Saltelli et al., Variance based sensitivity analysis of model output,
Computer Physics Communications 181 (2010), 259-270.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import SetupError

Floats = NDArray[np.float64]
SAMPLES = 1024  # of the base; (2 + F) times as many are predicted


@dataclass(frozen=True)
class Shares:
    """Shares of the variance of K readings by F causes.

    Attributes
    ----------
    first : ndarray, shape (F, K)
        What a cause explains alone.
    total : ndarray, shape (F, K)
        With all that it explains together with others.
    error : ndarray, shape (F, K)
        Half the 95 % interval of `first`, by resampling.
    samples : int
        Of the base.
    """

    first: Floats
    total: Floats
    error: Floats
    samples: int


def shares_of(
    model: Callable[[Floats], Floats], names: Sequence[str], samples: int = SAMPLES, seed: int = 1
) -> Shares:
    """Shares by causes that scatter independently of each other.

    Parameters
    ----------
    model : callable
        Numbers spread evenly from 0 to 1, (N, F), one column a cause -> readings (N, K).
    names : sequence of str
        F causes.
    samples : int
        Of the base, a power of two.
    seed : int
        Of the sample.

    Returns
    -------
    Shares
        All 0 for a reading that does not scatter.

    Raises
    ------
    SetupError
        If SALib is not installed.
    """
    try:
        from SALib.analyze import sobol as analysis
        from SALib.sample import sobol as sampling
    except ImportError:
        raise SetupError(
            'a band needs SALib, which is not installed: pip install "weldsim[fit]"'
        ) from None
    count = len(names)
    problem = {"num_vars": count, "names": [str(k) for k in range(count)],
               "bounds": [[0.0, 1.0]] * count}  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries beneath it
        points = sampling.sample(problem, samples, calc_second_order=False, seed=seed)
        readings = model(np.clip(points, 1e-9, 1.0 - 1e-9))
        out = np.zeros((3, count, readings.shape[1]))
        for k, column in enumerate(readings.T):
            if np.ptp(column) <= 1e-12 * max(float(np.abs(column).max()), 1e-300):
                continue
            found = analysis.analyze(problem, column, calc_second_order=False, seed=seed)
            out[:, :, k] = found["S1"], found["ST"], found["S1_conf"]
    return Shares(out[0], out[1], out[2], samples)
