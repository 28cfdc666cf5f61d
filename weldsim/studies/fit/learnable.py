"""What measurements can tell before they are fitted: slopes, what moves alike, what is too much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import WeldsimError
from weldsim.schema.column import Column
from weldsim.studies.fit.likelihood import Evidence
from weldsim.studies.fit.posterior import DISCREPANCY_USUAL, Belief
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]

TOLD = 0.2  # share by which an interval must narrow for an unknown to count as learnt
# Correlation expected after a fit from which two unknowns cannot be told apart: were one known, the
# interval of the other would shrink to sqrt(1 - 0.8^2) = 0.6 of its width or less. A pair of which
# the sum alone is seen stays short of -1, by as much as a model that misses leaves the sum unsure.
ALIKE = 0.8
STEP = 0.05  # of the bounds, for slopes
PLACES = 5  # values of the unknowns at which slopes are taken


@dataclass(frozen=True)
class CurveSlopes:
    """How much a curve changes with each unknown.

    Attributes
    ----------
    column : Column
        Whose curve.
    times : ndarray, shape (N,)
        inf for a reading of the cold part. [s]
    change : ndarray, shape (U, N)
        From the lowest to the highest bound, by the slope, a mean over places. [SI]
    """

    column: Column
    times: Floats
    change: Floats


@dataclass(frozen=True)
class Learnable:
    """What the curves can tell.

    Attributes
    ----------
    narrowed : ndarray, shape (U,)
        Share by which each interval is expected to narrow; 0 nothing, 1 all.
    correlation : ndarray, shape (U, U)
        Of the unknowns after a fit, expected, were none frozen.
    directions : int
        Combinations of unknowns about which the curves say more than is believed already.
    frozen : tuple of int
        Unknowns that the curves cannot hold; they stay where they are believed to be.
    slopes : dict of str to ndarray
        Column -> root mean square over time of its change over all of each interval, (U,). [SI]
    along : tuple of CurveSlopes
        The same along each curve.
    """

    narrowed: Floats
    correlation: Floats
    directions: int
    frozen: tuple[int, ...]
    slopes: dict[str, Floats]
    along: tuple[CurveSlopes, ...] = ()

    def alike(self, unknowns: Sequence[Unknown]) -> list[tuple[str, str, float]]:
        """Pairs that these curves cannot tell apart, with their correlation."""
        return [
            (unknowns[i].key, unknowns[j].key, float(self.correlation[i, j]))
            for i in range(len(unknowns))
            for j in range(i)
            if abs(self.correlation[i, j]) > ALIKE
        ]


def what_can_be_learnt(
    evidence: Sequence[Evidence],
    unknowns: Sequence[Unknown],
    belief: Belief,
    active: Sequence[int],
) -> Learnable:
    """Information of the curves about the unknowns, by slopes of the surrogate.

    Parameters
    ----------
    evidence : sequence of Evidence
        One a case.
    unknowns : sequence of Unknown
        U of them.
    belief : Belief
        Beforehand.
    active : sequence of int
        Those that are fitted here.

    Returns
    -------
    Learnable
        With those to be frozen.

    Raises
    ------
    WeldsimError
        If the curves say nothing about any of them.
    """
    information, along = _information(evidence, unknowns, belief)
    rms: dict[str, list[Floats]] = {}
    for a in along:
        rms.setdefault(a.column.name, []).append(np.sqrt((a.change**2).mean(axis=1)))
    slopes = {name: np.mean(values, axis=0) for name, values in rms.items()}
    left = list(active)
    spread = belief.spread
    readings = sum(len(c.observed.times) for e in evidence for c in e.curves)
    correlation = _correlation(information, spread, left)
    while True:
        scaled = information[np.ix_(left, left)] * np.outer(spread[left], spread[left])
        directions = int(np.count_nonzero(np.linalg.eigvalsh(scaled) > 1.0))
        after = np.linalg.inv(scaled + np.eye(len(left)))
        narrowed = 1.0 - np.sqrt(np.diag(after))
        most = min(max(directions, 1), readings)
        if len(left) <= most or len(left) == 1:
            break
        left.pop(int(np.argmin(narrowed)))
    if directions == 0:
        names = ", ".join(unknowns[k].key for k in active)
        raise WeldsimError(
            f"these measurements say nothing about {names} that is not believed already, allowed: "
            f"other gauges, less noise, or other values to vary"
        )
    out = np.zeros(len(unknowns))
    out[left] = narrowed
    frozen = tuple(k for k in active if k not in left)
    return Learnable(out, correlation, directions, frozen, slopes, along)


def _correlation(information: Floats, spread: Floats, active: Sequence[int]) -> Floats:
    """Of all unknowns after a fit of the active ones, (U, U)."""
    where = np.ix_(active, active)
    after = np.linalg.inv(
        information[where] * np.outer(spread[list(active)], spread[list(active)])
        + np.eye(len(active))
    )
    deviation = np.sqrt(np.diag(after))
    out = np.eye(len(spread))
    out[where] = after / np.outer(deviation, deviation)
    return out


def _information(
    evidence: Sequence[Evidence], unknowns: Sequence[Unknown], belief: Belief
) -> tuple[Floats, tuple[CurveSlopes, ...]]:
    """Fisher's information in shares of the bounds, a mean over places; slopes of each curve."""
    count = len(unknowns)
    rng = np.random.default_rng(0)
    middle = np.where(np.isnan(belief.mean), 0.5, belief.mean)
    places = np.clip(np.vstack([middle, rng.uniform(0.2, 0.8, (PLACES - 1, count))]), 0.1, 0.9)
    information = np.zeros((count, count))
    along = []
    for e in evidence:
        ahead = (places[:, None, :] + STEP * np.eye(count)).reshape(-1, count)
        behind = (places[:, None, :] - STEP * np.eye(count)).reshape(-1, count)
        still = np.zeros((len(ahead), len(e.files)))
        for model, up, down in zip(
            e.curves, e.computed(ahead, still), e.computed(behind, still), strict=True
        ):
            slope = ((up - down) / (2 * STEP)).reshape(len(places), count, -1)
            white = slope @ model.whiten.T
            white = white / np.sqrt(1.0 + DISCREPANCY_USUAL**2 * model.shares)
            information += np.einsum("pin,pjn->ij", white, white) / len(places)
            o = model.observed
            along.append(CurveSlopes(o.column, o.times, slope.mean(axis=0)))
    return information, tuple(along)
