"""How the ranking grade of a study is off against the finer one: its rows carried over to that
grade, and the error they keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.space import Plan

ENOUGH = 3  # sequences run at both grades, for factors and an error of what they predict
INSIDE = 0.9  # chance that a row ends within its error


@dataclass(frozen=True)
class Drift:
    """How rows of the ranking grade alone are off.

    Attributes
    ----------
    factors : tuple of float
        Finer end over the ranking's, one for each column of the measure; 1 with fewer than
        `ENOUGH` sequences to tell by.
    rest : float
        Error that a row keeps which the factors leave where it is. [SI]
    compared : int
        Sequences run at both grades, mirror images counted once.
    reach : float
        Length of all spots compared, root of the sum of squares: the further out a row ends against
        it, the more a doubtful factor counts. Infinite where factors have no part. [SI]
    step : float
        What is added besides, in steps of the row from a still coarser grade to the ranking's;
        0 where no coarser grade was run, or where it tells nothing.
    alone : Drift or None
        The same found without the coarser grade, for readings that it does not have.
    """

    factors: tuple[float, ...]
    rest: float
    compared: int
    reach: float = np.inf
    step: float = 0.0
    alone: Drift | None = None

    @property
    def share(self) -> float:
        """Part of its end by which an uncorrected row is off."""
        return max(abs(factor - 1) for factor in self.factors)

    @property
    def carried(self) -> bool:
        """Whether rows are stated at the finer grade."""
        return self.compared >= ENOUGH

    def carry(self, spot: np.ndarray, coarser: np.ndarray | None = None) -> np.ndarray:
        """Where a row ends that the ranking has at `spot` and the coarser grade at `coarser`, (M,);
        without the latter the step counts for nothing. [SI]"""
        moved = 0.0 if coarser is None else self.step * (spot - coarser)
        return np.asarray(np.multiply(self.factors, spot) + moved)

    def end(self, spot: np.ndarray, coarser: np.ndarray | None = None) -> float:
        """How far off that is. [SI]"""
        return float(np.linalg.norm(self.carry(spot, coarser)))

    def error(self, spot: np.ndarray) -> float:
        """Error of that. [SI]"""
        return float(self.rest * np.hypot(1.0, np.linalg.norm(spot) / self.reach))


def drift_between(
    plan: Plan,
    fast: Mapping[Any, Outcome],
    finer: Mapping[Any, Outcome],
    groups: Mapping[Any, Any],
    coarser: Mapping[Any, Outcome] | None = None,
) -> Drift | None:
    """How the ranking grade is off against the finer one; None without a run at both.

    Parameters
    ----------
    plan : Plan
    fast, finer : mapping of (setting, moves) to Outcome
        At the ranking grade and at the finer one.
    groups : mapping
        Key -> what it shares with its mirror images, which count once.
    coarser : mapping, optional
        The same sequences at a grade coarser than the ranking's.

    Returns
    -------
    Drift or None
        See `fitted`.
    """
    both = {groups[k]: k for k in finer if not finer[k].error and not fast[k].error}
    if not both:
        return None
    a, b = (np.array([spot(plan, some[k]) for k in both.values()]) for some in (fast, finer))
    if any(any(plan.case_under(setting).preset) for setting in plan.settings):
        return _unfitted(a, b)  # where it stood before the first weld is no movement of a weld's
    known = coarser or {}
    if not all(k in known and not known[k].error for k in both.values()):
        return fitted(a, b)
    return fitted(a, b, np.array([spot(plan, known[k]) for k in both.values()]))


def fitted(a: np.ndarray, b: np.ndarray, c: np.ndarray | None = None) -> Drift:
    """How one grade is off against a finer one, from sequences run at both.

    A coarse mesh moves all ends by much the same factor, or each side of a target by its own, as
    another kind of seam moves it; or a row's next step from grade to grade is a part of its last
    one, `b = f a + k (a - c)`, as where the error of a mesh goes with a power of its size
    (Richardson's extrapolation [2]_). Each is fitted to the spots (least squares); the way that
    leaves the smallest variance is taken. The error is half the prediction interval of that fit,
    which holds what is predicted in nine of ten cases if what a factor does not explain is normal:

        t sqrt(s^2 (1 + |x|^2 / sum |a|^2)),  s^2 = sum |b - f a|^2 / (numbers - factors)

    with Student's t for as many degrees of freedom. With fewer than `ENOUGH` sequences the rows
    stay where they are, and the largest distance is their error.

    Parameters
    ----------
    a, b : ndarray, shape (S, M)
        Where sequences end at the grade and at the finer one: the measure's columns. [SI]
    c : ndarray, shape (S, M), optional
        At a grade coarser than that of `a`. [SI]

    Returns
    -------
    Drift
        With its error.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 4.5.1.2, prediction intervals.
    .. [2] L. F. Richardson, Phil. Trans. R. Soc. A 210 (1911) 307-357.
    """
    from scipy.stats import t

    if len(a) < ENOUGH or not np.any(a):
        return _unfitted(a, b)

    def way(factors: np.ndarray, step: float, count: int) -> tuple[float, Drift]:
        moved = 0.0 if c is None else step * (a - c)
        free = a.size - count
        variance = float(((b - factors * a - moved) ** 2).sum()) / free
        rest = float(t.ppf((1 + INSIDE) / 2, free) * np.sqrt(variance))
        reach = float(np.linalg.norm(a))
        return variance, Drift(tuple(factors.tolist()), rest, len(a), reach, step)

    one = np.full(a.shape[1], _factor(a, b))
    each = np.array([_factor(a[:, i], b[:, i]) for i in range(a.shape[1])])
    alone = min(way(one, 0.0, 1), way(each, 0.0, len(each)), key=lambda found: found[0])
    if c is None:
        return alone[1]
    design = np.column_stack([a.ravel(), (a - c).ravel()])
    factor, step = np.linalg.lstsq(design, b.ravel(), rcond=None)[0]
    stepped = way(np.full(a.shape[1], factor), float(step), 2)
    best = min(alone, stepped, key=lambda found: found[0])[1]
    return replace(best, alone=alone[1])


def _unfitted(a: np.ndarray, b: np.ndarray) -> Drift:
    """No factor, and the largest distance as the error."""
    distance = float(np.linalg.norm(b - a, axis=1).max())
    return Drift((1.0,) * a.shape[1], distance, min(len(a), ENOUGH - 1))


def _factor(a: np.ndarray, b: np.ndarray) -> float:
    """Least squares of b = factor a; 1 where a is nothing."""
    size = float((a**2).sum())
    return float((a * b).sum()) / size if size > 0 else 1.0


def spot(plan: Plan, outcome: Outcome) -> np.ndarray:
    """The measure with its direction, where it has one. [SI]"""
    if not plan.measure_columns:
        return np.array([outcome.final])
    return np.array([outcome.readings[c] for c in plan.measure_columns])


def apart(plan: Plan, a: Outcome, b: Outcome) -> float:
    """How far apart two outcomes end: on a target the way from spot to spot, never shorter than
    what their distances from its middle differ by. [SI]"""
    return float(np.linalg.norm(spot(plan, a) - spot(plan, b)))
