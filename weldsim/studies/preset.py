"""How far to set a piece off on purpose so that it ends true.

The lean of the free piece is looked for on the nonlinear model: a run tells where the gauge ends,
the lean is changed by what geometry says it moves the gauge, later by what the runs say (Broyden's
secant rule), until a run that has the lean in it ends within tolerance. A bar is one piece and
cannot lean; it is turned as a whole in what holds it, or bent beforehand where its bow is to end at
zero, which changes nothing of the welding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from weldsim.case.load import parse_case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.joints.registry import kind_of_case, lean_of
from weldsim.runs.error_estimate import companion_grade
from weldsim.schema.tolerance import Tolerance, verdict
from weldsim.simulation.steps import build_model, simulate
from weldsim.studies.targets import (
    FAILED,
    chosen_grade,
    columns_of,
    limit_for,
    unit_of,
    until_cold,
    usable_gauge,
)

GOOD = 0.3  # of the tolerance: no further run for less
LARGEST = math.radians(5.0)  # lean; tangents and small rotations are good to 0.4 % up to there
LEAST_EFFECT = 1e-3  # of the gauge's best answer to a lean; a weaker one cannot steer it


@dataclass(frozen=True)
class Trial:
    """One run: lean toward x, y, z [rad], reading by column [mrad, mm], and its size."""

    lean: tuple[float, float, float]
    reading: dict[str, float]
    size: float


@dataclass(frozen=True)
class Preset:
    """A preset that was found, and how.

    Attributes
    ----------
    title, gauge, grade : of the case, the gauge that is to end at zero, grade of the runs
    lean : toward x, y, z [rad]
    turn : turn of a whole bar in what holds it, or its bow before welding, by column, in the
        column's unit; empty for a lean
    trials : all runs in order; one of them has the lean in it, but for a turned bar
    final, unit : how far off the gauge ends
    error : its estimated error; None without a second grade
    error_words : how it was estimated
    tolerance : Tolerance
    verdict : "inside", "outside" or "too close to call"
    direction : in which a bow counts as positive, "+z"; empty for other gauges
    """

    title: str
    gauge: str
    grade: str
    lean: tuple[float, float, float]
    turn: dict[str, float]
    trials: tuple[Trial, ...]
    final: float
    unit: str
    error: float | None
    error_words: str
    tolerance: Tolerance
    verdict: str
    direction: str = ""


def find_preset(
    case, gauge: str | None = None, tolerance=None, grade: str | None = None, runs: int = 4,
    estimate: bool = True, progress=None, threads=None,
) -> Preset:  # fmt: skip
    """Look for the preset with which a gauge ends at zero within tolerance.

    Parameters
    ----------
    case : Case
        A preset it has is where the search starts.
    gauge : str, optional
        A pointer (both its angles), dial, gap or bow; the first such gauge when left out.
    tolerance : str or Tolerance, optional
        "0.5 mrad", "0.3 mm"; the gauge's own, else 1 mrad or 0.5 mm, when left out.
    grade : str, optional
        Of the runs; the case's own when left out.
    runs : int
        At most so many.
    estimate : bool
        Run the found preset one grade coarser too, for the error.
    progress : callable(share, text), optional

    Raises
    ------
    CaseError
        If the part has no piece that can lean, the gauge cannot be steered, or the lean it takes
        is beyond 5 degrees.
    ConvergenceError
        If the runs do not bring it within tolerance; the message lists them.
    """
    if runs < 2:
        raise CaseError(f"preset: {runs} runs are not allowed: at least 2, one to check the lean")
    grade = chosen_grade(grade, case)
    found = usable_gauge(case, gauge)
    unit = unit_of(found)
    limit = limit_for(found, tolerance)
    tell = progress or (lambda share, text: None)
    if kind_of_case(case).leans_in_clamp:
        return _turned(case, found, unit, limit, grade, estimate, tell, threads)
    _can_lean(case)
    trials, best, its_case = _search(case, found, unit, limit, grade, runs, tell, threads)
    error, words = _error(its_case, found, best, grade, estimate, tell, threads)
    said = verdict(1e-3 * best.size, None if error is None else 1e-3 * error, limit)
    return Preset(
        case.title, found.name, grade, best.lean, {}, tuple(trials), best.size, unit, error, words,
        limit, said,
    )  # fmt: skip


def _can_lean(case) -> None:
    if kind_of_case(case).free_height is None:
        raise CaseError(
            f"{case.source_file} [part] kind: a {case.part.kind} has no free piece that could lean"
        )


def with_lean(case, lean):
    """The case with a lean, read anew from its text, so that the text with it says the same."""
    changes = [f'preset.lean_{a}="{lean_text(v)}"' for a, v in zip("xyz", lean, strict=True)]
    return parse_case(case.source_text, case.source_file, (*case.overrides, *changes))


def lean_text(lean: float) -> str:
    """A lean as a case writes it."""
    return f"{1e3 * lean:.3f} mrad"


def _cold(model, tell) -> dict[str, float]:
    """Gauges at the end of a model's case."""
    last = None
    for last in simulate(model):
        tell(last.progress, f"{last.phase}, {last.time:.0f} s")
    return last.gauges.display()


def _trial(case, gauge, grade, tell, threads):
    """A run until cold as a `Trial`, and its model."""
    model = build_model(until_cold(case), grade, threads)
    ends = _cold(model, tell)
    reading = {c: ends[c] for c in columns_of(gauge, model)}
    return Trial(tuple(case.preset), reading, math.hypot(*reading.values())), model


