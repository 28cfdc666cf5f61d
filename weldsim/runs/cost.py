"""What a run takes, from its size, before it is begun: steps, time, memory."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from weldsim.case.load import Case
from weldsim.geometry.grades import GRADES, Grade
from weldsim.joints.build import build_part
from weldsim.joints.registry import kind_of_case
from weldsim.physics.back_ends import available_back_end
from weldsim.runs.error_estimate import companion_grade
from weldsim.schema.records import Weld
from weldsim.simulation.preview import MOST_STEPS, PREVIEW_GRADES, REST_GROWTH

# Seconds of a step while the arc burns and of one in a pause, per unknown at `LARGE` unknowns, and
# the power of the unknowns with which they grow: two quiet cores. Between the demo bar at grade
# quick (7 170 unknowns, 0.17 s and 0.08 s a step), the tee's first seam at grade quick (31 116
# unknowns, 39 s in all) and the bar at grade normal; see benchmarks/README.md.
WELD_STEP, WELD_GROWTH = 2.2e-5, 1.25
REST_STEP, REST_GROWTH_OF_COST = 1.0e-5, 1.4
LARGE = 5000.0
SLOWER = {"pardiso": 1.0, "rslab": 2.0, "superlu": 8.0}
FIRST_REST = 0.3  # of a torch step: the first step of a pause
COLD_AFTER, WAIT = 3000.0, 300.0  # s; until cold, and of a pause that ends at a temperature


@dataclass(frozen=True)
class Cost:
    """Size and cost of a run: counts, seconds, bytes. Good to about a factor of two."""

    cells: int
    displacement_unknowns: int
    temperature_unknowns: int
    steps: int
    seconds: float
    memory: float


def cost_of(case: Case, grade: str | None = None, error_estimate: bool | None = None) -> Cost:
    """Mesh the part and estimate a run from its size.

    Parameters
    ----------
    case : Case
    grade : str, optional
        The case's own when left out.
    error_estimate : bool, optional
        Whether the coarser run behind the estimated error counts; as the case says when left out.

    Returns
    -------
    Cost
        Of the run until its end.
    """
    name = grade or case.solve.grade
    case = replace(case, solve=replace(case.solve, grade=name))
    found = _cost(case, GRADES[name])
    wanted = case.solve.error_estimate if error_estimate is None else error_estimate
    coarser = companion_grade(name) if wanted else None
    if coarser is None:
        return found
    more = cost_of(case, coarser, error_estimate=False)
    return replace(found, seconds=found.seconds + more.seconds)


def preview_cost(case: Case) -> Cost:
    """What a preview takes, see `cost_of`.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Cost
        Of the preview until its end.
    """
    name = PREVIEW_GRADES["look"]
    case = replace(case, solve=replace(case.solve, grade=name))
    grade = replace(GRADES[name], rest_growth=REST_GROWTH)
    return _cost(case, grade, MOST_STEPS)


def _cost(case: Case, grade: Grade, most: int | None = None) -> Cost:
    part = build_part(case)
    unknowns = 3 * part.lattice.displacement_points
    weld, rest = _steps(case, grade, most)
    ratio = unknowns / LARGE
    seconds = LARGE * (
        weld * WELD_STEP * ratio**WELD_GROWTH + rest * REST_STEP * ratio**REST_GROWTH_OF_COST
    )
    seconds *= SLOWER[available_back_end()]
    return Cost(
        part.mesh.t.shape[1], unknowns, part.lattice.points.shape[0], round(weld + rest),
        float(seconds), 220e6 + unknowns * 13e3,
    )  # fmt: skip


def _steps(case: Case, grade: Grade, most: int | None) -> tuple[float, float]:
    """Steps with an arc, and steps of pauses, which grow by a share of the time gone."""
    length = kind_of_case(case).torch_step * grade.torch_step
    welds, rests = 0.0, 0.0
    for n, w in enumerate(case.welds):
        steps = w.duration * w.arc.speed / (length * w.bead_width) + 1
        steps = steps if most is None else min(steps, most)
        welds += steps
        first = max(FIRST_REST * w.duration / steps, 1e-3)
        last = n + 1 == len(case.welds)
        rests += _rest(_until(case) if last else _wait(case.welds[n + 1]), first, grade.rest_growth)
    return welds, rests


def _rest(duration: float, first: float, growth: float) -> float:
    """Steps of a pause: the first so long, each further one a share of the time since the arc."""
    return math.log1p(growth * duration / first) / math.log1p(growth) if duration > 0 else 0.0


def _until(case: Case) -> float:
    """How long is computed after the last arc. [s]"""
    return COLD_AFTER if case.solve.end == "cold" else max(0.0, float(case.solve.end))


def _wait(weld: Weld) -> float:
    """How long is waited before a weld. [s]"""
    return weld.start.seconds if weld.start.kind == "after" else WAIT
