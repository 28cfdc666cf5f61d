"""Where to clamp a piece while it is welded so that it ends true once it is cold and let go.

The free end faces of a joint, alone and then together, are clamped until the part is cold, at most
`MOST_RUNS` sets and the smallest first; each is a run of the nonlinear model with the clamps in it,
the part as it is being one of them. So what is found is verified by the run that found it; its
error is the step to one grade coarser.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.joints.registry import KINDS, faces_of, joint_kind
from weldsim.runs.error_estimate import ErrorEstimate, companion_grade, estimate_error
from weldsim.schema.column import Column
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate
from weldsim.studies.targets import (
    USUAL_OPTIONS,
    Searched,
    SearchOptions,
    Target,
    size_of,
    target_of,
    until_cold,
)

MOST_RUNS = 8  # choices that are run
SEARCH_SHARE = 0.9  # of the progress; the rest is the run for the error


@dataclass(frozen=True)
class ClampChoice:
    """One choice as run.

    Attributes
    ----------
    faces : tuple of str
        Clamped until cold, beside what the case clamps; none for the case as it is.
    reading : dict of Column to float
        Where the gauge ends; empty where the run failed. [rad, m]
    force : float
        Largest force of the added clamps while they are closed. [N]
    error : str
        Why there is nothing, else "".
    """

    faces: tuple[str, ...]
    reading: dict[Column, float]
    force: float
    error: str = ""

    @property
    def size(self) -> float:
        """How far off the gauge ends; infinite where the run failed. [rad or m]"""
        return math.inf if self.error else size_of(self.reading)


@dataclass(frozen=True)
class ClampSearch(Searched):
    """Choices of clamps, best first, and what is known of the best.

    Attributes
    ----------
    choices : tuple of ClampChoice
        All that were run, those that failed at the end.
    untried : int
        Sets of faces beyond `MOST_RUNS`, which were not run.
    """

    choices: tuple[ClampChoice, ...]
    untried: int

    @property
    def best(self) -> ClampChoice:
        """The choice with which the gauge ends nearest to zero."""
        return self.choices[0]


def find_clamps(
    case: Case, target: Target | None = None, options: SearchOptions = USUAL_OPTIONS
) -> ClampSearch:
    """Run a case with its free end faces clamped until cold, alone and together, and rank them.

    Parameters
    ----------
    case : Case
        Of a joint; its own clamps stay.
    target : Target, optional
        See `target_of`; its first gauge that reads movement when left out.
    options : SearchOptions, optional
        How the runs are made.

    Returns
    -------
    ClampSearch
        Choices, best first, and how sure the best is.

    Raises
    ------
    CaseError
        If the joint has no free end face to clamp.
    ConvergenceError
        If no choice could be computed.
    """
    target = target or target_of(case)
    every, ran = choices_of(case), []
    choices = every[:MOST_RUNS]
    for number, faces in enumerate(choices):

        def told(share: float, text: str, number: int = number, faces=faces) -> None:
            where = " and ".join(faces) or "as it is"
            options.progress(SEARCH_SHARE * (number + share) / len(choices), f"{where}: {text}")

        ran.append(run_choice(case, faces, target, replace(options, progress=told)))
    ran.sort(key=lambda c: (bool(c.error), c.size, len(c.faces)))
    best = ran[0]
    if best.error:
        raise ConvergenceError(f"preset: no set of clamps could be computed: {best.error}")
    estimate = _error(case, target, best, options)
    return ClampSearch(
        case.title, target, estimate, target.verdict(best.size, estimate.size()), tuple(ran),
        len(every) - len(choices),
    )  # fmt: skip


def _error(
    case: Case, target: Target, choice: ClampChoice, options: SearchOptions
) -> ErrorEstimate:
    """Estimated error of a choice's reading, from the same clamps one grade coarser. [SI]"""

    def told(share: float, text: str) -> None:
        options.progress(SEARCH_SHARE + (1 - SEARCH_SHARE) * share, text)

    def run_at(grade: str) -> Mapping[Column, float]:
        coarse = replace(target, grade=grade)
        found = run_choice(case, choice.faces, coarse, replace(options, progress=told))
        if found.error:
            raise ConvergenceError(found.error)
        return found.reading

    coarser = companion_grade(target.grade) if options.estimate else None
    return estimate_error(choice.reading, coarser, run_at, "clamps")


def choices_of(case) -> list[tuple[str, ...]]:
    """Sets of free end faces to clamp, fewest first; the first is none at all."""
    kind = case.part.kind
    known = kind in KINDS and "clamp" in joint_kind(kind).sections
    clamped = {face for clamp in case.clamps for face in clamp.at}
    free = [face for face in (faces_of(case.part) if known else ()) if face not in clamped]
    if not free:
        raise CaseError(
            f"{case.source_file} [part] kind: this {kind} has no free end face that could be "
            "clamped, allowed: a joint with one; a bar is held by [clamping] alone"
        )
    return [f for count in range(len(free) + 1) for f in combinations(free, count)]


def with_clamps(case: Case, faces: Sequence[str]) -> Case:
    """The case with rigid clamps on some faces until it is cold."""
    if not faces:
        return case
    return case.with_changes({"clamp": [*case.tables.get("clamp", ()), *clamp_tables(faces)]})


def clamp_tables(faces: Sequence[str]) -> list[dict[str, str]]:
    """Clamps on some faces as a case file has them."""
    return [{"name": _name(f), "at": f, "kind": "rigid", "off": "cold"} for f in faces]


def _name(face: str) -> str:
    return "held-" + face.replace(" ", "-")


def run_choice(
    case: Case, faces: tuple[str, ...], target: Target, options: SearchOptions
) -> ClampChoice:
    """A run with some faces clamped, at the grade of a target."""
    force, last, kept = 0.0, None, options.kept
    cold = until_cold(with_clamps(case, faces))
    if kept and (known := kept.get(cold, target.grade)):
        return ClampChoice(faces, target.reading(known[0]), known[1])
    try:
        model = build_model(cold, target.grade, options.threads)
        own = {_name(f): model.clamp_points(_name(f)) for f in faces}
        for last in simulate(model):
            options.progress(last.progress, f"{last.phase}, {last.time:.0f} s")
            reaction = last.state.reaction
            forces = [
                float(np.linalg.norm(reaction[points].sum(axis=0)))
                for name, points in own.items()
                if name in last.state.closed_clamps
            ]
            force = max([force, *forces])
    except ConvergenceError as error:
        return ClampChoice(faces, {}, force, str(error).splitlines()[0])
    if kept:
        kept.put(cold, target.grade, last.gauges, force)
    return ClampChoice(faces, target.reading(last.gauges), force)
