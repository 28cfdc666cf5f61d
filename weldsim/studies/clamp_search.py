"""Where to clamp a piece while it is welded so that it ends true once it is cold and let go.

The free end faces of a joint, alone and then together, are held until the part is cold, `MOST` sets
at most and the smallest first; each is a run of the nonlinear model with the clamps in it, the part
as it is being one of them. So what is found is verified by the run that found it; its error is the
step to one grade coarser.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

from weldsim.case.load import parse_case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.joints.registry import KINDS, faces_of, joint_kind
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

MOST_RUNS = 8  # choices that are run


@dataclass(frozen=True)
class ClampChoice:
    """One choice as run.

    Attributes
    ----------
    faces : held until cold, beside what the case holds; none for the case as it is
    reading : where the gauge ends, by column [mrad, mm]
    size : how far off that is
    force : largest force of the added clamps while they hold [N]
    error : why there is nothing, else ""
    """

    faces: tuple[str, ...]
    reading: dict[str, float]
    size: float
    force: float
    error: str = ""


@dataclass(frozen=True)
class ClampSearch:
    """Choices of clamps, best first, and what is known of the best.

    Attributes
    ----------
    title, gauge, unit, grade : of the case; the gauge that is to end at zero
    choices : all that were run, those that failed at the end
    untried : sets of faces beyond `MOST`, which were not run
    error : estimated error of the first one's size; None without a second grade
    error_words : how it was estimated
    tolerance : Tolerance
    verdict : "inside", "outside" or "too close to call"
    """

    title: str
    gauge: str
    unit: str
    grade: str
    choices: tuple[ClampChoice, ...]
    untried: int
    error: float | None
    error_words: str
    tolerance: Tolerance
    verdict: str

    @property
    def best(self) -> ClampChoice:
        return self.choices[0]


def find_clamps(
    case, gauge=None, tolerance=None, grade=None, estimate=True, progress=None, threads=None
) -> ClampSearch:
    """Run a case with its free end faces held until cold, alone and together, and rank them.

    Parameters
    ----------
    case : Case
        Of a joint; its own clamps stay.
    gauge : str, optional
        A pointer (both its angles), dial, gap or bow; the first such gauge when left out.
    tolerance : str or Tolerance, optional
        The gauge's own, else 1 mrad or 0.5 mm, when left out.
    grade : str, optional
        The case's own when left out.
    estimate : bool
        Run the best choice one grade coarser too, for the error.
    progress : callable(share, text), optional

    Raises
    ------
    CaseError
        If the joint has no free end face to hold.
    ConvergenceError
        If no choice could be computed.
    """
    grade = chosen_grade(grade, case)
    found = usable_gauge(case, gauge)
    unit, limit = unit_of(found), limit_for(found, tolerance)
    tell = progress or (lambda share, text: None)
    every, ran = choices_of(case), []
    choices = every[:MOST_RUNS]
    for number, faces in enumerate(choices):

        def told(share, text, number=number, faces=faces):
            where = " and ".join(faces) or "as it is"
            tell(0.9 * (number + share) / len(choices), f"{where}: {text}")

        ran.append(_run(case, faces, found, grade, told, threads))
    ran.sort(key=lambda h: (bool(h.error), h.size, len(h.faces)))
    best = ran[0]
    if best.error:
        raise ConvergenceError(f"preset: no choice of clamps could be computed: {best.error}")
    error, words = None, "without an error estimate: no run at a second grade"
    coarser = companion_grade(grade) if estimate else None
    if coarser:
        again = _run(case, best.faces, found, coarser, lambda s, t: tell(0.9 + 0.1 * s, t), threads)
        words = FAILED
        if not again.error:
            error = math.hypot(*(again.reading[c] - v for c, v in best.reading.items()))
            words = f"difference to the same clamps at grade {coarser}; an estimate, no bound"
    said = verdict(1e-3 * best.size, None if error is None else 1e-3 * error, limit)
    return ClampSearch(
        case.title, found.name, unit, grade, tuple(ran), len(every) - len(choices), error, words,
        limit, said,
    )  # fmt: skip


def choices_of(case) -> list[tuple[str, ...]]:
    """Sets of free end faces to hold, fewest first; the first is none at all."""
    kind = case.part.kind
    known = kind in KINDS and "clamp" in joint_kind(kind).sections
    held = {face for clamp in case.clamps for face in clamp.at}
    free = [face for face in (faces_of(case.part) if known else ()) if face not in held]
    if not free:
        raise CaseError(
            f"{case.source_file} [part] kind: this {kind} has no free end face that could be "
            "clamped, allowed: a joint with one; a bar is held by [hold] alone"
        )
    return [f for count in range(len(free) + 1) for f in combinations(free, count)]


def with_clamps(case, faces):
    """The case with rigid clamps on some faces until it is cold, read anew from its text."""
    import tomllib

    import tomli_w

    if not faces:
        return case
    tables = tomllib.loads(case.source_text)
    tables["clamp"] = [*tables.get("clamp", ()), *clamp_tables(faces)]
    return parse_case(tomli_w.dumps(tables), case.source_file, case.overrides)


def clamp_tables(faces) -> list[dict]:
    """Clamps on some faces as a case file has them."""
    return [{"name": _name(f), "at": f, "kind": "rigid", "off": "cold"} for f in faces]


def _name(face: str) -> str:
    return "held-" + face.replace(" ", "-")


def _run(case, faces, gauge, grade, tell, threads) -> ClampChoice:
    """A run with some faces held."""
    import numpy as np

    force, last = 0.0, None
    try:
        model = build_model(until_cold(with_clamps(case, faces)), grade, threads)
        own = {_name(f): model.clamp_points(_name(f)) for f in faces}
        for last in simulate(model):
            tell(last.progress, f"{last.phase}, {last.time:.0f} s")
            reaction = last.state.reaction
            force = max(
                [force, *(float(np.linalg.norm(reaction[points].sum(axis=0)))
                          for name, points in own.items() if name in last.state.closed_clamps)]
            )  # fmt: skip
    except ConvergenceError as error:
        return ClampChoice(faces, {}, math.inf, force, str(error).splitlines()[0])
    shown = last.gauges.display()
    reading = {c: shown[c] for c in columns_of(gauge, model)}
    return ClampChoice(faces, reading, math.hypot(*reading.values()), force)
