"""A fit from measurements to values with intervals: runs, surrogate, search, check, refine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import CaseError, WeldsimError
from weldsim.measurements.measured_curve import Measurement
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column
from weldsim.studies.fit.grade_step import GradeStep, spread_out
from weldsim.studies.fit.learnable import Learnable, what_can_be_learnt
from weldsim.studies.fit.likelihood import Evidence
from weldsim.studies.fit.observed import observed
from weldsim.studies.fit.parting import (
    believed,
    by_kind,
    grid_of,
    held_back,
    interval_of,
    last_time,
    time_step,
)
from weldsim.studies.fit.posterior import Belief, Posterior
from weldsim.studies.fit.records import CurveFit, Experiment, Fit, Score, Settings
from weldsim.studies.fit.runs import RunStore, carry_out_points, read_curves
from weldsim.studies.fit.surrogate import Surrogate, on_grid
from weldsim.studies.fit.unknowns import Unknown

Floats = NDArray[np.float64]
Tell = Callable[[float, str], None]

RUNS_EACH = 6  # runs of the design an unknown, with `RUNS_LEAST` at least
RUNS_LEAST = 12
REFINED = 3  # runs added where the fit lands
MOVED = 0.15  # of the bounds: a fit that lands so far from where it landed first is refined again
INTERVAL = (5.0, 95.0)  # percentiles of a 90 % interval


def fit(
    experiments: Sequence[Experiment],
    unknowns: Sequence[Unknown],
    folder: Path,
    settings: Settings | None = None,
    progress: Tell | None = None,
) -> Fit:
    """Fit unknowns to what was measured.

    Parameters
    ----------
    experiments : sequence of Experiment
        Cases that share the unknowns.
    unknowns : sequence of Unknown
        What may vary.
    folder : Path
        Of the study; runs are kept there and used again.
    settings : Settings, optional
        How.
    progress : callable, optional
        Told the share done, and words.

    Returns
    -------
    Fit
        Values with intervals.

    Raises
    ------
    WeldsimError
        If the measurements cannot tell anything, or too many runs failed.
    """
    settings = settings or Settings()
    work = Work(tuple(experiments), tuple(unknowns), Path(folder), settings, progress)
    work.design()
    first = work.landed()
    work.refine(first, 0.75, 0.9)
    again = work.landed()
    if np.abs(again - first).max() > MOVED:
        work.refine(again, 0.9, 0.97)
    return work.result()


class Work:
    """A fit under way.

    Parameters
    ----------
    experiments : tuple of Experiment
        Cases that share the unknowns.
    unknowns : tuple of Unknown
        What may vary.
    folder : Path
        Of the study.
    settings : Settings
        How.
    tell : callable, optional
        Told the share done, and words.
    """

    def __init__(
        self,
        experiments: tuple[Experiment, ...],
        unknowns: tuple[Unknown, ...],
        folder: Path,
        settings: Settings,
        tell: Tell | None = None,
    ) -> None:
        self.experiments, self.unknowns, self.settings = experiments, unknowns, settings
        self.tell = tell or (lambda share, text: None)
        self.observed = [observed(e.measurements) for e in experiments]
        self.stores = [
            RunStore(folder, e.case, unknowns, last_time(curves, settings.clock))
            for e, curves in zip(experiments, self.observed, strict=True)
        ]
        self.places = self.fine = np.zeros((0, len(unknowns)))
        self.failed: dict[str, str] = {}
        self.belief = Belief.of(unknowns, max(settings.clock, 1e-9))
        self.learnable: Learnable | None = None
        self._surrogates: dict[tuple[object, ...], Surrogate] = {}

    def design(self) -> None:
        """Runs spread over the bounds, and one of a finer grade in their middle."""
        from scipy.stats import qmc

        count = len(self.unknowns)
        runs = self.settings.runs or max(RUNS_LEAST, RUNS_EACH * count)
        sampler = qmc.LatinHypercube(count, rng=np.random.default_rng(self.settings.seed),
                                     optimization="random-cd")  # fmt: skip
        spread = sampler.random(runs - 1)
        self.middle = np.array(
            [u.share(u.usual) if u.spread is not None else 0.5 for u in self.unknowns]
        )
        places = np.vstack([self.middle, spread])
        self.fine = places[spread_out(places, 1 + count)]
        self._run(places, 0.0, 0.75)

    def _values(self, place: Floats) -> list[float]:
        return [u.value(float(s)) for u, s in zip(self.unknowns, place, strict=True)]

    def _run(self, places: Floats, begin: float, end: float) -> None:
        """Carry out runs of all cases; places at which one failed are left out."""
        jobs = [
            store.job(self._values(p), self.settings.grade) for store in self.stores for p in places
        ]
        finer = []
        if self.settings.finer != "none":
            finer = [
                s.job(self._values(p), self.settings.finer) for s in self.stores for p in self.fine
            ]
        self.failed |= carry_out_points(
            [*finer, *jobs],  # the longest first
            self.settings.workers,
            lambda share, text: self.tell(begin + (end - begin) * share, text),
            self.settings.cluster,
        )
        grade = self.settings.grade
        good = [
            p for p in places
            if not any(s.job(self._values(p), grade).name in self.failed for s in self.stores)
        ]  # fmt: skip
        self.places = np.vstack([self.places, *good]) if good else self.places
        if len(self.places) < len(self.unknowns) + 2:
            why = next(iter(self.failed.values()), "none was asked for")
            raise WeldsimError(f"too few runs are left to fit on ({len(self.places)}): {why}")

    def evidence(self) -> list[Evidence]:
        """Surrogates of all cases from the runs so far, with what was measured."""
        out = []
        for k, (experiment, store, curves) in enumerate(
            zip(self.experiments, self.stores, self.observed, strict=True)
        ):
            tables = [
                read_curves(Path(store.job(self._values(p), self.settings.grade).path))
                for p in self.places
            ]
            columns = tuple(dict.fromkeys(c.column for c in curves))
            missing = [c.name for c in columns if c not in tables[0]]
            if missing:
                raise CaseError(f"{experiment.case.source_file}: no gauge reads {missing[0]}")
            grid = grid_of(tables, curves, self.settings.clock)
            surrogate = self.surrogate(k, tables, columns, grid)
            step = self._step(store, columns, grid) if self.settings.finer != "none" else None
            files = range(len(experiment.measurements)) if self.settings.clock > 0 else ()
            timed = [f for f in files if any(c.file == f and not c.cold for c in curves)]
            out.append(Evidence.of(surrogate, curves, step, timed, time_step(tables)))
        return out

    def surrogate(
        self, k: int, tables: Sequence[GaugeTable], columns: tuple[Column, ...], grid: Floats
    ) -> Surrogate:
        """That of case `k` from its runs on a grid of times [s]; kept, since it takes a while."""
        key = (k, len(self.places), columns, grid.tobytes())
        if key not in self._surrogates:
            curves = on_grid(tables, columns, grid)
            self._surrogates[key] = Surrogate(self.places, curves, self.settings.seed)
        return self._surrogates[key]

    def _step(self, store: RunStore, columns: tuple[Column, ...], grid: Floats) -> GradeStep | None:
        """What the finer grade gives more where it was run."""
        pairs = []
        for place in self.fine:
            grades = (self.settings.grade, self.settings.finer)
            jobs = [store.job(self._values(place), g) for g in grades]
            if not any(job.name in self.failed for job in jobs):
                rough, fine = on_grid(
                    [read_curves(Path(j.path)) for j in jobs], columns, grid
                ).values
                pairs.append((place, fine - rough))
        return GradeStep.of(pairs)

    def solve(self, steps: int) -> Posterior:
        """The density of everything: thermocouples tell thermal unknowns first, where there are."""
        evidence = self.evidence()
        belief, frozen = self.belief, {}
        thermal = [k for k, u in enumerate(self.unknowns) if u.thermal]
        hot, cool = by_kind(evidence)
        if hot and cool and thermal and len(thermal) < len(self.unknowns):
            belief = self._thermal(hot, thermal, steps)
            evidence = cool
        self.learnable = what_can_be_learnt(
            evidence, self.unknowns, belief, range(len(self.unknowns))
        )
        for k in self.learnable.frozen:
            frozen[k] = float(self.middle[k] if np.isnan(belief.mean[k]) else belief.mean[k])
        return Posterior(evidence, belief, frozen)

    def _thermal(self, hot: list[Evidence], thermal: list[int], steps: int) -> Belief:
        """What is believed of the thermal unknowns after the thermocouples."""
        told = what_can_be_learnt(hot, self.unknowns, self.belief, thermal)
        kept = {k: float(self.middle[k]) for k in range(len(self.unknowns)) if k not in thermal}
        kept |= {k: float(self.middle[k]) for k in told.frozen}
        posterior = Posterior(hot, self.belief, kept)
        draws = posterior.draws(posterior.likeliest(self.settings.seed), steps, self.settings.seed)
        places = posterior.split(draws)[0][:, thermal]
        mean, covariance = self.belief.mean.copy(), self.belief.covariance.copy()
        mean[thermal] = places.mean(axis=0)
        own = np.cov(places, rowvar=False).reshape(len(thermal), len(thermal))
        covariance[np.ix_(thermal, thermal)] = own + 1e-8 * np.eye(len(thermal))
        return Belief(mean, covariance, self.belief.clock)

    def landed(self) -> Floats:
        """The likeliest place by the runs so far, (U,)."""
        rough = self.solve(steps=200)
        return np.asarray(rough.split(rough.likeliest(starts=4)[None, :])[0][0])

    def refine(self, place: Floats, begin: float, end: float) -> None:
        """Runs where the fit lands, a finer one too, so that it is surest there."""
        rng = np.random.default_rng([self.settings.seed + 1, len(self.places)])
        about = place + 0.06 * rng.normal(size=(REFINED - 1, len(place)))
        self.fine = np.vstack([self.fine, place])
        self._run(np.clip(np.vstack([place, about]), 0.0, 1.0), begin, end)

    def measured(self, experiment: int, measurements: tuple[Measurement, ...]) -> None:
        """Take other measurements of the same gauges, on the runs there are.

        Parameters
        ----------
        experiment : int
            Of which case.
        measurements : tuple of Measurement
            In the place of those before.
        """
        changed = list(self.experiments)
        changed[experiment] = Experiment(changed[experiment].case, measurements)
        self.experiments = tuple(changed)
        self.observed[experiment] = observed(measurements)

    def intervals(self, steps: int = 300) -> tuple[Floats, Floats, Floats]:
        """Only the 90 % intervals.

        Parameters
        ----------
        steps : int
            Of each walker.

        Returns
        -------
        low, high : ndarray, shape (U,)
            [SI]
        clocks : ndarray, shape (2, F)
            [s]
        """
        seed = self.settings.seed
        posterior = self.solve(steps)
        best = posterior.likeliest(seed, starts=4)
        draws = posterior.draws(best, steps, seed)
        clocks = interval_of(self._late(posterior, draws), posterior.split(best[None, :])[1][0])
        return *self._held(posterior, draws, best)[2:], np.array(clocks)

    def _held(
        self, posterior: Posterior, draws: Floats, best: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Likeliest values, (U,), draws of them, (S, U), and their 90 % intervals. [SI]"""
        samples = np.array([self._values(p) for p in posterior.split(draws)[0]])
        values = np.array(self._values(posterior.split(best[None, :])[0][0]))
        low, high = interval_of(samples, values)
        for k in posterior.frozen:
            low[k], high[k] = believed(self.unknowns[k])
        return values, samples, low, high

    def result(self) -> Fit:
        """Values with intervals, residuals, and the score on what is held back."""
        seed = self.settings.seed
        self.tell(0.97, "searching")
        posterior = self.solve(steps=400)
        best = posterior.likeliest(seed)
        draws = posterior.draws(best, seed=seed)
        values, samples, low, high = self._held(posterior, draws, best)
        assert self.learnable is not None
        full = self.evidence()
        misses = {
            c.name: float(m)
            for e in full
            for c, m in zip(e.surrogate.curves.columns, e.surrogate.misses(), strict=True)
        }
        self.tell(1.0, "fitted")
        return Fit(
            self.experiments, self.unknowns, self.settings,
            values, low, high, samples, self._clocks(posterior, best, draws),
            float(posterior.split(best[None, :])[2][0]), self.learnable,
            self._curves(full, posterior, best, draws), self._score(posterior),
            misses, len(self.places) * len(self.stores), dict(self.failed),
        )  # fmt: skip

    def _clocks(
        self, posterior: Posterior, best: Floats, draws: Floats
    ) -> dict[str, tuple[float, float, float]]:
        found = posterior.split(best[None, :])[1][0]
        low, high = interval_of(self._late(posterior, draws), found)
        names = [
            self.experiments[k].measurements[f].path.name
            for k, e in enumerate(posterior.evidence)
            for f in e.files
        ]
        numbers = zip(found.tolist(), low.tolist(), high.tolist(), strict=True)
        return dict(zip(names, numbers, strict=True))

    def _late(self, posterior: Posterior, draws: Floats) -> Floats:
        """Draws of the clocks, (S, F), with what the runs' own clock may be off. [s]"""
        late = np.concatenate([np.full(len(e.files), e.late) for e in posterior.evidence])
        spread = posterior.split(draws)[1]
        rng = np.random.default_rng(self.settings.seed)
        return np.asarray(spread + late * rng.normal(size=spread.shape))

    def _curves(
        self, full: list[Evidence], posterior: Posterior, best: Floats, draws: Floats
    ) -> tuple[CurveFit, ...]:
        some = draws[:: max(1, len(draws) // 200)]
        out, first = [], 0
        for k, e in enumerate(full):
            fitted = posterior.evidence[k]
            count = len(fitted.files)
            places, clocks, size = posterior.split(best[None, :])
            many_places, many_clocks, _ = posterior.split(some)
            own = [fitted.files.index(f) + first for f in e.files if f in fitted.files]
            if len(own) < len(e.files):  # files of thermocouples alone: their clock was told before
                clocks, many_clocks = (
                    np.zeros((1, len(e.files))),
                    np.zeros((len(some), len(e.files))),
                )
                own = list(range(len(e.files)))
            now = e.computed(places, clocks[:, own])
            many = e.computed(many_places, many_clocks[:, own])
            for model, row, rows in zip(e.curves, now, many, strict=True):
                off = model.observed.values - row[0]
                low, high = np.percentile(rows, INTERVAL, axis=0)
                out.append(
                    CurveFit(
                        k, model.observed, row[0], model.unmended(off, float(size[0])), low, high
                    )
                )
            first += count
        return tuple(out)

    def _score(self, posterior: Posterior) -> Score | None:
        """Fit without one curve, or without the last third of the only one, and predict that."""
        kept, held, name = held_back(posterior.evidence, self.settings.hold_back)
        if held is None:
            return None
        rest = Posterior(kept, posterior.belief, posterior.frozen)
        best = rest.likeliest(self.settings.seed, starts=4)
        draws = rest.draws(best, 300, self.settings.seed)
        some = draws[:: max(1, len(draws) // 200)]
        places, clocks, size = rest.split(some)
        k, evidence = held
        first = sum(len(e.files) for e in kept[:k])
        rows = evidence.computed(places, clocks[:, first : first + len(kept[k].files)])[0]
        model = evidence.curves[0]
        rng = np.random.default_rng(self.settings.seed)
        noisy = rows + model.draws(rng, size)
        low, high = np.percentile(noisy, INTERVAL, axis=0)
        read = model.observed.values
        miss = float(np.sqrt(((read - rows.mean(axis=0)) ** 2).mean()))
        inside = float(((read >= low) & (read <= high)).mean())
        return Score(name, miss, model.size, inside)
