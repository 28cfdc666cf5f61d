"""Records of a band: how it is made, what it finds."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case
from weldsim.schema.column import Column
from weldsim.studies.band.uncertain import Uncertain

Floats = NDArray[np.float64]

RUNS = 24
DRAWS = 4000
SETTLED = 0.15  # of its width by which a band may change when runs are left out
GRADE, BETWEEN = "estimated error of the grade", "few runs"


@dataclass(frozen=True)
class Settings:
    """How a band is made.

    Attributes
    ----------
    grade, finer : str
        Of the runs, and of the one run that tells what a finer grade gives more ("none" for no
        such run).
    runs : int
        With the one in the middle; those there already are used again when more are asked for.
    draws : int
        Predicted from the runs.
    seed : int
        Of all that is drawn.
    workers : int, optional
        Processes.
    cluster : str, optional
        Address of a Dask scheduler, or "local".
    """

    grade: str = "coarse"
    finer: str = "quick"
    runs: int = RUNS
    draws: int = DRAWS
    seed: int = 1
    workers: int | None = None
    cluster: str | None = None


@dataclass(frozen=True)
class Reading:
    """One gauge at one moment.

    Attributes
    ----------
    column : Column
        What is read.
    moment : str
        "hot", as the last arc goes out (of a temperature its highest), or "cold", at the end.
    value : float
        Where everything is as the case says. [SI]
    low, high : float
        Between which nine of ten parts end. [SI]
    spread, fresh : float
        Standard deviation of all causes but the grade and the surrogate, and of those alone that
        come out otherwise in each part. [SI]
    grade_error, surrogate_error : float
        Standard deviations. [SI]
    first, total, share_error : dict of str to float
        Cause -> its share of the whole variance, alone, with others, and its 95 % error.
    changed : float
        By what share of its width the interval changes when a third of the runs is left out.
    """

    column: Column
    moment: str
    value: float
    low: float
    high: float
    spread: float
    fresh: float
    grade_error: float
    surrogate_error: float
    first: dict[str, float]
    total: dict[str, float]
    share_error: dict[str, float]
    changed: float

    @property
    def settled(self) -> bool:
        """Whether more runs would hardly change the interval."""
        return self.changed <= SETTLED


@dataclass(frozen=True)
class Band:
    """What a band found.

    Attributes
    ----------
    case : Case
        Whose it is.
    uncertain : Uncertain
        What scatters.
    settings : Settings
        How.
    readings : tuple of Reading
        Every column, hot and cold.
    columns : tuple of Column
        K of them.
    times : ndarray, shape (M,)
        Of the curves. [s]
    middle, low, high : ndarray, shape (K, M)
        Curves: all as the case says, and between which nine of ten lie. [SI]
    ends : ndarray, shape (S, K)
        Cold ends of some draws, errors of grade and surrogate included. [SI]
    last_arc : float
        When it goes out. [s]
    runs : int
        Whole runs it rests on.
    half_sample : float
        By what share of its width the widest change of an interval is with half of the draws.
    failed : dict of str to str
        Runs that failed, and why.
    """

    case: Case
    uncertain: Uncertain
    settings: Settings
    readings: tuple[Reading, ...]
    columns: tuple[Column, ...]
    times: Floats
    middle: Floats
    low: Floats
    high: Floats
    ends: Floats
    last_arc: float
    runs: int
    half_sample: float
    failed: dict[str, str] = field(default_factory=dict)
