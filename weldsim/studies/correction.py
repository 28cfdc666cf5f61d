"""Bringing a welded part back: where a heating line, or one more bead, turns it the right way.

The finished part is taken as the welding left it, with all strain that is locked in. Lines on the
other faces of a bar, or along the seams of a joint, are first ranked by reciprocity: what a little
shrinkage along each would do to the gauge. The best are then computed on from the finished state.
A bead is computed in both directions; a heating line has no filler and stays under the temperature
up to which straightening is allowed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case
from weldsim.physics.inherent_strain import directional
from weldsim.runs.error_estimate import ErrorEstimate, estimate_error, grade_below
from weldsim.schema.column import Column
from weldsim.schema.records import Weld
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.state import State
from weldsim.simulation.steps import Step, start_state
from weldsim.studies.correction_lines import candidates, joined, named, turned
from weldsim.studies.influence import influence, quadrature_places
from weldsim.studies.kept_runs import KeptRuns, run_on
from weldsim.studies.line_power import limit_of, opened, power_for, with_power, without_welds
from weldsim.studies.targets import (
    USUAL_OPTIONS,
    Searched,
    SearchOptions,
    Target,
    size_of,
    target_of,
    until_cold,
)

PROBE_SHRINKAGE = 1e-3  # strain put in to see which way a line turns the part; its sign counts
LEAST_CELLS_THROUGH = 3  # of a wall: a line yields the skin alone, which one cell cannot hold
SEARCH_SHARE = 0.85  # of the progress, where there is a run for the error

Line = tuple[Weld, str]  # a line as a further weld, and where it lies in words


@dataclass(frozen=True)
class LineChoice:
    """Which lines are looked at.

    Attributes
    ----------
    kind : {"line", "bead"}
        A heating line without filler, or one more bead: behind a bar's beads and along its edges,
        on a seam or pass of a joint that the case leaves unwelded.
    limit : float or None
        Highest temperature under a heating line; the material's own when None. [K]
    names : sequence of str or None
        Look at these of the `candidates` only: each line makes the mesh finer.
    most_computed : int
        Lines computed in full, a bead both ways.
    """

    kind: str = "line"
    limit: float | None = None
    names: Sequence[str] | None = None
    most_computed: int = 2


@dataclass(frozen=True)
class Outcome:
    """One line as computed.

    Attributes
    ----------
    name, words : str
        Of the line; where it lies.
    power : float
        Heat the part takes up. [W]
    peak : float
        Hottest metal under the line. [K]
    reading : dict of Column to float
        Where the gauge ends. [rad, m]
    """

    name: str
    words: str
    power: float
    peak: float
    reading: dict[Column, float]

    @property
    def size(self) -> float:
        """How far off the gauge ends. [rad or m]"""
        return size_of(self.reading)


@dataclass(frozen=True)
class Correction(Searched):
    """What was found.

    Attributes
    ----------
    kind : str
        "line" or "bead".
    before : dict of Column to float
        Reading of the finished part. [rad, m]
    limit : float or None
        Of the peak temperature; None for beads. [K]
    promise : dict of str to float
        Line -> change of the gauge along its present error for equal shrinkage, negative where it
        brings the part back; only for comparing lines. [rad or m]
    outcomes : tuple of Outcome
        Lines computed in full, best first.
    """

    kind: str
    before: dict[Column, float]
    limit: float | None
    promise: dict[str, float]
    outcomes: tuple[Outcome, ...]

    @property
    def before_size(self) -> float:
        """How far off the finished part stands. [rad or m]"""
        return size_of(self.before)

    @property
    def best(self) -> Outcome | None:
        """The line that leaves the part nearest to true; None if none makes it better."""
        better = [o for o in self.outcomes if o.size < self.before_size]
        return better[0] if better else None


def find_correction(
    case: Case,
    target: Target | None = None,
    choice: LineChoice = LineChoice(),
    options: SearchOptions = USUAL_OPTIONS,
) -> Correction:
    """Weld a case, then look for a line that brings its gauge back.

    Parameters
    ----------
    case : Case
        Of the plastic model.
    target : Target, optional
        See `target_of`; its first gauge that reads movement when left out.
    choice : LineChoice, optional
        Which lines are looked at.
    options : SearchOptions, optional
        With an estimate, the best line is computed one grade coarser too.

    Returns
    -------
    Correction
        Lines computed in full, best first, and how sure the best is.

    Raises
    ------
    CaseError
        If the case has nothing to correct or to correct it with.
    """
    target, kind = target or target_of(case), choice.kind
    if case.solve.model != "plastic":
        raise CaseError(
            f'{case.source_file} [solve] model: {case.solve.model!r} is not allowed here: "plastic"'
        )
    if kind not in ("line", "bead"):
        raise CaseError(f'correct: kind {kind!r} is unknown, allowed: "line" or "bead"')
    top = limit_of(case, choice.limit) if kind == "line" else None
    lines = named(candidates(case, kind), choice.names)
    coarser = grade_below(target.grade) if options.estimate else None
    share = SEARCH_SHARE if coarser else 1.0
    choice = replace(choice, limit=top)
    first = replace(options, progress=lambda done, text: options.progress(share * done, text))
    before, promise, outcomes = computed_lines(case, target, lines, choice, first)
    found = Correction(
        case.title, target, ErrorEstimate(), "", kind, before, top, promise, outcomes
    )
    off = found.before_size
    if found.best is not None:
        off = found.best.size
        found = replace(found, estimate=_error(case, found, lines, choice, options, coarser))
    return replace(found, verdict=target.verdict(off, found.error))


def _error(
    case: Case,
    found: Correction,
    lines: Sequence[Line],
    choice: LineChoice,
    options: SearchOptions,
    coarser: str | None,
) -> ErrorEstimate:
    """Estimated error of the best reading, from the same line one grade coarser. [SI]"""
    best = found.best
    same = [line for line in lines if line[0].name == best.name]

    def told(done: float, text: str) -> None:
        options.progress(SEARCH_SHARE + (1 - SEARCH_SHARE) * done, f"grade {coarser}: {text}")

    def run_at(grade: str) -> Mapping[Column, float]:
        target = replace(found.target, grade=grade)
        one = replace(choice, most_computed=1)
        _, _, others = computed_lines(case, target, same, one, replace(options, progress=told))
        for other in others:
            if other.words == best.words:
                return other.reading
        raise ConvergenceError(missing)  # the coarser run welded the part, but not this line

    missing = f"at grade {coarser} the {found.kind} could not be computed"
    sure = estimate_error(best.reading, coarser, run_at, found.kind)
    if sure.trouble == missing:
        return replace(sure, how=f"without an estimated error: {missing}")
    return sure


def computed_lines(
    case: Case, target: Target, lines: Sequence[Line], choice: LineChoice, options: SearchOptions
) -> tuple[dict[Column, float], dict[str, float], tuple[Outcome, ...]]:
    """Weld, rank the lines, compute the best: reading before, promise by name, outcomes."""
    count = len(case.welds)
    model = deep_model(with_lines(case, lines), target.grade, options.threads)
    further = range(count, count + len(lines))

    def welding(step: Step) -> None:
        options.progress(0.5 * step.progress, f"{step.phase}, {step.time:.0f} s")

    state = run_on(model, without_welds(start_state(model), further), welding, options.kept)
    before = target.reading(model.read(state))
    off = np.array(list(before.values())) / size_of(before)
    promise = {
        model.case.welds[i].name: float(pull(model, state, i, target.columns) @ off)
        for i in further
    }
    order = sorted(further, key=lambda i: promise[model.case.welds[i].name])
    best = [i for i in order if promise[model.case.welds[i].name] < 0][: choice.most_computed]
    runs = [(i, model) for i in best]
    if choice.kind == "bead":  # which way it travels moves a part as much as where it lies
        back = with_lines(case, [(turned(case, weld), words) for weld, words in lines])
        other = deep_model(back, target.grade, options.threads)
        runs = [(i, way) for i in best for way in (model, other)]
    outcomes = []
    for k, (i, way) in enumerate(runs):

        def told(share: float, text: str, k: int = k) -> None:
            options.progress(0.5 + 0.5 * (k + share) / len(runs), text)

        words = lines[i - count][1]
        if choice.kind == "bead":
            words += f", travel {way.case.welds[i].travel}"
        outcome = _computed(way, state, i, target, choice.limit, told, options.kept)
        if outcome is not None:
            outcomes.append(replace(outcome, words=words))
    return before, promise, tuple(sorted(outcomes, key=lambda o: o.size))


def with_lines(case: Case, lines: Sequence[Line]) -> Case:
    """The case with all lines as further welds, run until cold; the mesh has room for each."""
    return until_cold(joined(case, lines))


def deep_model(case: Case, grade: str, threads: int | None = None) -> Model:
    """A model with `LEAST_CELLS_THROUGH` a wall at least, where the joint is made of blocks."""
    level = GRADES[grade]
    if not any(case.preset) and kind_of_case(case).blocks is not None:
        level = replace(level, through_cells=max(LEAST_CELLS_THROUGH, level.through_cells))
    return build_model(case, level, threads)


def pull(model: Model, state: State, weld: int, columns: Sequence[Column]) -> np.ndarray:
    """Change of a gauge's columns for a little shrinkage along and across a line. [rad or m]"""
    answer = influence(model, state)
    rows = [answer.columns.index(c) for c in columns]
    seam, spec = model.seams[weld], model.case.welds[weld]
    places = quadrature_places(model)
    along, across, deep = (v.reshape(places.shape[:2]) for v in seam.local(places.reshape(-1, 3)))
    near = (along > 0) & (along < seam.length) & (np.abs(across) < 2 * spec.arc.half_width)
    near &= (deep > 0) & (deep < max(spec.arc.depth, deep[deep > 0].min() * 1.001))
    travel, aside = (f.reshape(*places.shape) for f in seam.frames(places.reshape(-1, 3)))
    share = np.where(near, -PROBE_SHRINKAGE, 0.0)
    strain = directional(share, share, travel, aside)
    return np.array([(answer.stress[r] * strain).sum() for r in rows])


def _computed(
    model: Model, state: State, weld: int, target: Target, limit: float | None,
    tell: Callable[[float, str], None], kept: KeptRuns | None,
) -> Outcome | None:  # fmt: skip
    """A line computed on from the finished part; None where it fails."""
    now, power = opened(state, weld), model.case.welds[weld].arc.power
    name = model.case.welds[weld].name

    def drawing(step: Step) -> None:
        tell(min(step.progress, 1.0), f"{name}, {step.time:.0f} s")

    try:
        if limit is not None:
            power, _ = power_for(model, now, weld, limit)
        branch = with_power(model, weld, power)
        now = run_on(branch, now, drawing, kept, f"line {name}")
    except ConvergenceError:
        return None
    reading = target.reading(branch.read(now))
    return Outcome(name, "", power, float(now.peak_temperature.max()), reading)
