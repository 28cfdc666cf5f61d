"""Bringing a welded part back: where a heating line, or one more bead, turns it the right way.

The finished part is taken as the welding left it, with all strain that is locked in. Lines on the
other faces of a bar, or along the seams of a joint, are first ranked by reciprocity: what a little
shrinkage along each would do to the gauge. The best are then computed on from the finished state.
A bead is computed in both directions; a heating line has no filler and stays under the temperature
up to which straightening is allowed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from weldsim.errors import CaseError, ConvergenceError
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case
from weldsim.materials.material import load_material
from weldsim.physics.inherent_strain import directional
from weldsim.schema.tolerance import Tolerance, verdict
from weldsim.simulation.events import next_event
from weldsim.simulation.heat_stage import heat_through
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate, start_state
from weldsim.studies.correction_lines import candidates, joined, named, turned
from weldsim.studies.influence import influence, quadrature_places
from weldsim.studies.targets import (
    FAILED,
    chosen_grade,
    columns_of,
    grade_below,
    limit_for,
    unit_of,
    until_cold,
    usable_gauge,
)

BAND = 25.0  # K below the limit that a line may stay
SHRINKS = 1e-3  # strain put in to see which way a line turns the part; only its sign counts
NO_ESTIMATE = "without an error estimate: no run at a second grade"
TRIED = 2  # lines that are computed in full, a bead both ways
DEEP = 3  # cells through a wall at least: a line yields the skin alone, which one cell cannot hold


@dataclass(frozen=True)
class Outcome:
    """One line as computed.

    Attributes
    ----------
    name, words : of the line; where it lies
    power : heat the part takes up [W]
    peak : hottest metal under the line [K]
    reading : where the gauge ends, by column [mrad, mm]
    size : how far off that is
    """

    name: str
    words: str
    power: float
    peak: float
    reading: dict[str, float]
    size: float


@dataclass(frozen=True)
class Correction:
    """What was found.

    Attributes
    ----------
    title, gauge, kind, unit : of the case; the gauge; "line" or "bead"; unit of the sizes
    before, before_size : reading of the finished part
    limit : of the peak temperature; None for beads [K]
    promise : line -> change of the gauge along its present error for equal shrinkage, negative
        where it brings the part back; only for comparing lines
    outcomes : lines computed in full, best first
    grade : of the runs
    error, error_from : estimated error of the best outcome's size, as the way between its reading
        and that of the same line one grade coarser; how it was found
    tolerance, verdict : "inside", "outside" or "too close to call"
    """

    title: str
    gauge: str
    kind: str
    unit: str
    before: dict[str, float]
    before_size: float
    limit: float | None
    promise: dict[str, float]
    outcomes: tuple[Outcome, ...]
    grade: str = ""
    error: float | None = None
    error_from: str = NO_ESTIMATE
    tolerance: Tolerance | None = None
    verdict: str = ""

    @property
    def best(self) -> Outcome | None:
        """The line that leaves the part nearest to true; None if none makes it better."""
        better = [o for o in self.outcomes if o.size < self.before_size]
        return better[0] if better else None


def find_correction(
    case, gauge: str | None = None, kind: str = "line", grade: str | None = None,
    limit: float | None = None, tries: int = TRIED, names=None, estimate: bool = True,
    tolerance=None, progress=None, threads=None,
) -> Correction:  # fmt: skip
    """Weld a case, then look for a line that brings its gauge back.

    Parameters
    ----------
    case : Case
        Of the plastic model.
    gauge : str, optional
        A pointer, dial, gap or bow; the first when left out.
    kind : {"line", "bead"}
        A heating line without filler, or one more bead: behind a bar's beads and along its edges,
        on a seam or pass of a joint that the case leaves unwelded.
    limit : float, optional
        Highest temperature under a heating line; the material's own when left out. [K]
    tries : int
        Lines computed in full.
    names : sequence of str, optional
        Look at these of the `candidates` only: each line makes the mesh finer.
    estimate : bool
        Weld and draw the best line one grade coarser too, for the error.
    tolerance : Tolerance or str, optional
        The gauge's own when left out, else a usual one (see `weldsim.studies.targets`).

    Raises
    ------
    CaseError
        If the case has nothing to correct or to correct it with.
    """
    grade, found = chosen_grade(grade, case), usable_gauge(case, gauge)
    allowed = limit_for(found, tolerance)
    if case.solve.model != "plastic":
        raise CaseError(
            f'{case.source_file} [solve] model: {case.solve.model!r} is not allowed here: "plastic"'
        )
    if kind not in ("line", "bead"):
        raise CaseError(f'correct: kind {kind!r} is unknown, allowed: "line" or "bead"')
    top = limit_of(case, limit) if kind == "line" else None
    lines = named(candidates(case, kind), names)
    tell = progress or (lambda share, text: None)
    coarser = grade_below(grade) if estimate else None
    share = 0.85 if coarser else 1.0

    def first(done, text):
        tell(share * done, text)

    before, promise, outcomes = _tried(case, found, lines, kind, grade, top, tries, first, threads)
    size = float(np.linalg.norm(list(before.values())))
    result = Correction(
        case.title, found.name, kind, unit_of(found), before, size, top, promise, outcomes, grade,
        tolerance=allowed,
    )  # fmt: skip
    error, how = None, NO_ESTIMATE
    if coarser and result.best:

        def again(done, text):
            tell(share + (1 - share) * done, f"grade {coarser}: {text}")

        same = [line for line in lines if line[0].name == result.best.name]
        try:  # made for the error alone: if it fails, what the finer runs found still stands
            _, _, others = _tried(case, found, same, kind, coarser, top, 1, again, threads)
            error, how = _way_to(result.best, others, kind, coarser)
        except ConvergenceError:
            how = FAILED
    off = result.best.size if result.best else size
    said = verdict(1e-3 * off, None if error is None else 1e-3 * error, allowed)
    return replace(result, error=error, error_from=how, verdict=said)


def _way_to(best, others, kind: str, grade: str):
    """From the best reading to that of the same line among others, and how that is meant."""
    for other in others:
        if other.words == best.words:
            away = math.hypot(*(other.reading[c] - v for c, v in best.reading.items()))
            return away, f"difference to the same {kind} at grade {grade}; an estimate, no bound"
    return None, f"without an error estimate: at grade {grade} the {kind} could not be computed"


def _tried(case, gauge, lines, kind, grade, top, tries, tell, threads):
    """Weld, rank the lines, compute the best: reading before, promise by name, outcomes."""
    count = len(case.welds)
    whole = with_lines(case, lines)
    model = deep_model(whole, grade, threads)
    state = _without(start_state(model), range(count, len(whole.welds)))
    for step in simulate(model, state):
        state = step.state
        tell(0.5 * step.progress, f"{step.phase}, {step.time:.0f} s")
    columns = columns_of(gauge, model)
    before = {c: v for c, v in model.read(state).display().items() if c in columns}
    off = np.array(list(before.values()))
    promise = {
        whole.welds[i].name: float(_pull(model, state, i, columns) @ off / np.linalg.norm(off))
        for i in range(count, len(whole.welds))
    }
    order = sorted(range(count, len(whole.welds)), key=lambda i: promise[whole.welds[i].name])
    runs = [(i, model) for i in order if promise[whole.welds[i].name] < 0][:tries]
    if kind == "bead":  # which way it travels moves a part as much as where it lies
        back = with_lines(case, [(turned(case, weld), words) for weld, words in lines])
        other = deep_model(back, grade, threads)
        runs = [(i, way) for i, _ in runs for way in (model, other)]
    outcomes = []
    for k, (i, way) in enumerate(runs):

        def told(share, text, k=k):
            tell(0.5 + 0.5 * (k + share) / len(runs), text)

        words = lines[i - count][1]
        if kind == "bead":
            words += f", travel {way.case.welds[i].travel}"
        outcomes.append(_computed(way, state, i, words, top, columns, told))
    return before, promise, tuple(sorted((o for o in outcomes if o), key=lambda o: o.size))


def with_lines(case, lines):
    """The case with all lines as further welds, run until cold; the mesh has room for each."""
    return until_cold(joined(case, lines))


def deep_model(case, grade: str, threads=None):
    """A model with at least `DEEP` cells through the wall, where the joint is made of blocks."""
    level = GRADES[grade]
    if not any(case.preset) and kind_of_case(case).blocks is not None:
        level = replace(level, through_cells=max(DEEP, level.through_cells))
    return build_model(case, level, threads)


def limit_of(case, stated: float | None = None) -> float:
    """Highest temperature under a heating line for the case's material. [K]"""
    material = load_material(case.material_path)
    own = material.straightening_limit if stated is None else stated
    if own is None:
        raise CaseError(
            f"correct: no temperature limit for straightening {case.material_path} is known, "
            'allowed: --limit with one, such as "650 degC"'
        )
    least, most = case.surroundings.ambient + 2 * BAND, material.solidus
    if not least <= own <= most:
        raise CaseError(
            f"correct: a limit of {own - 273.15:.4g} degC is not allowed: {least - 273.15:.4g} to "
            f"{most - 273.15:.4g} degC, below where the metal melts"
        )
    return own


