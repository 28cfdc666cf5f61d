"""How far to set a piece off on purpose so that it ends true.

The lean of the free piece is looked for on the nonlinear model: a run tells where the gauge ends,
the lean is changed by what geometry says it moves the gauge, later by what the runs say (Broyden's
secant rule), until a run that has the lean in it ends within tolerance. A bar is one piece and
cannot lean; it is turned as a whole in what holds it, or bent beforehand where its bow is to end at
zero, which changes nothing of the welding.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.joints.registry import kind_of_case, lean_of
from weldsim.runs.error_estimate import ErrorEstimate, companion_grade, estimate_error
from weldsim.schema.column import Column, Readings
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.steps import Step, start_state
from weldsim.studies.kept_runs import run_on
from weldsim.studies.targets import (
    USUAL_OPTIONS,
    Searched,
    SearchOptions,
    Target,
    size_of,
    target_of,
    until_cold,
)

GOOD_SHARE = 0.3  # of the tolerance: no further run for less
LARGEST_LEAN = math.radians(5.0)  # tangents and small rotations are good to 0.4 % up to there
LEAST_EFFECT = 1e-3  # of the gauge's best answer to a lean; a weaker one cannot steer it
LEAN_STEP = 1e-3  # rad, with which the effect of a lean is measured
SEARCH_SHARE = 0.9  # of the progress; the rest is the run for the error


@dataclass(frozen=True)
class Trial:
    """One run.

    Attributes
    ----------
    lean : tuple of float
        Toward x, y, z. [rad]
    reading : dict of Column to float
        [rad, m]
    """

    lean: tuple[float, float, float]
    reading: dict[Column, float]

    @property
    def size(self) -> float:
        """How far off the gauge ends. [rad or m]"""
        return size_of(self.reading)


@dataclass(frozen=True)
class Preset(Searched):
    """A preset that was found, and how.

    Attributes
    ----------
    lean : tuple of float
        Toward x, y, z. [rad]
    turn : dict of Column to float
        Turn of a whole bar in what holds it, or its bow before welding; empty for a lean.
        [rad or m]
    trials : tuple of Trial
        All runs in order; one of them has the lean in it, but for a turned bar.
    final : float
        How far off the gauge ends. [rad or m]
    """

    lean: tuple[float, float, float]
    turn: dict[Column, float]
    trials: tuple[Trial, ...]
    final: float


def find_preset(
    case: Case,
    target: Target | None = None,
    runs: int = 4,
    options: SearchOptions = USUAL_OPTIONS,
) -> Preset:
    """Look for the preset with which a gauge ends at zero within tolerance.

    Parameters
    ----------
    case : Case
        A preset it has is where the search starts.
    target : Target, optional
        See `target_of`; its first gauge that reads movement when left out.
    runs : int
        At most so many, and at least two.
    options : SearchOptions, optional
        How the runs are made.

    Returns
    -------
    Preset
        With the lean or turn, where the gauge ends with it, and how sure that is.

    Raises
    ------
    CaseError
        If the part has no piece that can lean, the gauge cannot be steered, or the lean it takes
        is beyond 5 degrees.
    ConvergenceError
        If the runs do not bring it within tolerance; the message lists them.
    """
    if runs < 2:
        raise CaseError(f"preset: {runs} runs are not allowed: at least 2, one to check the tilt")
    target = target or target_of(case)
    if kind_of_case(case).leans_in_clamp:
        return _turned(case, target, options)
    _can_lean(case)
    search = _Search(case, target, runs, options)
    best = search.best()
    estimate = _error(with_lean(case, best.lean), target, best, options)
    said = target.verdict(best.size, estimate.size())
    return Preset(
        case.title, target, estimate, said, best.lean, {}, tuple(search.trials), best.size
    )


def _can_lean(case: Case) -> None:
    if kind_of_case(case).free_height is None:
        raise CaseError(
            f"{case.source_file} [part] kind: a {case.part.kind} has no free piece to tilt"
        )


def with_lean(case: Case, lean: tuple[float, float, float]) -> Case:
    """The case with a lean toward x, y, z. [rad]"""
    if tuple(lean) == tuple(case.preset):
        return case
    changes = {f"preset.tilt_{a}": float(v) for a, v in zip("xyz", lean, strict=True)}
    return case.with_changes(changes)


def lean_text(lean: float) -> str:
    """A lean as a case writes it."""
    return f"{1e3 * lean:.3f} mrad"


def lean_words(lean: tuple[float, float, float]) -> str:
    """A lean as a slope toward each axis."""
    some = [
        f"{1e3 * abs(v):.3g} mm per m toward {'-' if v < 0 else '+'}{a}"
        for a, v in zip("xyz", lean, strict=True)
        if v
    ]
    return " and ".join(some) or "no tilt"


def cold_reading(model: Model, options: SearchOptions) -> Readings:
    """Gauges at the end of a model's case. [SI]"""

    def tell(step: Step) -> None:
        options.progress(step.progress, f"{step.phase}, {step.time:.0f} s")

    return model.read(run_on(model, start_state(model), tell, options.kept))


def run_trial(case: Case, target: Target, options: SearchOptions) -> tuple[Trial, Model]:
    """A run until cold at the grade of a target, and its model."""
    cold, kept = until_cold(case), options.kept
    model = build_model(cold, target.grade, options.threads)
    known = kept.get(cold, target.grade) if kept else None
    readings = known[0] if known else cold_reading(model, options)
    if kept and not known:
        kept.put(cold, target.grade, readings)
        kept.drop_state(model)
    return Trial(tuple(case.preset), target.reading(readings)), model


