"""A band from runs: a surrogate of their curves, draws of what scatters, shares, convergence.

Values that a shop does not hold exactly are drawn independently of each other, or as a fit left
them; the surrogate says what each draw would give. A run at a finer grade in the middle shifts all
curves by its step, and that step stays as the estimated error of the grade.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column
from weldsim.studies.band.records import BETWEEN, GRADE, Band, Reading, Settings
from weldsim.studies.band.shares import Shares, shares_of
from weldsim.studies.band.uncertain import Uncertain
from weldsim.studies.fit.runs import read_arc_end, read_curves
from weldsim.studies.fit.surrogate import Curves, Surrogate, on_grid

Floats = NDArray[np.float64]

INTERVAL = (5.0, 95.0)  # percentiles: nine of ten parts end between them
NINE_OF_TEN = 1.645  # standard deviations of a normal error within which nine of ten lie
GRID = 80  # times of a curve
GROUPS = 3  # parts of the runs that are left out in turn, to see whether the band holds
CHUNK = 500  # draws predicted at once
KEPT_ENDS = 500
HOT, COLD = -1, -2  # last two places of a curve: as the last arc goes out, and the end
TRIED = 1000  # draws by which parts of the runs are compared


@dataclass(frozen=True)
class Run:
    """One run.

    Attributes
    ----------
    table : GaugeTable
        Its curves.
    arc_end : float
        When its last arc went out. [s]
    """

    table: GaugeTable
    arc_end: float

    @classmethod
    def read(cls, path: Path) -> Run:
        """A run that was kept.

        Parameters
        ----------
        path : Path
            From `weldsim.studies.fit.runs.write_curves`.

        Returns
        -------
        Run
            With its curves.
        """
        return cls(read_curves(path), read_arc_end(path))

    def hot(self, columns: Sequence[Column]) -> Floats:
        """Readings as the last arc goes out; of a temperature its highest.

        Parameters
        ----------
        columns : sequence of Column
            K of them.

        Returns
        -------
        ndarray, shape (K,)
            [SI]
        """
        t = self.table
        when = self.arc_end if np.isfinite(self.arc_end) else float(t.times[-1])
        return np.array(
            [t[c].max() if c.unit == "degC" else np.interp(when, t.times, t[c]) for c in columns]
        )


def curves_of(runs: Sequence[Run], columns: Sequence[Column], times: Floats) -> Curves:
    """Curves on a grid, with the readings hot behind them.

    Parameters
    ----------
    runs : sequence of Run
        R of them.
    columns : sequence of Column
        K of them.
    times : ndarray, shape (M,)
        Ascending. [s]

    Returns
    -------
    Curves
        With values (R, K, M + 1).
    """
    plain = on_grid([r.table for r in runs], columns, times)
    hot = np.array([r.hot(columns) for r in runs])[:, :, None]
    return Curves(tuple(columns), times, np.concatenate([plain.values, hot], axis=2))


def _grid(runs: Sequence[Run]) -> Floats:
    """Times close together where the runs' own steps are."""
    steps = np.sort(np.concatenate([r.table.times for r in runs]))
    return np.unique(np.append(np.quantile(steps, np.linspace(0.0, 1.0, GRID)), steps[-1]))


def band_of_runs(
    case: Case,
    uncertain: Uncertain,
    settings: Settings,
    places: Floats,
    runs: Sequence[Run],
    finer: Run | None,
    failed: Mapping[str, str] | None = None,
) -> Band:
    """A band from runs that are there.

    Parameters
    ----------
    case : Case
        As it is to be welded.
    uncertain : Uncertain
        U values that scatter.
    settings : Settings
        How the runs were made.
    places : ndarray, shape (R, U)
        Of the runs as shares of the bounds; the first is the middle.
    runs : sequence of Run
        R of them.
    finer : Run or None
        The middle at the finer grade.
    failed : mapping of str to str, optional
        Runs that failed, and why.

    Returns
    -------
    Band
        Intervals, shares, and how well they are known.
    """
    columns, times = runs[0].table.columns, _grid(runs)
    curves = curves_of(runs, columns, times)
    surrogate = Surrogate(places, curves, settings.seed)
    middle = curves.values[0]
    step = curves_of([finer or runs[0]], columns, times).values[0] - middle
    miss = surrogate.misses()
    rng = np.random.default_rng(settings.seed)
    shares = rng.random((settings.draws, len(uncertain.factors)))
    drawn = predicted(surrogate, uncertain.places(shares)) + step
    plain = drawn[:, :, [HOT, COLD]].copy()
    drawn += _errors(rng, len(drawn), step, miss)
    low, high = np.percentile(drawn, INTERVAL, axis=0)
    explained = _explained(surrogate, uncertain, settings.seed)
    changed = _changed(surrogate, uncertain, shares[:TRIED], high - low, settings.seed)
    curve = np.stack([middle + step, low, high])
    readings = tuple(
        _reading(uncertain, explained, column, (k, which), plain[:, k, which], curve[:, k, place],
                 (abs(float(step[k, place])) / NINE_OF_TEN, float(miss[k])), changed[k, which])
        for k, column in enumerate(columns)
        for which, place in enumerate((HOT, COLD))
    )  # fmt: skip
    return Band(
        case, uncertain, settings, readings, columns, times, curve[0, :, :HOT],
        low[:, :HOT], high[:, :HOT], drawn[:KEPT_ENDS, :, COLD], runs[0].arc_end, len(runs),
        _half_sample(drawn[:, :, [HOT, COLD]]), dict(failed or {}),
    )  # fmt: skip


