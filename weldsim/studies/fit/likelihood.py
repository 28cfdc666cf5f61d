"""How likely measured curves are under values of the unknowns, and what no value can mend.

A reading is what the model gives, a discrepancy of the model that changes slowly in time, and the
noise of the gauge (M. C. Kennedy and A. O'Hagan, J. R. Stat. Soc. B 63 (2001) 425-464). The size
of the discrepancy is an unknown of its own, so that it is not swept into the others. What a finer
grade gives more is added, its half as a standard deviation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldsim.studies.fit.error_scale import FLAT, CurveErrors, error_scale
from weldsim.studies.fit.grade_step import GradeStep
from weldsim.studies.fit.observed import Observed
from weldsim.studies.fit.surrogate import Surrogate

Floats = NDArray[np.float64]

# How far along a curve its discrepancy forgets itself: shares of its span in time and of the way
# it goes up and down, half each. A model that swings too early or too far is off where the curve
# is steep, not evenly in time.
SLOW, QUICK = 0.15, 0.04
GRADE_DOUBT = 0.5  # standard deviation of the step to a finer grade, over itself
OTHER_SHAPES = 0.1  # of a miss of the surrogate, its square: of no shape that was seen; our choice
TIMING = 0.25  # of a time step of the runs: how far their clock may be off itself
STEP_DOUBT = 0.5  # of the step to a finer grade over itself, where it was run but once
SLOPE_STEP = 0.02  # of the bounds, over which slopes of the surrogate are taken


@dataclass(frozen=True)
class CurveModel:
    """One measured curve with its covariances, split so that any size of discrepancy is cheap.

    Attributes
    ----------
    observed : Observed
        The curve.
    place : int
        Of its column in the surrogate.
    size : float
        What a discrepancy of 1 means: the extent of the curve. [SI]
    whiten : ndarray, shape (N, N)
        Times a residual: readings that do not go together.
    shares : ndarray, shape (N,)
        Variance a discrepancy of 1 adds to each of them, theirs being 1.
    log_volume : float
        Half the logarithm of the covariance without discrepancy.
    errors : ndarray, shape (N, N)
        Covariance of the errors of surrogate and step, before any scale. [SI]
    """

    observed: Observed
    place: int
    size: float
    whiten: Floats
    shares: Floats
    log_volume: float
    errors: Floats

    @classmethod
    def of(
        cls,
        observed: Observed,
        place: int,
        size: float,
        miss: float,
        step: Floats | None,
        usual: Floats,
        shapes: Floats,
        step_errors: Floats,
        scale: float = 1.0,
    ) -> CurveModel:
        """Split the covariances of a curve.

        Parameters
        ----------
        observed : Observed
            The curve.
        place : int
            Of its column in the surrogate.
        size : float
            Extent of the curve. [SI]
        miss : float
            Of the surrogate. [SI]
        step : ndarray, shape (N,), optional
            What a finer grade gives more at its readings. [SI]
        usual : ndarray, shape (N,)
            What the model usually gives there. [SI]
        shapes : ndarray, shape (R, N)
            What a miss of the surrogate looks like there, each of size 1.
        step_errors : ndarray, shape (S, N)
            What that may be off: the sum of their squares is its variance. [SI]
        scale : float
            Of the variance of those errors; see `error_scale`.

        Returns
        -------
        CurveModel
            Ready for `log_likelihood`.
        """
        alike = _alike(observed, usual)
        # what the surrogate misses looks like other values of the unknowns, not like any curve
        own = shapes.T @ shapes / max(len(shapes), 1)
        errors = miss**2 * (own + OTHER_SHAPES * alike)
        base = np.diag(observed.noise**2)
        if step is not None:
            base += GRADE_DOUBT**2 * np.outer(step, step)
            size_of = float(np.sqrt((step_errors**2).sum(axis=0).mean()))
            if not len(step_errors):
                size_of = STEP_DOUBT * float(np.sqrt((step**2).mean()))
            errors += step_errors.T @ step_errors
            errors += (OTHER_SHAPES if len(step_errors) else 1.0) * size_of**2 * alike
        lower = np.linalg.cholesky(base + scale * errors)
        inverse = np.linalg.inv(lower)
        shares, turn = np.linalg.eigh(inverse @ (size**2 * alike) @ inverse.T)
        volume = float(np.log(np.diag(lower)).sum())
        return cls(
            observed, place, size, turn.T @ inverse, np.clip(shares, 0.0, None), volume, errors
        )

    def log_likelihood(self, residual: Floats, discrepancy: Floats) -> Floats:
        """Logarithm of the likelihood, up to a constant.

        Parameters
        ----------
        residual : ndarray, shape (B, N)
            Read less computed. [SI]
        discrepancy : ndarray, shape (B,)
            Its standard deviation over the curve's extent.

        Returns
        -------
        ndarray, shape (B,)
            For each.
        """
        variance = 1.0 + discrepancy[:, None] ** 2 * self.shares
        white = residual @ self.whiten.T
        out = -0.5 * (white**2 / variance + np.log(variance)).sum(axis=1) - self.log_volume
        return np.asarray(out, dtype=np.float64)

    def draws(self, rng: np.random.Generator, discrepancy: Floats) -> Floats:
        """Noise, discrepancy and the errors of surrogate and grade, drawn.

        Parameters
        ----------
        rng : Generator
            Of the draws.
        discrepancy : ndarray, shape (B,)
            Its standard deviation over the curve's extent.

        Returns
        -------
        ndarray, shape (B, N)
            To be added to what is computed. [SI]
        """
        deviation = np.sqrt(1.0 + discrepancy[:, None] ** 2 * self.shares)
        white = rng.normal(size=deviation.shape) * deviation
        return np.asarray(white @ np.linalg.inv(self.whiten).T, dtype=np.float64)

    def unmended(self, residual: Floats, discrepancy: float) -> Floats:
        """What of a residual is discrepancy rather than noise, expected.

        Parameters
        ----------
        residual : ndarray, shape (N,)
            Read less computed. [SI]
        discrepancy : float
            Its standard deviation over the curve's extent.

        Returns
        -------
        ndarray, shape (N,)
            [SI]
        """
        part = discrepancy**2 * self.shares / (1.0 + discrepancy**2 * self.shares)
        back = np.linalg.inv(self.whiten)
        return np.asarray(back @ (part * (self.whiten @ residual)), dtype=np.float64)


@dataclass(frozen=True)
class Evidence:
    """All curves of one case, with the surrogate of its runs.

    Attributes
    ----------
    surrogate : Surrogate
        Of the case.
    curves : tuple of CurveModel
        What was measured.
    step : GradeStep or None
        What a finer grade gives more on the surrogate's grid.
    files : tuple of int
        Files whose clock is unknown.
    late : float
        How far the runs' own clock may be off, in steps of time. [s]
    """

    surrogate: Surrogate
    curves: tuple[CurveModel, ...]
    step: GradeStep | None
    files: tuple[int, ...]
    late: float = 0.0

    @classmethod
    def of(
        cls,
        surrogate: Surrogate,
        curves: Sequence[Observed],
        step: GradeStep | None,
        files: Sequence[int],
        time_step: float = 0.0,
    ) -> Evidence:
        """Join measured curves and a surrogate.

        Parameters
        ----------
        surrogate : Surrogate
            Of the case; it has all columns.
        curves : sequence of Observed
            What was measured.
        step : GradeStep, optional
            What a finer grade gives more on its grid.
        files : sequence of int
            Files whose clock is unknown.
        time_step : float
            Of the runs while the arc burns. [s]

        Returns
        -------
        Evidence
            Ready for `log_likelihood`.
        """
        misses = surrogate.misses()
        last = None if step is None else step.last
        errors = None if step is None else step.errors()
        grid = surrogate.curves.times
        parts, offs = [], []
        for o in curves:
            k = surrogate.curves.columns.index(o.column)
            reach = float(np.ptp(o.values)) if not o.cold else abs(float(o.values[0]))
            size = max(reach, float(np.abs(surrogate.curves.values[:, k]).max()) * 0.1, 1e-12)
            read = _finite(o.times, grid)
            at = None if last is None else np.interp(read, grid, last[k])
            rows = [] if errors is None else [np.interp(read, grid, e) for e in errors[:, k]]
            off = np.array(rows).reshape(len(rows), len(read))
            usual = np.interp(read, grid, surrogate.curves.values[:, k].mean(axis=0))
            shapes = np.array([np.interp(read, grid, s) for s in surrogate.shapes(k)])
            parts.append((o, k, size, float(misses[k]), at, usual, shapes, off))
            offs.append(off)
        first = [CurveModel.of(*part) for part in parts]
        scale = _scale(surrogate, first, offs, step, files)
        out = tuple(CurveModel.of(*part, scale) for part in parts)
        return cls(surrogate, out, step, tuple(files), TIMING * time_step)

    def computed(self, places: Floats, clocks: Floats) -> list[Floats]:
        """What the model gives at the readings.

        Parameters
        ----------
        places : ndarray, shape (B, U)
            Unknowns as shares of their bounds.
        clocks : ndarray, shape (B, F)
            What each file's clock is ahead of the run's. [s]

        Returns
        -------
        list of ndarray, shape (B, N)
            One a curve. [SI]
        """
        grid = self.surrogate.curves.times
        all_curves = self.surrogate.predict(places)
        if self.step is not None:
            all_curves = all_curves + self.step.predict(places)
        out = []
        for model in self.curves:
            o = model.observed
            at = _finite(o.times, grid)
            rows = np.empty((len(places), len(at)))
            ahead = o.file in self.files and not o.cold
            for b in range(len(places)):
                clock = clocks[b, self.files.index(o.file)] if ahead else 0.0
                rows[b] = np.interp(at - clock, grid, all_curves[b, model.place])
            out.append(rows)
        return out

    def log_likelihood(self, places: Floats, clocks: Floats, discrepancy: Floats) -> Floats:
        """Logarithm of the likelihood of all curves, up to a constant.

        Parameters
        ----------
        places : ndarray, shape (B, U)
            Unknowns as shares of their bounds.
        clocks : ndarray, shape (B, F)
            [s]
        discrepancy : ndarray, shape (B,)
            Its standard deviation over the curves' extents.

        Returns
        -------
        ndarray, shape (B,)
            For each.
        """
        rows = self.computed(places, clocks)
        return np.asarray(
            sum(
                m.log_likelihood(m.observed.values - row, discrepancy)
                for m, row in zip(self.curves, rows, strict=True)
            )
        )


def _alike(observed: Observed, usual: Floats) -> Floats:
    """How far two readings of a curve share a discrepancy, (N, N); see `SLOW`."""
    t = np.zeros(1) if observed.cold else observed.times
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(usual)))])
    along = 0.5 * (t - t[0]) / max(float(np.ptp(t)), 1e-9) + 0.5 * way / max(way[-1], 1e-300)
    apart = (along[:, None] - along[None, :]) ** 2
    return np.asarray(sum(0.5 * np.exp(-0.5 * apart / reach**2) for reach in (SLOW, QUICK)))


def _finite(times: Floats, grid: Floats) -> Floats:
    return np.where(np.isinf(times), grid[-1], times)


def _scale(
    surrogate: Surrogate,
    models: Sequence[CurveModel],
    step_errors: Sequence[Floats],
    step: GradeStep | None,
    files: Sequence[int],
) -> float:
    """Of the errors of surrogate and step, by runs and steps that were left out."""
    places, grid = surrogate.places, surrogate.curves.times
    runs, count = places.shape
    steps = len(step_errors[0]) if step_errors else 0
    if step is not None and steps:
        places = np.vstack([places, np.repeat(step.places[-1:], steps, axis=0)])
    about = SLOPE_STEP * np.eye(count)
    ahead, behind = (
        surrogate.predict((places[:, None, :] + s * about).reshape(-1, count)) for s in (1, -1)
    )
    slopes = ((ahead - behind) / (2 * SLOPE_STEP)).reshape(len(places), count, *ahead.shape[1:])
    late = -np.gradient(surrogate.predict(places), grid, axis=2)  # with each second of a clock
    rows = []
    for model, off in zip(models, step_errors, strict=True):
        o = model.observed
        at = _finite(o.times, grid)

        def read(curves: Floats, at: Floats = at, k: int = model.place) -> Floats:
            return np.array([np.interp(at, grid, c) for c in curves[..., k, :]])

        moved = np.stack([read(slopes[:, u]) for u in range(count)], axis=1)
        clocks = np.zeros((len(places), len(files), len(at)))
        if o.file in files and not o.cold:
            clocks[:, list(files).index(o.file)] = read(late)
        errors = np.vstack([read(surrogate.unseen), off])
        slope = np.concatenate([moved, clocks], axis=1)
        rows.append(CurveErrors(model.whiten, model.errors, errors, slope))
    weights = np.concatenate([np.full(runs, 1.0 / runs), np.ones(steps)])
    return error_scale(rows, weights, np.array([FLAT] * count + [1e-6] * len(files)))
