"""How the ranking grade of a study is off against the finer one: its rows carried over to that
grade, and the error they keep."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.space import Plan

Fit = Callable[[np.ndarray, np.ndarray], np.ndarray]
ENOUGH = 3  # sequences run at both grades, for factors and an error of what they predict


@dataclass(frozen=True)
class Drift:
    """How rows of the ranking grade alone are off.

    Attributes
    ----------
    factors : tuple of float
        Finer end over the ranking's, one for each column of the measure; 1 with fewer than
        `ENOUGH` sequences to tell by.
    rest : float
        Error that rows keep, once carried over by the factors. [SI]
    compared : int
        Sequences run at both grades, mirror images counted once.
    """

    factors: tuple[float, ...]
    rest: float
    compared: int

    @property
    def share(self) -> float:
        """Part of its end by which an uncorrected row is off."""
        return max(abs(factor - 1) for factor in self.factors)

    @property
    def carried(self) -> bool:
        """Whether rows are stated at the finer grade."""
        return self.compared >= ENOUGH

    def end(self, spot: np.ndarray) -> float:
        """How far off a row ends that the ranking has at `spot`, (M,). [SI]"""
        return float(np.linalg.norm(np.multiply(self.factors, spot)))


def drift_between(
    plan: Plan,
    fast: Mapping[Any, Outcome],
    finer: Mapping[Any, Outcome],
    groups: Mapping[Any, Any],
) -> Drift | None:
    """How the ranking grade is off against the finer one; None without a run at both.

    Parameters
    ----------
    plan : Plan
    fast, finer : mapping of (setting, moves) to Outcome
        At the ranking grade and at the finer one.
    groups : mapping
        Key -> what it shares with its mirror images, which count once.

    Returns
    -------
    Drift or None
        See `fitted`.
    """
    both = {groups[k]: k for k in finer if not finer[k].error and not fast[k].error}
    if not both:
        return None
    return fitted(
        *(np.array([spot(plan, some[k]) for k in both.values()]) for some in (fast, finer))
    )


def fitted(a: np.ndarray, b: np.ndarray) -> Drift:
    """How one grade is off against a finer one, from sequences run at both.

    A coarse mesh moves all ends by much the same factor, or each side of a target by its own, as
    another kind of seam moves it. Either is fitted to the spots (least squares) and tried on each
    sequence: predicted by a fit to the others, it is off by some distance, the largest of which is
    the error that rows keep. The way that keeps the smaller one is taken. With fewer than `ENOUGH`
    sequences the rows stay where they are, and the largest distance is their error.

    Parameters
    ----------
    a, b : ndarray, shape (S, M)
        Where sequences end at the grade and at the finer one: the measure's columns. [SI]

    Returns
    -------
    Drift
        With its error.
    """
    if len(a) < ENOUGH or not np.any(a):
        distance = float(np.linalg.norm(b - a, axis=1).max())
        return Drift((1.0,) * a.shape[1], distance, min(len(a), ENOUGH - 1))
    ways = [Drift(tuple(fit(a, b).tolist()), _missed(fit, a, b), len(a)) for fit in (_one, _each)]
    return min(ways, key=lambda drift: drift.rest)


def _missed(fit: Fit, a: np.ndarray, b: np.ndarray) -> float:
    """The most by which a sequence is off that a fit to the others predicts. [SI]"""
    others = [np.arange(len(a)) != i for i in range(len(a))]
    predicted = [fit(a[o], b[o]) * own for o, own in zip(others, a, strict=True)]
    return float(np.linalg.norm(b - np.array(predicted), axis=1).max())


def _one(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """One factor for all columns: least squares of b = factor a; 1 where a is nothing."""
    size = float((a**2).sum())
    return np.full(a.shape[1], float((a * b).sum()) / size if size > 0 else 1.0)


def _each(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The same for each column alone."""
    columns = [_one(a[:, [i]], b[:, [i]]) for i in range(a.shape[1])]
    return np.concatenate(columns)


def spot(plan: Plan, outcome: Outcome) -> np.ndarray:
    """The measure with its direction, where it has one. [SI]"""
    if not plan.measure_columns:
        return np.array([outcome.final])
    return np.array([outcome.readings[c] for c in plan.measure_columns])


def apart(plan: Plan, a: Outcome, b: Outcome) -> float:
    """How far apart two outcomes end: on a target the way from spot to spot, never shorter than
    what their distances from its middle differ by. [SI]"""
    return float(np.linalg.norm(spot(plan, a) - spot(plan, b)))
