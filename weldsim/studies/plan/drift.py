"""How the ranking grade of a study is off against the finer one: the error stated for its rows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.space import Plan


@dataclass(frozen=True)
class Drift:
    """How rows of the ranking grade alone are off.

    Attributes
    ----------
    share : float
        Of where a row ends.
    rest : float
        What is added to that. [SI]
    compared : int
        Schedules run at both grades, mirror images counted once.
    """

    share: float
    rest: float
    compared: int

    def of(self, final: float) -> float:
        """Error of an end. [SI]"""
        return self.share * final + self.rest


def drift_between(
    plan: Plan,
    fast: Mapping[Any, Outcome],
    finer: Mapping[Any, Outcome],
    groups: Mapping[Any, Any],
) -> Drift | None:
    """How the ranking grade is off against the finer one; None without a run at both.

    A coarse mesh moves all ends by much the same factor. Over the schedules run at both grades the
    factor is fitted to the spots (least squares); the rest is the largest distance it leaves. With
    fewer than three schedules there is only a largest distance.

    Parameters
    ----------
    plan : Plan
    fast, finer : mapping of (setting, moves) to Outcome
        At the ranking grade and at the finer one.
    groups : mapping
        Key -> what it shares with its mirror images, which count once.
    """
    both = {groups[k]: k for k in finer if not finer[k].error and not fast[k].error}
    if not both:
        return None
    a, b = (np.array([spot(plan, some[k]) for k in both.values()]) for some in (fast, finer))
    size = float((a**2).sum())
    scale = float((a * b).sum()) / size if len(both) > 2 and size > 0 else 1.0
    rest = float(np.linalg.norm(b - scale * a, axis=1).max())
    return Drift(abs(scale - 1), rest, len(both))


def spot(plan: Plan, outcome: Outcome) -> np.ndarray:
    """The measure with its direction, where it has one. [SI]"""
    if not plan.measure_columns:
        return np.array([outcome.final])
    return np.array([outcome.readings[c] for c in plan.measure_columns])


def apart(plan: Plan, a: Outcome, b: Outcome) -> float:
    """How far apart two outcomes end: on a target the way from spot to spot, never shorter than
    what their distances from its middle differ by. [SI]"""
    return float(np.linalg.norm(spot(plan, a) - spot(plan, b)))
