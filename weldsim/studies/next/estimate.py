"""What to weld next: explain readings by what a shop does not know, then rank what is left.

After some welds the gauge is read. Unknowns of the shop (arc efficiency, travel speed, root gap,
stiffness of the clamp), each with a usual value, a spread and bounds, move what the model would
have read; a linear model of that, from finite differences of the recorded past, is fitted with the
spread as prior (Gauss-Markov, Bayesian linear regression) and the readings' own error. What of a
reading they leave unexplained is kept: it is where the part now is. What remains to be welded adds
the moves of the study's branches, scaled as the unknowns scale the welds made.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import CaseError

CONTRADICTION = 3.0  # standard deviations from which readings are called contradictory


@dataclass(frozen=True)
class Unknown:
    """One thing the shop does not know, as a factor of what the case says.

    Attributes
    ----------
    name : str
    key : key of the case it multiplies, such as "arc.efficiency"
    spread : standard deviation of the factor before any reading
    low, high : bounds of the factor
    zero : where the case says 0, so that no factor changes it: what a factor of 1 more stands for,
        [SI]; else 0
    """

    name: str
    key: str
    spread: float
    low: float
    high: float
    zero: float = 0.0

    def times(self, factor: float, stated: float) -> float:
        """What a factor makes of a stated value. [SI]"""
        return (factor - 1.0) * self.zero if self.zero else factor * stated


@dataclass(frozen=True)
class Estimate:
    """What readings say about the unknowns.

    Attributes
    ----------
    factors : (U,) best factors
    covariance : (U, U)
    expected : (R,) what the model would have read as it stood
    explained : (R,) what it reads with the factors
    residual : (R,) reading less explained
    misfit : how far the readings lie from anything the unknowns can explain, in standard
        deviations of one reading that is as unlikely
    at_bound : names of unknowns that ran into a bound, one that is where the case has it aside
    gain : (U, R) change of each factor with each reading; none for a factor at its bound
    """

    factors: np.ndarray
    covariance: np.ndarray
    expected: np.ndarray
    explained: np.ndarray
    residual: np.ndarray
    misfit: float
    at_bound: tuple[str, ...]
    gain: np.ndarray

    @property
    def spread(self) -> np.ndarray:
        """Standard deviation of each factor, (U,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def contradictory(self) -> bool:
        """Whether the readings contradict each other or the model beyond reason."""
        return self.misfit > CONTRADICTION


def estimate(reading, expected, slopes, unknowns, noise) -> Estimate:
    """Fit the factors of the unknowns to readings, within their bounds.

    Parameters
    ----------
    reading, expected : ndarray, shape (R,)
        What was read, and what the model gives with all factors 1.
    slopes : ndarray, shape (R, U)
        Change of each reading with each factor.
    unknowns : sequence of Unknown
    noise : ndarray, shape (R,)
        Standard deviation of each reading, that of the model's own error included.

    Returns
    -------
    Estimate
        Posterior mean and covariance of a linear Gaussian model, with prior factor 1 ± spread;
        with a bound reached, the best point inside (scipy's bounded least squares).

    Notes
    -----
    Tarantola, Inverse Problem Theory (2005), 3.37-3.38. The misfit is taken against the prior
    predictive, noise plus what the spreads of the unknowns can move.
    """
    from scipy.optimize import lsq_linear

    reading, expected, slopes, noise = (
        np.asarray(v, dtype=float) for v in (reading, expected, slopes, noise)
    )
    spread = np.array([u.spread for u in unknowns])
    system = np.vstack([slopes / noise[:, None], np.diag(1 / spread)])
    right = np.concatenate([(reading - expected) / noise, np.zeros(len(spread))])
    low = np.array([u.low - 1 for u in unknowns])
    high = np.array([u.high - 1 for u in unknowns])
    found = lsq_linear(system, right, (low, high), tol=1e-12)
    if not found.success:
        raise CaseError(f"readings: no estimate of the uncertain shop values: {found.message}")
    covariance = np.linalg.inv(system.T @ system)
    gain = np.where(found.active_mask[:, None], 0.0, covariance @ (slopes / noise[:, None] ** 2).T)
    explained = expected + slopes @ found.x
    predictive = np.diag(noise**2) + (slopes * spread**2) @ slopes.T
    gap = reading - expected
    chi = float(gap @ np.linalg.solve(predictive, gap))
    active = zip(unknowns, found.active_mask, strict=True)
    # a gap stated as 0 that stays 0 has run into nothing
    names = tuple(u.name for u, side in active if side and (u.low if side < 0 else u.high) != 1.0)
    return Estimate(
        1 + found.x, covariance, expected, explained, reading - explained,
        deviations(chi, len(gap)), names, gain,
    )  # fmt: skip


def deviations(chi: float, count: int) -> float:
    """Standard deviations of one reading that are as unlikely as a chi-square of several.

    A mean over the readings would let one that agrees hide one that does not.
    """
    from scipy.stats import chi2, norm

    tail = float(chi2.sf(chi, count))
    return float(norm.isf(tail / 2)) if tail > 1e-300 else float(np.sqrt(chi))


@dataclass(frozen=True)
class Ahead:
    """One way to go on: the moves left, where it is expected to end, and the chance it is good.

    Attributes
    ----------
    moves : moves still to be welded
    mean : (2,) or (1,) expected end readings [SI]
    covariance : of them
    chance : of ending inside the tolerance, 0 to 1
    setting : number of the plan's setting
    to_come : what the model has still to come, (M,) [SI]
    """

    moves: tuple
    mean: np.ndarray
    covariance: np.ndarray
    chance: float
    setting: int = 0
    to_come: np.ndarray | None = None

    @property
    def off(self) -> float:
        """Expected distance from straight. [SI]"""
        return float(np.linalg.norm(self.mean))


def chance_inside(mean, covariance, radius: float, draws: int = 20000, seed: int = 7) -> float:
    """Probability that a Gaussian point lies within a radius of zero.

    By quasi-random draws (Sobol), seeded; for one reading by the normal distribution itself.
    """
    from scipy.stats import norm, qmc

    mean, covariance = np.atleast_1d(mean), np.atleast_2d(covariance)
    if len(mean) == 1:
        sigma = float(np.sqrt(covariance[0, 0]))
        if sigma == 0:
            return float(abs(mean[0]) <= radius)
        return float(norm.cdf(radius, mean[0], sigma) - norm.cdf(-radius, mean[0], sigma))
    normal = qmc.MultivariateNormalQMC(mean, covariance, rng=np.random.default_rng(seed))
    inside = np.linalg.norm(normal.random(1 << (draws - 1).bit_length()), axis=1) <= radius
    return float(inside.mean())
