"""Values of the unknowns after the measurements: the likeliest, and draws by an ensemble walk.

The walk is that of J. Goodman and J. Weare (Comm. App. Math. Comp. Sci. 5 (2010) 65-80) as emcee
has it, begun about the likeliest values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import SetupError
from weldsim.studies.fit.likelihood import Evidence
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]

DISCREPANCY = (1e-4, 0.5)  # bounds of its standard deviation over a curve's extent
DISCREPANCY_USUAL = 0.05  # half-normal beforehand: a model that misses by a tenth is a surprise
CLOCK = 30.0  # s, how far a clock may be off where the case does not say


@dataclass(frozen=True)
class Belief:
    """What is believed of the unknowns before these curves.

    Attributes
    ----------
    mean : ndarray, shape (U,)
        Shares of the bounds; nan: all between the bounds alike.
    covariance : ndarray, shape (U, U)
        Of those that have a mean.
    clock : float
        Bounds of each file's clock, minus and plus. [s]
    """

    mean: Floats
    covariance: Floats
    clock: float = CLOCK

    @classmethod
    def of(cls, unknowns: Sequence[Unknown], clock: float = CLOCK) -> Belief:
        """As the unknowns have it.

        Parameters
        ----------
        unknowns : sequence of Unknown
            Of the fit.
        clock : float
            Bounds of each file's clock. [s]

        Returns
        -------
        Belief
            Of all of them.
        """
        spreads = [u.share_spread for u in unknowns]
        mean = [
            np.nan if s is None else u.share(u.usual)
            for u, s in zip(unknowns, spreads, strict=True)
        ]
        return cls(np.array(mean), np.diag([(s or 1.0) ** 2 for s in spreads]), clock)

    @property
    def spread(self) -> Floats:
        """Standard deviation of each share beforehand, (U,)."""
        flat = 1.0 / np.sqrt(12.0)
        return np.where(np.isnan(self.mean), flat, np.sqrt(np.diag(self.covariance)))

    def log_density(self, places: Floats) -> Floats:
        """Logarithm, up to a constant; minus infinity outside the bounds, (B,)."""
        out = np.where(np.all((places >= 0.0) & (places <= 1.0), axis=1), 0.0, -np.inf)
        told = ~np.isnan(self.mean)
        if told.any():
            off = places[:, told] - self.mean[told]
            inner = np.linalg.inv(self.covariance[np.ix_(told, told)])
            out = out - 0.5 * np.einsum("bi,ij,bj->b", off, inner, off)
        return out


class Posterior:
    """The density of unknowns, clocks and discrepancy, given the curves of one or more cases.

    Parameters
    ----------
    evidence : sequence of Evidence
        One a case, all of the same unknowns.
    belief : Belief
        Beforehand.
    frozen : dict of int to float
        Unknown -> share it is kept at where the likeliest values are searched, for nothing tells
        it. Draws have it too: what is believed of it leaves the others as uncertain as it does.
    """

    def __init__(
        self, evidence: Sequence[Evidence], belief: Belief, frozen: dict[int, float] | None = None
    ) -> None:
        self.evidence, self.belief, self.frozen = tuple(evidence), belief, dict(frozen or {})
        self.count = len(belief.mean)
        self.clocks = [len(e.files) for e in self.evidence]

    @property
    def size(self) -> int:
        """Numbers of a point: unknowns, clocks, the logarithm of the discrepancy."""
        return self.count + sum(self.clocks) + 1

    def split(self, x: Floats) -> tuple[Floats, Floats, Floats]:
        """Shares (B, U), clocks (B, F) [s] and discrepancies (B,) of points (B, size)."""
        return x[:, : self.count], x[:, self.count : -1] * self.belief.clock, np.exp(x[:, -1])

    def log_density(self, x: Floats) -> Floats:
        """Logarithm at points (B, size), up to a constant, (B,)."""
        places, clocks, size = self.split(x)
        out = self.belief.log_density(places)
        out = np.where(np.all(np.abs(clocks) <= self.belief.clock, axis=1), out, -np.inf)
        low, high = np.log(DISCREPANCY)
        out = np.where((x[:, -1] >= low) & (x[:, -1] <= high), out, -np.inf)
        out = out - 0.5 * (size / DISCREPANCY_USUAL) ** 2 + x[:, -1]
        inside = np.isfinite(out)
        if inside.any():
            first = 0
            for evidence, count in zip(self.evidence, self.clocks, strict=True):
                own = clocks[inside, first : first + count]
                out[inside] += evidence.log_likelihood(places[inside], own, size[inside])
                first += count
        return out

    def likeliest(self, seed: int = 1, starts: int = 8) -> Floats:
        """The likeliest point, (size,), of several searches downhill.

        Parameters
        ----------
        seed : int
            Of where they start.
        starts : int
            How many go to the end.

        Returns
        -------
        ndarray, shape (size,)
            As `split` takes it.
        """
        from scipy.optimize import minimize

        rng = np.random.default_rng(seed)
        low, high = self._bounds()
        tried = low + (high - low) * rng.uniform(0.02, 0.98, (64 * self.size, self.size))
        tried[::2, self.count : -1] = 0.0  # most clocks are right
        tried[:, -1] = np.log(DISCREPANCY_USUAL)
        for k, share in self.frozen.items():
            tried[:, k] = share
        moved = [k for k in range(self.size) if k not in self.frozen]
        best = tried[np.argsort(-self.log_density(tried))[:starts]]
        found = [
            minimize(
                self._down, x[moved], (x, moved), jac=self._slope, method="L-BFGS-B",
                bounds=list(zip(low[moved], high[moved], strict=True)), options={"maxiter": 200},
            )
            for x in best
        ]  # fmt: skip
        end = min(range(len(found)), key=lambda k: found[k].fun)
        return _with(best[end], moved, found[end].x[None, :])[0]

    def _bounds(self) -> tuple[Floats, Floats]:
        low, high = np.zeros(self.size), np.ones(self.size)
        low[self.count : -1] = -1.0
        low[-1], high[-1] = np.log(DISCREPANCY)
        return low + 1e-6, high - 1e-6

    def _down(self, x: Floats, about: Floats, moved: Sequence[int]) -> float:
        return -float(self.log_density(_with(about, moved, x[None, :]))[0])

    def _slope(self, x: Floats, about: Floats, moved: Sequence[int]) -> Floats:
        step, count = 1e-4, len(moved)
        low, high = (b[moved] for b in self._bounds())
        ahead = np.clip(x + step * np.eye(count), low, high)
        behind = np.clip(x - step * np.eye(count), low, high)
        values = self.log_density(_with(about, moved, np.vstack([ahead, behind])))
        width = np.diag(ahead - behind)
        return -(values[:count] - values[count:]) / width

    def draws(self, start: Floats, steps: int = 800, seed: int = 1) -> Floats:
        """Draws from the density.

        Parameters
        ----------
        start : ndarray, shape (size,)
            The likeliest.
        steps : int
            Of each walker; the first half is thrown away.
        seed : int
            Of the walk.

        Returns
        -------
        ndarray, shape (S, size)
            S of them.

        Raises
        ------
        SetupError
            If emcee is not installed.
        """
        try:
            import emcee
        except ImportError:
            raise SetupError(
                'a fit needs emcee, which is not installed: pip install "weldsim[fit]"'
            ) from None
        rng = np.random.default_rng(seed)
        low, high = self._bounds()
        count = max(24, 4 * self.size)
        width = np.minimum(0.05 * (high - low), 0.3)
        told_nothing = list(self.frozen)  # all over what is believed of it
        width[told_nothing] = self.belief.spread[told_nothing]
        walkers = np.clip(start + width * rng.normal(size=(count, self.size)), low, high)
        sampler = emcee.EnsembleSampler(count, self.size, self.log_density, vectorize=True)
        state = np.random.RandomState(seed).get_state()
        sampler.random_state = state
        sampler.run_mcmc(walkers, steps)
        chain: Any = sampler.get_chain(discard=steps // 2, thin=4, flat=True)
        return np.asarray(chain, dtype=np.float64)


def _with(about: Floats, moved: Sequence[int], values: Floats) -> Floats:
    """A point (size,) with some of its numbers changed, once for each row of values."""
    out = np.tile(about, (len(values), 1))
    out[:, list(moved)] = values
    return out
