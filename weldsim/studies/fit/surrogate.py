"""Curves of the model at values of the unknowns that were not run: principal parts and processes.

The curves of all runs are put on one grid of times and split into their principal parts; the
weight of each part is a Gaussian process of the unknowns (C. E. Rasmussen and C. K. I. Williams,
Gaussian Processes for Machine Learning, MIT Press 2006, chapter 2), fitted by scikit-learn. How
far it is off is measured by leaving runs out.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import SetupError
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column

Floats = NDArray[np.float64]

KEPT = 1e-5  # share of the scatter of the curves that the parts left out may hold
MOST_PARTS = 12
FOLDS = 6  # groups of runs that are left out in turn


@dataclass(frozen=True)
class Curves:
    """Curves of some columns on one grid of times.

    Attributes
    ----------
    columns : tuple of Column
        K of them.
    times : ndarray, shape (M,)
        Since the run started. [s]
    values : ndarray, shape (R, K, M)
        One a run. [SI]
    """

    columns: tuple[Column, ...]
    times: Floats
    values: Floats


def on_grid(tables: Sequence[GaugeTable], columns: Sequence[Column], times: Floats) -> Curves:
    """Curves of runs at common times; after its end a run stays where it ended.

    Parameters
    ----------
    tables : sequence of GaugeTable
        R runs.
    columns : sequence of Column
        K of them.
    times : ndarray, shape (M,)
        [s]

    Returns
    -------
    Curves
        In SI.
    """
    values = [[np.interp(times, t.times, t[c]) for c in columns] for t in tables]
    return Curves(tuple(columns), times, np.array(values).reshape(len(tables), len(columns), -1))


class Surrogate:
    """What the model would give, learnt from runs.

    Parameters
    ----------
    places : ndarray, shape (R, U)
        Unknowns of the runs as shares of their bounds.
    curves : Curves
        What they gave.
    seed : int
        Of the search for the processes' lengths.
    """

    def __init__(self, places: Floats, curves: Curves, seed: int = 1) -> None:
        self.places, self.curves = places, curves
        flat = curves.values.reshape(len(places), -1)
        self.mean = flat.mean(axis=0)
        size = np.ptp(curves.values, axis=(0, 2)).clip(1e-12)
        self.scale = np.repeat(size, curves.values.shape[2])
        _, spread, parts = np.linalg.svd((flat - self.mean) / self.scale, full_matrices=False)
        share = np.cumsum(spread[::-1] ** 2)[::-1] / max(float((spread**2).sum()), 1e-300)
        count = int(min(MOST_PARTS, max(1, np.count_nonzero(share > KEPT))))
        self.parts = parts[:count]
        weights = ((flat - self.mean) / self.scale) @ self.parts.T
        self.processes = [_process(places, w, seed) for w in weights.T]
        self._weights = weights
        self._expected = _Expected.of(self.processes)

    def predict(self, places: Floats) -> Floats:
        """Curves at other values of the unknowns.

        Parameters
        ----------
        places : ndarray, shape (B, U)
            Shares of the bounds.

        Returns
        -------
        ndarray, shape (B, K, M)
            [SI]
        """
        weights = self._expected.at(places)
        flat = self.mean + (weights @ self.parts) * self.scale
        return flat.reshape(len(places), *self.curves.values.shape[1:])

    @cached_property
    def unseen(self) -> Floats:
        """Predicted less run, of runs it has not seen, (R, K, M). [SI]

        The lengths of the processes stay those of all runs, so that it takes no new search.
        """
        order = np.random.default_rng(0).permutation(len(self.places))
        folds = min(FOLDS, len(order))
        true = self.curves.values
        out = np.zeros_like(true)
        for fold in range(folds):
            left = order[fold::folds]
            kept = np.setdiff1d(order, left)
            weights = np.column_stack(
                [
                    _again(p, self.places[kept], w[kept]).predict(self.places[left])
                    for p, w in zip(self.processes, self._weights.T, strict=True)
                ]
            )
            flat = self.mean + (weights @ self.parts) * self.scale
            out[left] = flat.reshape(len(left), *true.shape[1:]) - true[left]
        return out

    def misses(self) -> Floats:
        """Miss on runs it has not seen: root mean square over time of each column, (K,). [SI]

        That of the median run, a quarter more: those at the corners of the design are guessed
        from far away.
        """
        each = np.sqrt((self.unseen**2).mean(axis=2))
        return np.asarray(np.median(each, axis=0) * 1.25, dtype=np.float64)

    def shapes(self, column: int) -> Floats:
        """What a miss looks like along a curve: of runs it has not seen, each of its own size 1.

        Parameters
        ----------
        column : int
            Which of its columns.

        Returns
        -------
        ndarray, shape (R, M)
            Root mean square over time 1; 0 where a run was met exactly.
        """
        off = self.unseen[:, column]
        size = np.sqrt((off**2).mean(axis=1, keepdims=True))
        return np.divide(off, size, out=np.zeros_like(off), where=size > 0)


def _process(places: Floats, weights: Floats, seed: int) -> Any:
    """A Gaussian process with a straight trend, lengths by the likelihood."""
    try:
        from sklearn.gaussian_process import GaussianProcessRegressor
        from sklearn.gaussian_process.kernels import RBF, ConstantKernel, DotProduct, WhiteKernel
    except ImportError:
        raise SetupError(
            'a fit needs scikit-learn, which is not installed: pip install "weldsim[fit]"'
        ) from None
    count = places.shape[1]
    kernel = (
        ConstantKernel(1.0, (1e-3, 1e3)) * RBF(np.ones(count), (0.15, 20.0))
        + ConstantKernel(1.0, (1e-3, 1e3)) * DotProduct(1.0, (0.1, 10.0))
        + WhiteKernel(1e-6, (1e-10, 1e-2))
    )
    process = GaussianProcessRegressor(
        kernel, normalize_y=True, n_restarts_optimizer=1, random_state=seed
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a length at its bound is no harm
        return process.fit(places, weights)


@dataclass(frozen=True)
class _Expected:
    """What processes of the same runs expect, all at once: Q processes, R runs, U unknowns.

    Their own method takes them one by one, and checks its input for longer than it computes.
    """

    known: Floats  # (R, U)
    lengths: Floats  # (Q, U)
    sizes: Floats  # (Q, 3): of the waves, of the trend, square of the trend's level
    alpha: Floats  # (Q, R)
    scale: Floats  # (Q, 2): mean and deviation

    @classmethod
    def of(cls, processes: Sequence[Any]) -> _Expected:
        waves, trends = ([getattr(p.kernel_.k1, k) for p in processes] for k in ("k1", "k2"))
        sizes = [
            (w.k1.constant_value, t.k1.constant_value, t.k2.sigma_0**2)
            for w, t in zip(waves, trends, strict=True)
        ]
        lengths = [np.broadcast_to(w.k2.length_scale, p.X_train_.shape[1])
                   for w, p in zip(waves, processes, strict=True)]  # fmt: skip
        scale = [(p._y_train_mean, p._y_train_std) for p in processes]
        return cls(
            processes[0].X_train_, np.array(lengths), np.array(sizes),
            np.array([p.alpha_ for p in processes]), np.array(scale),
        )  # fmt: skip

    def at(self, places: Floats) -> Floats:
        apart = (places[:, None, :] - self.known[None, :, :]) ** 2
        waves = np.exp(-0.5 * np.einsum("bru,qu->qbr", apart, self.lengths**-2.0))
        wave, trend, level = self.sizes.T[:, :, None, None]
        among = wave * waves + trend * (level + places @ self.known.T)
        weights = np.einsum("qbr,qr->bq", among, self.alpha)
        return np.asarray(weights * self.scale[:, 1] + self.scale[:, 0])


def _again(process: Any, places: Floats, weights: Floats) -> Any:
    from sklearn.gaussian_process import GaussianProcessRegressor

    return GaussianProcessRegressor(process.kernel_, normalize_y=True, optimizer=None).fit(
        places, weights
    )
