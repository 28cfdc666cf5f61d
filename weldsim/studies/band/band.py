"""An interval for every gauge: few runs, a surrogate of them, many draws, and the grade's error."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case
from weldsim.errors import WeldsimError
from weldsim.studies.band.drawn import Run, band_of_runs
from weldsim.studies.band.records import Band, Settings
from weldsim.studies.band.uncertain import Uncertain
from weldsim.studies.fit.runs import RunStore, carry_out_points
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]
Tell = Callable[[float, str], None]

MORE_THAN_VALUES = 2  # runs, so that something is left to tell the scatter by


def band(
    case: Case,
    uncertain: Uncertain,
    folder: Path,
    settings: Settings | None = None,
    progress: Tell | None = None,
) -> Band:
    """An interval for every gauge of a case.

    Parameters
    ----------
    case : Case
        As it is to be welded.
    uncertain : Uncertain
        What scatters.
    folder : Path
        Of the study; runs are kept there and used again.
    settings : Settings, optional
        How.
    progress : callable, optional
        Told the share done, and words.

    Returns
    -------
    Band
        Intervals, shares, and how well they are known.

    Raises
    ------
    WeldsimError
        If too many runs failed.
    """
    settings = settings or Settings()
    tell = progress or (lambda share, text: None)
    needed = len(uncertain.values) + MORE_THAN_VALUES
    if settings.runs < needed:
        raise WeldsimError(
            f"runs: {settings.runs} is not allowed: {needed} or more, {MORE_THAN_VALUES} above the "
            f"{len(uncertain.values)} uncertain shop values"
        )
    store = RunStore(Path(folder), case, uncertain.values)
    places = design(uncertain.values, settings.runs, settings.seed)
    jobs = [store.job(_values(uncertain.values, p), settings.grade) for p in places]
    finer = [] if settings.finer == "none" else [
        store.job(_values(uncertain.values, places[0]), settings.finer)
    ]  # fmt: skip
    failed = carry_out_points(
        [*finer, *jobs], settings.workers, lambda share, text: tell(0.9 * share, text),
        settings.cluster,
    )  # fmt: skip
    good = [k for k, job in enumerate(jobs) if job.name not in failed]
    if jobs[0].name in failed or len(good) < needed:
        why = next(iter(failed.values()), "none was asked for")
        raise WeldsimError(f"too few runs are left for a band ({len(good)}): {why}")
    tell(0.9, "drawing from the runs")
    runs = [Run.read(Path(jobs[k].path)) for k in good]
    fine = next((Run.read(Path(j.path)) for j in finer if j.name not in failed), None)
    found = band_of_runs(case, uncertain, settings, places[good], runs, fine, failed)
    tell(1.0, "done")
    return found


def design(values: Sequence[Unknown], runs: int, seed: int) -> Floats:
    """Places of runs: the middle, then points of a Sobol' sequence, which more runs prolong.

    Parameters
    ----------
    values : sequence of Unknown
        U of them.
    runs : int
        R.
    seed : int
        Of its scrambling.

    Returns
    -------
    ndarray, shape (R, U)
        Shares of the bounds.
    """
    from scipy.stats import qmc

    middle = np.array([[u.share(u.usual) for u in values]])
    sequence = qmc.Sobol(len(values), rng=np.random.default_rng(seed))
    points = sequence.random_base2(int(np.ceil(np.log2(max(runs - 1, 2)))))
    return np.vstack([middle, points[: runs - 1]])


def _values(values: Sequence[Unknown], place: Floats) -> list[float]:
    return [u.value(float(s)) for u, s in zip(values, place, strict=True)]