def _without(state, numbers):
    """The state with some welds marked as over though their metal was never laid."""
    starts, stops = state.starts.copy(), state.stops.copy()
    starts[list(numbers)] = stops[list(numbers)] = 0.0
    return replace(state, starts=starts, stops=stops)


def _pull(model, state, weld: int, columns) -> np.ndarray:
    """Change of the gauge's columns for a little shrinkage along and across a line."""
    answer = influence(model, state)
    rows = [answer.columns.index(c) for c in columns]
    seam, spec = model.seams[weld], model.case.welds[weld]
    places = quadrature_places(model)
    along, across, deep = (v.reshape(places.shape[:2]) for v in seam.local(places.reshape(-1, 3)))
    near = (along > 0) & (along < seam.length) & (np.abs(across) < 2 * spec.half_width)
    near &= (deep > 0) & (deep < max(spec.depth, deep[deep > 0].min() * 1.001))
    travel, aside = (f.reshape(*places.shape) for f in seam.frames(places.reshape(-1, 3)))
    share = np.where(near, -SHRINKS, 0.0)
    strain = directional(share, share, travel, aside)
    return np.array([(answer.stress[r] * strain).sum() for r in rows])


def _branch(model, weld: int, power: float):
    """The model with another power under one weld."""
    spec = model.case.welds[weld]
    current = spec.current * power / spec.power
    welds = tuple(replace(w, current=current) if i == weld else w
                  for i, w in enumerate(model.case.welds))  # fmt: skip
    return model.for_case(replace(model.case, welds=welds))


