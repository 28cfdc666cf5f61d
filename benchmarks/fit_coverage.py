"""Do the 90 % intervals of a fit hold the truth? Made data of a finer grade, many draws.

    python benchmarks/fit_coverage.py --out study             # coarse fitted to quick, minutes
    python benchmarks/fit_coverage.py --out study --grade quick --truth normal

A fit runs the finer grade at a few places, and where it lands. Here those runs are taken from the
truth's surrogate, which saves some 200 of them. Truths are drawn between the bounds; their curves
come from runs of the finer grade, joined by the same kind of surrogate as the fit's own, with
noise, a clock that is off and 5 % of gross errors.

Runs and draws are kept in the folder: `--first 10 --draws 10` makes the draws 10 to 19, and what is
printed, as Markdown, is of all draws there: how often each interval holds the truth.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from weldsim.case.load import load_case
from weldsim.measurements.measured_curve import MeasuredCurve, Measurement, scatter
from weldsim.studies.fit.fitting import MOVED, Work
from weldsim.studies.fit.grade_step import GradeStep
from weldsim.studies.fit.records import Experiment, Settings
from weldsim.studies.fit.runs import RunStore, carry_out_points, read_curves
from weldsim.studies.fit.surrogate import Surrogate, on_grid
from weldsim.studies.fit.unknowns import unknowns_of

VARY = {
    "arc.efficiency": [0.6, 0.9],
    "metal.softening_temperature": ["1050 degC", "1300 degC"],
    "clamping.conductance": ["100 W/m2/K", "2000 W/m2/K"],
}
CLOCK = 10.0  # s
NOISE = 0.3e-3  # m on a target 4 m away
GROSS = 0.05, 20e-3  # share of readings, and how far off they are [m]
SPAN = 300.0  # s
NAMES = ("pointer_up_mm", "pointer_right_mm")


class Stepped(Work):
    """A fit whose finer runs are the truth's surrogate at their places."""

    truth: Surrogate

    def _step(self, store, columns, grid):
        steps = []
        tables = [
            read_curves(Path(store.job(self._values(p), self.settings.grade).path))
            for p in self.places
        ]
        rough = self.surrogate(0, tables, columns, grid).predict(self.fine)
        for curves, less in zip(self.truth.predict(self.fine), rough, strict=True):
            fine = [np.interp(grid, self.truth.curves.times, row) for row in curves]
            steps.append(np.array(fine) - less)
        return GradeStep.of(list(zip(self.fine, steps, strict=True)))

    def evidence(self):
        self.settings = replace(self.settings, finer="truth")
        found = super().evidence()
        self.settings = replace(self.settings, finer="none")
        return found

    def land(self):
        """As `weldsim.studies.fit.fitting.fit` does, but for the runs of the own grade there."""
        self.fine = self.spread
        first = self.landed()
        self.fine = np.vstack([self.fine, first])
        again = self.landed()
        if np.abs(again - first).max() > MOVED:
            self.fine = np.vstack([self.fine, again])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", default="cases/pivot_arm_one_bead.toml")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--grade", default="coarse")
    parser.add_argument("--truth", default="quick")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--draws", type=int, default=40)
    parser.add_argument("--runs", type=int, default=18)
    parser.add_argument("--workers", type=int, default=None)
    asked = parser.parse_args()
    case = load_case(asked.case)
    unknowns = unknowns_of(case, VARY, {})
    truth, columns = truths(case, unknowns, asked)
    settings = Settings(asked.grade, "none", asked.runs, clock=CLOCK, workers=asked.workers, seed=1)
    work, folder = None, asked.out / f"draws-{asked.grade}-{asked.truth}"
    folder.mkdir(exist_ok=True)
    for draw in range(asked.first, asked.first + asked.draws):
        rng = np.random.default_rng([2, draw])
        place = rng.uniform(0.1, 0.9, len(unknowns))
        clock = rng.uniform(-0.5, 0.5) * CLOCK
        measured = made(truth, columns, place, clock, rng)
        begin = time.process_time()
        if work is None:
            work = Stepped((Experiment(case, (measured,)),), unknowns, asked.out, settings)
            work.truth = truth
            work.design()
            work.spread = work.fine
        else:
            work.measured(0, (measured,))
        work.land()
        low, high, clocks = work.intervals()
        values = [u.value(p) for u, p in zip(unknowns, place, strict=True)]
        found = {
            "keys": [*(u.key for u in unknowns), "clock"],
            "truth": [*values, clock],
            "low": [*low, clocks[0, 0]],
            "high": [*high, clocks[1, 0]],
            "bounds": [*(u.high - u.low for u in unknowns), 2 * CLOCK],
            "misses": (1e3 * work.evidence()[0].surrogate.misses()).tolist(),
        }
        (folder / f"{draw:03}.json").write_text(json.dumps(found))
        print(draw, inside([found]).astype(int)[0], f"{time.process_time() - begin:.0f} s of CPU",
              flush=True)  # fmt: skip
    print(f"\nmade data of grade {asked.truth}, fitted at grade {asked.grade}")
    print_table([json.loads(path.read_text()) for path in sorted(folder.glob("*.json"))])


