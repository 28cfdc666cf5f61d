"""Which curves a step of a fit takes, and at which times its surrogates stand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from weldsim.runs.gauge_table import GaugeTable
from weldsim.studies.fit.likelihood import Evidence
from weldsim.studies.fit.observed import Observed
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]

GRID = 160  # times of a surrogate
HELD = 0.9  # of the draws, within an interval


def believed(unknown: Unknown) -> tuple[float, float]:
    """90 % of what was believed of an unknown before."""
    if unknown.spread is None:
        return unknown.value(0.05), unknown.value(0.95)
    reach = 1.645 * unknown.spread
    return max(unknown.low, unknown.usual - reach), min(unknown.high, unknown.usual + reach)


def interval_of(draws: Floats, likeliest: Floats) -> tuple[Floats, Floats]:
    """Interval of each number that holds `HELD` of its draws, and the likeliest value.

    A tenth is left out, half of it on each side. Where a bound, or another number, puts the
    likeliest value among those left out, that side is cut at it and the other gives up the rest:
    the share that is held stays the same (any share of a density will do for it; A. Gelman et al.,
    Bayesian Data Analysis, 3rd edition 2013, section 2.3).

    Parameters
    ----------
    draws : ndarray, shape (S, K)
        S draws of K numbers.
    likeliest : ndarray, shape (K,)
        Of all of them together.

    Returns
    -------
    low, high : ndarray, shape (K,)
        `low` <= `likeliest` <= `high`.
    """
    below = (draws < likeliest).mean(axis=0)
    above = (draws > likeliest).mean(axis=0)
    left_out = np.clip(0.5 * (1.0 - HELD), 1.0 - HELD - above, below)  # on the low side
    low, high = np.empty(len(below)), np.empty(len(below))
    for k, share in enumerate(left_out):
        low[k], high[k] = np.quantile(draws[:, k], (share, min(share + HELD, 1.0)))
    return np.minimum(low, likeliest), np.maximum(high, likeliest)


def last_time(curves: Sequence[Observed], clock: float) -> float | None:
    """When the last reading may have been taken; none where the cold part was read. [s]"""
    if any(c.cold for c in curves):
        return None
    return max(float(c.times[-1]) for c in curves) + clock + 1.0


def grid_of(tables: Sequence[GaugeTable], curves: Sequence[Observed], clock: float) -> Floats:
    """Times of a surrogate: dense where readings and the runs' own steps are."""
    end = max(float(t.times[-1]) for t in tables)
    begin = min(float(t.times[0]) for t in tables)
    timed = [c.times for c in curves if not c.cold]
    last = min(end, max([t[-1] for t in timed], default=end) + clock)
    steps = np.sort(np.concatenate([t.times for t in tables]))
    steps = np.concatenate([steps[(steps >= begin) & (steps <= last)], *timed])
    inner = np.quantile(np.clip(steps, begin, end), np.linspace(0.0, 1.0, GRID))
    tail = [end] if any(c.cold for c in curves) else []
    return np.unique(np.concatenate([[begin], inner, tail]))


def time_step(tables: Sequence[GaugeTable]) -> float:
    """Time step of the runs while the arc burns: the shorter ones of all. [s]"""
    return float(np.median([np.quantile(np.diff(t.times), 0.25) for t in tables]))


def by_kind(evidence: Sequence[Evidence]) -> tuple[list[Evidence], list[Evidence]]:
    """Curves of temperatures, and the others; empty where a case has none."""

    def part(e: Evidence, hot: bool) -> Evidence:
        kept = tuple(c for c in e.curves if (c.observed.column.unit == "degC") == hot)
        files = tuple(f for f in e.files if any(c.observed.file == f for c in kept))
        return Evidence(e.surrogate, kept, e.step, files, e.late)

    hot, cool = [part(e, True) for e in evidence], [part(e, False) for e in evidence]
    return (
        hot if any(e.curves for e in hot) else [],
        cool if any(e.curves for e in cool) else [],
    )


def held_back(
    evidence: Sequence[Evidence], name: str | None
) -> tuple[list[Evidence], tuple[int, Evidence] | None, str]:
    """Evidence without one curve, and that curve; none where too little would be left."""
    flat = [(k, j) for k, e in enumerate(evidence) for j in range(len(e.curves))]
    if len(flat) < 2:
        return list(evidence), None, ""
    chosen = flat[-1]
    for k, j in flat:
        if name and evidence[k].curves[j].observed.column.name == name:
            chosen = (k, j)
    k, j = chosen
    e = evidence[k]
    rest = tuple(c for i, c in enumerate(e.curves) if i != j)
    kept = list(evidence)
    kept[k] = Evidence(e.surrogate, rest, e.step, e.files, e.late)
    alone = Evidence(e.surrogate, (e.curves[j],), e.step, e.files, e.late)
    return kept, (k, alone), e.curves[j].observed.column.name