def _opened(state, weld: int):
    """The finished state with a line still ahead; peak temperatures count anew."""
    starts, stops = state.starts.copy(), state.stops.copy()
    starts[weld] = stops[weld] = np.nan
    return replace(state, starts=starts, stops=stops, peak_temperature=state.temperature.copy())


def peak_under(model, state, weld: int) -> float:
    """Hottest metal while a line is drawn, from the heat alone. [K]"""
    while np.isnan(state.stops[weld]):
        state, _ = heat_through(model, state, next_event(model, state))
    return float(state.peak_temperature.max())


def power_for(model, state, weld: int, limit: float) -> tuple[float, float]:
    """Power with which a line stays within `BAND` under a limit, and its peak. [W, K]

    Raises
    ------
    ConvergenceError
        If none is found in a few tries.
    """
    power, cold = model.case.welds[weld].power, float(state.temperature.max())
    for _ in range(8):
        peak = peak_under(_branch(model, weld, power), state, weld)
        if limit - BAND <= peak <= limit:
            return power, peak
        power *= (limit - BAND / 2 - cold) / (peak - cold)
    raise ConvergenceError(
        f"correct: {model.case.welds[weld].name}: no power keeps it at {limit - 273.15:.0f} degC"
    )


def _computed(model, state, weld: int, words: str, limit, columns, tell) -> Outcome | None:
    """A line computed on from the finished part; None where it fails."""
    opened, power = _opened(state, weld), model.case.welds[weld].power
    name = model.case.welds[weld].name
    try:
        if limit is not None:
            power, _ = power_for(model, opened, weld, limit)
        branch, now = _branch(model, weld, power), opened
        for step in simulate(branch, opened):
            now = step.state
            tell(min(step.progress, 1.0), f"{name}, {step.time:.0f} s")
    except ConvergenceError:
        return None
    ends = branch.read(now).display()
    reading = {c: ends[c] for c in columns}
    size = float(np.linalg.norm(list(reading.values())))
    return Outcome(name, words, power, float(now.peak_temperature.max()), reading, size)
