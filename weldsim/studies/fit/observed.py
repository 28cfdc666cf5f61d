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
NEIGHBOURS = 9
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
    good = _not_gross(curve.values, noise)
    times, values, noise = curve.times[good], curve.values[good], noise[good]
    groups = np.array_split(np.arange(len(times)), min(MOST_READINGS, len(times)))
    mean = [
        (times[g].mean(), np.median(values[g]), 1.25 * noise[g].mean() / np.sqrt(len(g)))
        if len(g) > 2
        else (times[g].mean(), values[g].mean(), noise[g].mean() / np.sqrt(len(g)))
        for g in groups
    ]
    t, v, n = np.array(mean).T
    return Observed(
        curve.column, file, t, v, np.maximum(n, 0.3 * least), len(times), int((~good).sum())
    )


def _not_gross(values: Floats, noise: Floats) -> NDArray[np.bool_]:
    from scipy.ndimage import median_filter

    if len(values) < NEIGHBOURS:
        return np.ones(len(values), bool)
    off = np.abs(values - median_filter(values, NEIGHBOURS, mode="nearest"))
    usual = 1.4826 * float(np.median(off))
    # where a swing turns, its neighbours are as far from their median: a gross error stands alone
    turning = 1.4826 * median_filter(off, NEIGHBOURS, mode="nearest")
    return np.asarray(off <= GROSS * np.maximum(np.maximum(noise, usual), turning))
