"""Measured curves as a fit takes them: few readings, their scatter, gross errors left out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldsim.measurements.measured_curve import MeasuredCurve, Measurement
from weldsim.schema.column import Column

Floats = NDArray[np.float64]

MOST_READINGS = 120  # of one curve; more are taken together
GROSS = 5.0  # standard deviations from the median of its neighbours at which a reading is gross
NEIGHBOURS = (9, 15)  # of a reading: few follow a swing, many outnumber gross errors in a row
LEAST_NOISE = {"mrad": 0.05e-3, "mm": 0.05e-3, "degC": 1.0, "N": 1.0, "Nm": 0.1}
"""Standard deviation taken where too few readings tell it, and least of all. [SI]; our choice"""
COLD_NOISE = {"mrad": 0.1e-3, "mm": 0.5e-3, "degC": 2.0, "N": 10.0, "Nm": 1.0}


@dataclass(frozen=True)
class Observed:
    """Readings of one gauge.

    Attributes
    ----------
    column : Column
        Of the case.
    file : int
        Which file it is from: each has a clock of its own.
    times : ndarray, shape (N,)
        On that clock; one inf where it is a reading of the cold part. [s]
    values, noise : ndarray, shape (N,)
        [SI]
    taken : int
        Readings they stand for.
    gross : int
        Readings left out.
    """

    column: Column
    file: int
    times: Floats
    values: Floats
    noise: Floats
    taken: int
    gross: int

    @property
    def cold(self) -> bool:
        """Whether it is a reading of the cold part."""
        return bool(np.isinf(self.times[0]))


def observed(measurements: Iterable[Measurement]) -> tuple[Observed, ...]:
    """Curves of files, thinned.

    Parameters
    ----------
    measurements : iterable of Measurement
        One a file.

    Returns
    -------
    tuple of Observed
        In their order.
    """
    return tuple(thinned(curve, file) for file, m in enumerate(measurements) for curve in m.curves)


def thinned(curve: MeasuredCurve, file: int) -> Observed:
    """A curve with gross errors left out and neighbours taken together.

    Parameters
    ----------
    curve : MeasuredCurve
        As it was read.
    file : int
        Which file it is from.

    Returns
    -------
    Observed
        At most `MOST_READINGS` readings.
    """
    unit = curve.column.unit
    least = LEAST_NOISE[unit]
    known = np.where(np.isfinite(curve.noise), curve.noise, COLD_NOISE[unit])
    noise = np.maximum(known, least)
    if curve.cold:
        return Observed(curve.column, file, np.array([np.inf]), curve.values, noise, 1, 0)
    good = np.ones(len(curve.times), bool)
    for count in NEIGHBOURS:
        good &= _not_gross(curve.values - _lines(curve.times, curve.values, count)[1], noise, count)
    slopes = _lines(curve.times[good], curve.values[good], NEIGHBOURS[0])[0]
    times, values, noise = (a[good] for a in (curve.times, curve.values, noise))
    mean = []
    for g in _groups(times, slopes):
        at = times[g].mean()
        # along their slope: of a steep curve the middle value is not that of the mean time
        level = values[g] - np.median(slopes[g]) * (times[g] - at)
        many = len(g) > 2
        middle = np.median(level) if many else level.mean()
        mean.append((at, middle, (1.25 if many else 1.0) * noise[g].mean() / np.sqrt(len(g))))
    t, v, n = np.array(mean).T
    return Observed(
        curve.column, file, t, v, np.maximum(n, 0.3 * least), len(times), int((~good).sum())
    )


def _lines(times: Floats, values: Floats, count: int) -> tuple[Floats, Floats]:
    """Slope of the neighbours of each reading, and where their line has it: medians of pairs.

    A third of the neighbours may be gross errors (H. Theil, Proc. K. Ned. Akad. Wet. 53 (1950)
    386-392; P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389: up to 29 %).
    """
    if len(times) < count:
        return np.zeros(len(times)), values.copy()
    first = np.clip(np.arange(len(times)) - count // 2, 0, len(times) - count)
    near = first[:, None] + np.arange(count)
    t, v = times[near], values[near]
    i, j = np.triu_indices(count, 1)
    slopes = np.median((v[:, j] - v[:, i]) / (t[:, j] - t[:, i]), axis=1)
    about = np.median(v - slopes[:, None] * (t - times[:, None]), axis=1)
    return slopes, about


def _groups(times: Floats, slopes: Floats) -> list[NDArray[np.intp]]:
    """Readings that are taken together: few where the curve is steep, many where it rests."""
    if len(times) <= MOST_READINGS:
        return [np.array([k]) for k in range(len(times))]
    step = np.diff(times, prepend=times[0])
    way = np.cumsum(np.abs(slopes) * step)
    along = 0.5 * (times - times[0]) / np.ptp(times) + 0.5 * way / max(way[-1], 1e-300)
    number = np.minimum((along * MOST_READINGS).astype(int), MOST_READINGS - 1)
    return np.split(np.arange(len(times)), np.flatnonzero(np.diff(number)) + 1)


def _not_gross(off: Floats, noise: Floats, count: int) -> NDArray[np.bool_]:
    """Whether readings are no gross errors, by how far they are off their neighbours' line."""
    from scipy.ndimage import median_filter

    if len(off) < count:
        return np.ones(len(off), bool)
    off = np.abs(off)
    usual = 1.4826 * float(np.median(off))
    # where a swing turns, its neighbours are as far from their line: a gross error stands alone
    turning = 1.4826 * median_filter(off, count, mode="mirror")
    return np.asarray(off <= GROSS * np.maximum(np.maximum(noise, usual), turning))