def inside(draws) -> np.ndarray:
    """Whether each interval of each draw holds the truth."""
    low, true, high = (np.array([d[k] for d in draws]) for k in ("low", "truth", "high"))
    return (low <= true) & (true <= high)


def print_table(draws) -> None:
    """How often the intervals held the truth, and how wide they were."""
    held = inside(draws)
    wide = np.array([np.subtract(d["high"], d["low"]) / d["bounds"] for d in draws])
    print(f"\n{len(draws)} draws\n")
    print("| unknown | truth within the 90 % interval | its width over the bounds (median) |")
    print("|---|---|---|")
    for k, key in enumerate(draws[0]["keys"]):
        print(f"| {key} | {held[:, k].mean():.0%} | {np.median(wide[:, k]):.0%} |")
    print(f"| all but the clock | {held[:, :-1].mean():.0%} | |")


def truths(case, unknowns, asked):
    """Surrogate of the finer grade and its columns."""
    from scipy.stats import qmc

    store = RunStore(asked.out, case, unknowns, SPAN + CLOCK + 1.0)
    places = qmc.LatinHypercube(len(unknowns), rng=np.random.default_rng(9)).random(asked.runs)
    jobs = [
        store.job([u.value(s) for u, s in zip(unknowns, p, strict=True)], asked.truth)
        for p in places
    ]
    failed = carry_out_points(jobs, asked.workers, lambda share, text: print(text, flush=True))
    good = [k for k, j in enumerate(jobs) if j.name not in failed]
    tables = [read_curves(Path(jobs[k].path)) for k in good]
    columns = [c for c in tables[0].columns if c.name in NAMES]
    grid = np.unique(np.concatenate([np.linspace(0, SPAN + CLOCK, 400), np.linspace(0, 60, 200)]))
    surrogate = Surrogate(places[good], on_grid(tables, columns, grid))
    misses = surrogate.misses()
    print("truth's own miss, mm:", dict(zip(NAMES, np.round(1e3 * misses, 2), strict=True)))
    return surrogate, columns


def made(truth, columns, place, clock, rng) -> Measurement:
    """What a bench would have read."""
    times = np.arange(1.0, SPAN, 0.5)
    rows = truth.predict(place[None, :])[0]
    curves = []
    for column, row in zip(columns, rows, strict=True):
        values = np.interp(times - clock, truth.curves.times, row)
        values = values + rng.normal(0.0, NOISE, len(times))
        gross = rng.random(len(times)) < GROSS[0]
        values[gross] += rng.normal(0.0, GROSS[1], int(gross.sum()))
        told = np.full(len(times), scatter(times, values))
        curves.append(MeasuredCurve(column, times, values, told, "scatter"))
    return Measurement(Path("made.csv"), tuple(curves), ())


if __name__ == "__main__":
    main()