def effect(model: Model, target: Target) -> np.ndarray:
    """What a lean toward x, y, z does to a gauge by geometry, (columns, 3). [rad/rad or m/rad]"""
    columns = target.columns
    probe = next(p for p in model.probes if set(columns) <= set(p.columns))
    rows = [probe.columns.index(c) for c in columns]
    out = np.zeros((len(columns), 3))
    for axis in range(3):
        lean = np.zeros(3)
        lean[axis] = LEAN_STEP
        field = lean_of(replace(model.case, preset=tuple(lean)), model.points)
        out[:, axis] = (probe.displacement_map @ field.ravel())[rows] / LEAN_STEP
    return out


class _Search:
    """Trials until one ends within a share of the tolerance."""

    def __init__(self, case: Case, target: Target, runs: int, options: SearchOptions) -> None:
        self.case, self.target, self.runs, self.options = case, target, runs, options
        self.trials: list[Trial] = []
        self.slope = np.zeros((0, 3))  # of the columns with the lean, as known so far

    def best(self) -> Trial:
        """The trial nearest to true; `ConvergenceError` if none is within tolerance."""
        lean, limit = tuple(self.case.preset), self.target.tolerance.value
        for number in range(self.runs):
            try:
                trial = self._run(number, lean)
            except ConvergenceError:
                if not any(t.size <= limit for t in self.trials):
                    raise
                break  # what is within already stands
            if trial.size <= GOOD_SHARE * limit and number > 0:
                break
            if number + 1 < self.runs:
                ends = np.array(list(trial.reading.values()))
                step = np.linalg.pinv(self.slope, rcond=1e-3) @ ends
                wanted = np.round(np.array(trial.lean) - step, 6)  # as a case writes it
                _not_too_far(wanted, self.case)
                lean = tuple(wanted.tolist())
        found = min(self.trials, key=lambda t: t.size)
        if found.size > limit:
            raise ConvergenceError(self._in_vain())
        return found

    def _run(self, number: int, lean: tuple[float, float, float]) -> Trial:
        def told(share: float, text: str) -> None:
            done = SEARCH_SHARE * (number + share) / self.runs
            self.options.progress(done, f"run {number + 1}: {text}")

        case = with_lean(self.case, lean)
        trial, model = run_trial(case, self.target, replace(self.options, progress=told))
        self.trials.append(trial)
        self.slope = self._first_slope(model) if number == 0 else self._learned()
        return trial

    def _first_slope(self, model: Model) -> np.ndarray:
        slope = effect(model, self.target)
        weak = np.linalg.norm(slope, axis=0) < LEAST_EFFECT * np.abs(slope).max()
        slope[:, weak] = 0.0
        if np.abs(slope).max() < 1e-6:
            raise CaseError(f"preset: no tilt of this part moves gauge {self.target.gauge.name}")
        return slope

    def _learned(self) -> np.ndarray:
        """Broyden: the slope gives what the last change gave, and is else left alone."""
        before, now = self.trials[-2:]
        step = np.array(now.lean) - np.array(before.lean)
        moved = np.array([now.reading[c] - before.reading[c] for c in now.reading])
        missed = moved - self.slope @ step
        return self.slope + np.outer(missed, step) / max(float(step @ step), 1e-30)

    def _in_vain(self) -> str:
        target = self.target
        tried = "; ".join(
            f"{lean_words(t.lean)} ends {target.said(t.size)} off" for t in self.trials
        )
        return (
            f"preset: {self.runs} runs did not bring {target.gauge.name} within "
            f"{target.tolerance}: {tried}"
        )


def _not_too_far(lean: np.ndarray, case: Case) -> None:
    if np.abs(lean).max() > LARGEST_LEAN:
        raise CaseError(
            f"{case.source_file}: it would take a preset of {math.degrees(np.abs(lean).max()):.1f}"
            f"°, allowed: up to {math.degrees(LARGEST_LEAN):.0f}°; weld less or in another sequence"
        )


def _error(case: Case, target: Target, trial: Trial, options: SearchOptions) -> ErrorEstimate:
    """Estimated error of a trial's reading, from the same preset one grade coarser. [SI]"""

    def told(share: float, text: str) -> None:
        options.progress(SEARCH_SHARE + (1 - SEARCH_SHARE) * share, text)

    def run_at(grade: str) -> Mapping[Column, float]:
        coarse = replace(target, grade=grade)
        return run_trial(case, coarse, replace(options, progress=told))[0].reading

    coarser = companion_grade(target.grade) if options.estimate else None
    return estimate_error(trial.reading, coarser, run_at, "preset")


def _turned(case: Case, target: Target, options: SearchOptions) -> Preset:
    """A bar is turned as a whole, or bent beforehand: its angle or bow adds to what welding does.

    A bar is held at one end at most, so nothing pushes on it that its own shape would change: what
    its bow and that of the weld do to each other is of the second order in its slope.
    """
    kind = target.gauge.kind
    if kind not in ("pointer", "bow"):
        raise CaseError(
            f"{case.source_file} [part] kind: a bar has no free piece to tilt, and turning "
            f"or bending it is not for a {kind}, allowed: a pointer or bow"
        )

    def told(share: float, text: str) -> None:
        options.progress(SEARCH_SHARE * share, text)

    trial, _ = run_trial(case, target, replace(options, progress=told))
    estimate = _error(case, target, trial, options)
    turn = {c: -v for c, v in trial.reading.items()}
    # products of the two turns, or slopes at the ends of the two bows, which are left out
    left = trial.size**2
    if kind == "bow":
        left = trial.size * (4 * trial.size / case.part.length) ** 2
    said = target.verdict(left, estimate.size())
    return Preset(case.title, target, estimate, said, (0.0, 0.0, 0.0), turn, (trial,), left)
