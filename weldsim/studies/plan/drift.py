"""How the ranking grade of a study is off against the finer one: its rows carried over to that
grade, and the error they keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.space import Plan

ENOUGH = 3  # sequences run at both grades, for a factor and an error of what it predicts


@dataclass(frozen=True)
class Drift:
    """How rows of the ranking grade alone are off.

    Attributes
    ----------
    factor : float
        Finer end over the ranking's, 1 with fewer than `ENOUGH` to tell by.
    rest : float
        Error that rows keep, once carried over by the factor. [SI]
    compared : int
        Sequences run at both grades, mirror images counted once.
    """

    factor: float
    rest: float
    compared: int

    @property
    def share(self) -> float:
        """Part of its end by which an uncorrected row is off."""
        return abs(self.factor - 1)

    @property
    def carried(self) -> bool:
        """Whether rows are stated at the finer grade."""
        return self.compared >= ENOUGH


def drift_between(
    plan: Plan,
    fast: Mapping[Any, Outcome],
    finer: Mapping[Any, Outcome],
    groups: Mapping[Any, Any],
) -> Drift | None:
    """How the ranking grade is off against the finer one; None without a run at both.

    A coarse mesh moves all ends by much the same factor. Over the sequences run at both grades the
    factor is fitted to the spots (least squares). What the fit is worth for a sequence that was not
    run again is tried on each that was: predicted by a factor fitted to the others, it is off by
    some distance, the largest of which is the error that rows keep. With fewer than three the rows
    stay where they are, and the largest distance is their error.

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
        With its error.
    """
    both = {groups[k]: k for k in finer if not finer[k].error and not fast[k].error}
    if not both:
        return None
    a, b = (np.array([spot(plan, some[k]) for k in both.values()]) for some in (fast, finer))
    if len(both) < ENOUGH or not np.any(a):
        return Drift(1.0, float(np.linalg.norm(b - a, axis=1).max()), min(len(both), ENOUGH - 1))
    factor = _factor(a, b)
    others = [np.arange(len(a)) != i for i in range(len(a))]
    without = np.array([_factor(a[o], b[o]) for o in others])
    rest = float(np.linalg.norm(b - without[:, None] * a, axis=1).max())
    return Drift(factor, rest, len(both))


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