def effect(model, gauge) -> np.ndarray:
    """What a lean toward x, y, z does to the gauge by geometry, (columns, 3). [unit/rad]"""
    columns, small = columns_of(gauge, model), 1e-3
    probe = next(p for p in model.probes if set(columns) <= {c.name for c in p.columns})
    names = [c.name for c in probe.columns]
    rows = [names.index(c) for c in columns]
    factors = np.array([probe.columns[r].factor for r in rows])
    out = np.zeros((len(columns), 3))
    for axis in range(3):
        lean = np.zeros(3)
        lean[axis] = small
        field = lean_of(replace(model.case, preset=tuple(lean)), model.points)
        out[:, axis] = factors * (probe.displacement_map @ field.ravel())[rows] / small
    return out


def _search(case, gauge, unit, limit, grade, runs, tell, threads):
    """Trials until one ends within a share of the tolerance, the best of them and its case."""
    trials, cases, slope, now = [], [], None, case
    for number in range(runs):

        def told(share, text, number=number):
            tell(0.9 * (number + share) / runs, f"run {number + 1}: {text}")

        try:
            trial, model = _trial(now, gauge, grade, told, threads)
        except ConvergenceError:
            if not any(1e-3 * t.size <= limit.value for t in trials):
                raise
            break  # what is within already stands
        trials.append(trial)
        cases.append(now)
        ends = np.array(list(trial.reading.values()))
        if slope is None:
            slope = effect(model, gauge)
            weak = np.linalg.norm(slope, axis=0) < LEAST_EFFECT * np.abs(slope).max()
            slope[:, weak] = 0.0
            if np.abs(slope).max() < 1e-3:
                raise CaseError(f"preset: no lean of this part moves gauge {gauge.name}")
        else:  # Broyden: the slope gives what the last change gave, and is else left alone
            step = np.array(trial.lean) - np.array(trials[-2].lean)
            before = np.array(list(trials[-2].reading.values()))
            missed = ends - before - slope @ step
            slope = slope + np.outer(missed, step) / max(float(step @ step), 1e-30)
        if 1e-3 * trial.size <= GOOD * limit.value and number > 0:
            break
        if number + 1 < runs:
            lean = np.array(trial.lean) - np.linalg.pinv(slope, rcond=1e-3) @ ends
            _not_too_far(lean, case)
            now = with_lean(case, np.round(lean, 6))
    best = min(range(len(trials)), key=lambda i: trials[i].size)
    if 1e-3 * trials[best].size <= limit.value:
        return trials, trials[best], cases[best]
    tried = "; ".join(f"{lean_words(t.lean)} ends {t.size:.3g} {unit} off" for t in trials)
    raise ConvergenceError(
        f"preset: {runs} runs did not bring {gauge.name} within {limit}: {tried}"
    )


def _not_too_far(lean, case) -> None:
    if np.abs(lean).max() > LARGEST:
        raise CaseError(
            f"{case.source_file}: it would take a preset of {math.degrees(np.abs(lean).max()):.1f} "
            f"deg, allowed: up to {math.degrees(LARGEST):.0f} deg; weld less, or in another order"
        )


def _error(case, gauge, trial, grade, estimate, tell, threads):
    """Estimated error of a trial's size, and how."""
    coarser = companion_grade(grade) if estimate else None
    if coarser is None:
        return None, "without an error estimate: no run at a second grade"
    try:  # made for the error alone: if it fails, what the finer runs found still stands
        other, _ = _trial(case, gauge, coarser, lambda s, t: tell(0.9 + 0.1 * s, t), threads)
    except ConvergenceError:
        return None, FAILED
    away = math.hypot(*(other.reading[c] - v for c, v in trial.reading.items()))
    return away, f"difference to the same preset at grade {coarser}; an estimate, no bound"


def _turned(case, gauge, unit, limit, grade, estimate, tell, threads) -> Preset:
    """A bar is turned as a whole, or bent beforehand: its angle or bow adds to what welding does.

    A bar is held at one end at most, so nothing pushes on it that its own shape would change: what
    its bow and that of the weld do to each other is of the second order in its slope.
    """
    if gauge.kind not in ("pointer", "bow"):
        raise CaseError(
            f"{case.source_file} [part] kind: a bar has no free piece that could lean, and turning "
            f"or bending it is not for a {gauge.kind}, allowed: a pointer or bow"
        )
    trial, _ = _trial(case, gauge, grade, lambda s, t: tell(0.9 * s, t), threads)
    error, words = _error(case, gauge, trial, grade, estimate, tell, threads)
    turn = {c: -v for c, v in trial.reading.items()}
    # products of the two turns, or slopes at the ends of the two bows, which are left out
    size = 1e-3 * trial.size
    bent = gauge.kind == "bow"
    left = 1e3 * (size * (4 * size / case.part.length) ** 2 if bent else size**2)
    done, what = ("bent", "bow") if bent else ("turned", "angle")
    said = verdict(1e-3 * left, None if error is None else 1e-3 * error, limit)
    return Preset(
        case.title, gauge.name, grade, (0.0, 0.0, 0.0), turn, (trial,), left, unit, error,
        f"{words}; the {done} bar was not run again: its {what} adds, but for small products",
        limit, said, gauge.direction or "",
    )  # fmt: skip


def lean_words(lean) -> str:
    """A lean as a slope toward each axis."""
    some = [
        f"{1e3 * abs(v):.3g} mm per m toward {'-' if v < 0 else '+'}{a}"
        for a, v in zip("xyz", lean, strict=True)
        if v
    ]
    return " and ".join(some) or "no lean"
