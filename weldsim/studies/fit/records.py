"""What a fit is given and what it finds."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case
from weldsim.measurements.measured_curve import Measurement
from weldsim.studies.fit.learnable import Learnable
from weldsim.studies.fit.observed import Observed
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]

FINER = {"sketch": "coarse", "coarse": "quick", "quick": "normal", "normal": "fine"}


@dataclass(frozen=True)
class Experiment:
    """A case and what was measured on it.

    Attributes
    ----------
    case : Case
        As it was welded.
    measurements : tuple of Measurement
        One a file.
    """

    case: Case
    measurements: tuple[Measurement, ...]


@dataclass(frozen=True)
class Settings:
    """How a fit is made.

    Attributes
    ----------
    grade, finer : str
        Of the runs, and of the few runs that tell what a finer grade gives more ("none" for no
        such run).
    runs : int, optional
        Of the design.
    hold_back : str, optional
        Column that is not fitted but predicted.
    clock : float
        How far a file's clock may be off; 0: it is right. [s]
    seed : int
        Of design and walk.
    workers : int, optional
        Processes.
    cluster : str, optional
        Address of a Dask scheduler that has the runs carried out, or "local".
    """

    grade: str = "quick"
    finer: str = "normal"
    runs: int | None = None
    hold_back: str | None = None
    clock: float = 30.0
    seed: int = 1
    workers: int | None = None
    cluster: str | None = None


@dataclass(frozen=True)
class CurveFit:
    """How one curve came out.

    Attributes
    ----------
    experiment : int
        Which case.
    observed : Observed
        What was measured.
    computed, unmended : ndarray, shape (N,)
        At the likeliest values, and what no value can mend. [SI]
    low, high : ndarray, shape (N,)
        90 % of what the model gives, given the measurements. [SI]
    """

    experiment: int
    observed: Observed
    computed: Floats
    unmended: Floats
    low: Floats
    high: Floats

    @property
    def residual(self) -> Floats:
        """Read less computed, (N,). [SI]"""
        return self.observed.values - self.computed


@dataclass(frozen=True)
class Score:
    """How a curve that was not fitted is predicted.

    Attributes
    ----------
    name : str
        Column, and which part of it.
    miss : float
        Root mean square of read less predicted. [SI]
    extent : float
        Of the curve. [SI]
    inside : float
        Share of its readings within the predicted 90 %.
    """

    name: str
    miss: float
    extent: float
    inside: float


@dataclass(frozen=True)
class Fit:
    """What a fit found.

    Attributes
    ----------
    experiments : tuple of Experiment
        What it is from.
    unknowns : tuple of Unknown
        U of them.
    settings : Settings
        How.
    best : ndarray, shape (U,)
        Likeliest. [SI]
    low, high : ndarray, shape (U,)
        90 % interval. [SI]
    samples : ndarray, shape (S, U)
        Draws. [SI]
    clocks : dict of str to tuple
        File -> likeliest, low and high of how far its clock is ahead of the run's. [s]
    discrepancy : float
        Standard deviation of what no value can mend, over a curve's extent.
    learnable : Learnable
        What was to be learnt.
    curves : tuple of CurveFit
        Each curve.
    score : Score or None
        On what was held back.
    surrogate_miss : dict of str to float
        Column -> miss of the surrogate on runs it had not seen. [SI]
    runs : int
        Whole runs it rests on.
    failed : dict of str to str
        Runs that failed, and why.
    """

    experiments: tuple[Experiment, ...]
    unknowns: tuple[Unknown, ...]
    settings: Settings
    best: Floats
    low: Floats
    high: Floats
    samples: Floats
    clocks: dict[str, tuple[float, float, float]]
    discrepancy: float
    learnable: Learnable
    curves: tuple[CurveFit, ...]
    score: Score | None
    surrogate_miss: dict[str, float]
    runs: int
    failed: dict[str, str] = field(default_factory=dict)