def _errors(rng: np.random.Generator, count: int, step: Floats, miss: Floats) -> Floats:
    """Errors of the grade and of the surrogate, (N, K, M + 1); each is one draw for the whole of
    a curve, since it hardly changes its sign along one."""
    grade, between = rng.normal(size=(2, count, len(step), 1))
    return np.asarray(grade * np.abs(step) / NINE_OF_TEN + between * miss[:, None])


def _explained(surrogate: Surrogate, uncertain: Uncertain, seed: int) -> Shares:
    """Shares of the readings, hot and cold of each column in turn."""

    def at_ends(some: Floats) -> Floats:
        """Readings hot and cold, (N, 2 K)."""
        return predicted(surrogate, uncertain.places(some), (HOT, COLD)).reshape(len(some), -1)

    return shares_of(at_ends, uncertain.factors, seed=seed)


def predicted(surrogate: Surrogate, places: Floats, at: Sequence[int] | None = None) -> Floats:
    """Curves of many draws, a part of them at a time to spare memory.

    Parameters
    ----------
    surrogate : Surrogate
        Of the runs.
    places : ndarray, shape (N, U)
        Shares of the bounds.
    at : sequence of int, optional
        Places of the curves that are kept.

    Returns
    -------
    ndarray, shape (N, K, M)
        [SI]
    """
    parts = []
    for first in range(0, len(places), CHUNK):
        part = surrogate.predict(places[first : first + CHUNK])
        parts.append(part if at is None else part[:, :, list(at)])
    return np.concatenate(parts)


def _reading(
    uncertain: Uncertain,
    explained: Shares,
    column: Column,
    place: tuple[int, int],
    plain: Floats,
    expected: Floats,
    errors: tuple[float, float],
    changed: float,
) -> Reading:
    """One gauge at one moment; shares are those of the whole variance, errors included."""
    variance = float(plain.var())
    whole = max(variance + errors[0] ** 2 + errors[1] ** 2, 1e-300)
    part = variance / whole
    k, which = place
    value, low, high = map(float, expected)
    at = 2 * k + which
    names = uncertain.factors
    first = {n: part * float(v) for n, v in zip(names, explained.first[:, at], strict=True)}
    total = {n: part * float(v) for n, v in zip(names, explained.total[:, at], strict=True)}
    error = {n: part * float(v) for n, v in zip(names, explained.error[:, at], strict=True)}
    for name, size in ((GRADE, errors[0]), (BETWEEN, errors[1])):
        first[name] = total[name] = size**2 / whole
        error[name] = 0.0
    fresh = sum(
        max(float(v), 0.0)
        for v, is_fresh in zip(explained.first[:, at], uncertain.fresh_factors, strict=True)
        if is_fresh
    )
    return Reading(
        column, ("hot", "cold")[which], value, low, high, float(np.sqrt(variance)),
        float(np.sqrt(min(fresh, 1.0) * variance)), *errors, first, total, error, float(changed),
    )  # fmt: skip


def _changed(
    surrogate: Surrogate, uncertain: Uncertain, shares: Floats, width: Floats, seed: int
) -> Floats:
    """Most by which the interval moves when parts of the runs are left out in turn, (K, 2), as a
    share of its width; the middle stays."""
    places = uncertain.places(shares)
    curves = surrogate.curves
    whole = np.percentile(predicted(surrogate, places, (HOT, COLD)), INTERVAL, axis=0)
    order = np.random.default_rng(seed).permutation(np.arange(1, len(surrogate.places)))
    out = np.zeros(whole.shape[1:])
    for group in range(GROUPS):
        kept = np.setdiff1d(np.arange(len(surrogate.places)), order[group::GROUPS])
        fewer = Surrogate(
            surrogate.places[kept], Curves(curves.columns, curves.times, curves.values[kept]), seed
        )
        ends = np.percentile(predicted(fewer, places, (HOT, COLD)), INTERVAL, axis=0)
        out = np.maximum(out, np.abs(ends - whole).max(axis=0))
    return np.asarray(out / width[:, [HOT, COLD]].clip(1e-300))


def _half_sample(drawn: Floats) -> float:
    """Widest change of an interval, as a share of its width, with either half of the draws."""
    low, high = np.percentile(drawn, INTERVAL, axis=0)
    half = len(drawn) // 2
    moved = [
        np.abs(np.percentile(part, INTERVAL, axis=0) - [low, high]).max(axis=0)
        for part in (drawn[:half], drawn[half:])
    ]
    return float((np.max(moved, axis=0) / (high - low).clip(1e-300)).max())
