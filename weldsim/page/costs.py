"""What a run, a preview or a study takes, before it is begun: a worker's task.

Its seconds are uncorrected: `Speed` corrects them by what this machine took for the like before.
"""

from __future__ import annotations

from dataclasses import replace
from tempfile import TemporaryDirectory
from typing import Any

from weldsim.case.load import Case, parse_case
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case
from weldsim.page.worker_process import Tell
from weldsim.runs.cost import Cost, cost_of, preview_cost
from weldsim.runs.error_estimate import companion_grade
from weldsim.studies.clamp_search import MOST_RUNS, choices_of
from weldsim.studies.correction import LineChoice
from weldsim.studies.heat_sweep import CURRENT_SHARES
from weldsim.studies.plan.branches import bind
from weldsim.studies.plan.outcomes import root_job
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Plan, parse_plan
from weldsim.studies.plan.symmetry import canonical

REPLAY = 0.3  # of a run: the influence of each place, after it was run again


def price(
    text: str, source_file: str, kind: str, options: dict[str, Any], tell: Tell | None = None
) -> dict[str, Any]:
    """Time and memory that a job takes on the machine that the constants are from.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    kind : str
        Of a job.
    options : dict
        `grade` and what else counts, see `study_request`.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `seconds` [s], `memory` [bytes], `unknowns`, `steps`, `runs` how many, `processes` whether
        they go side by side, and a `note`.
    """
    if kind == "plan":
        return _plan(parse_plan(text, source_file))
    case = parse_case(text, source_file)
    grade = options.get("grade") or case.solve.grade
    if kind == "look":
        return _said(preview_cost(case), 1)
    if kind == "run":
        return _run(case, grade)
    one = cost_of(case, grade, companion=False)
    if kind == "preset":
        return _said(one, options.get("runs", 4), _coarser(case, grade), "at most")
    if kind == "clamps":
        tried = min(len(choices_of(case)), MOST_RUNS)
        return _said(one, tried, _coarser(case, grade))
    if kind == "correct":
        return _said(one, 1 + LineChoice().most_computed, _coarser(case, grade))
    return _said(one, len(CURRENT_SHARES))


def _run(case: Case, grade: str) -> dict[str, Any]:
    """A run, with the coarser one behind its estimated error where the case asks for it."""
    more = _coarser(case, grade) if case.solve.companion else 0.0
    return _said(cost_of(case, grade, companion=False), 1, more)


def _coarser(case: Case, grade: str) -> float:
    """Seconds of the same run one grade coarser; none where there is none."""
    try:
        coarser = companion_grade(grade)
    except (KeyError, ValueError, IndexError):
        return 0.0
    return cost_of(case, coarser, companion=False).seconds if coarser else 0.0


def _said(cost: Cost, runs: int, more: float = 0.0, note: str = "") -> dict[str, Any]:
    return {
        "seconds": runs * cost.seconds + more, "memory": cost.memory, "steps": cost.steps,
        "unknowns": cost.displacement_unknowns, "runs": runs, "processes": False, "note": note,
    }  # fmt: skip


def _plan(plan: Plan) -> dict[str, Any]:
    """Welds with shared beginnings, mirror images counted once, and the best few run finer."""
    section, case = plan.section, plan.case
    moves = next(plan.schedules())
    bound = plan.bound(plan.settings[0], moves)
    each = cost_of(bound, section.grade, companion=False)
    sequences = min(plan.size, section.trials if plan.size > LARGEST_FULL_STUDY else plan.size)
    welds, distinct = _welds(plan)
    weld = each.seconds / max(1, len(moves))
    seconds = welds * weld
    confirmed = 0
    grades = list(GRADES)
    if section.confirm and section.extrapolate and grades.index(section.grade):
        coarser = cost_of(bound, grades[grades.index(section.grade) - 1], companion=False)
        seconds += welds * coarser.seconds / max(1, len(moves))
    if section.confirm:
        finer = cost_of(bound, section.confirm_grade, companion=False)
        confirmed = section.confirm + (2 if distinct > 2 * section.confirm else 0)
        seconds += min(confirmed, distinct) * finer.seconds
    return {
        "seconds": seconds, "memory": 2 * each.memory, "steps": each.steps,
        "unknowns": each.displacement_unknowns, "runs": confirmed, "processes": True,
        "welds": welds, "sequences": sequences,
        "note": f"for {welds} welds at grade {section.grade}"
        + (f" and {min(confirmed, distinct)} sequences at grade {section.confirm_grade}"
           if confirmed else ""),
        "heated_through": bool(kind_of_case(case).heated_through),
    }  # fmt: skip


def _welds(plan: Plan) -> tuple[int, int]:
    """Welds to be computed for all sequences, and how many sequences no mirror makes alike."""
    if plan.size > LARGEST_FULL_STUDY:
        return plan.section.trials * len(plan.seams), plan.section.trials
    own = replace(plan, settings=plan.settings[:1])
    with TemporaryDirectory() as folder:  # where the mesh goes that symmetries are found on
        images = bind(root_job(own, 0, "sketch", folder)).symmetries
    begun: set = set()
    whole: set = set()
    for moves in plan.schedules():
        least = canonical(images, moves)[0]
        whole.add(least)
        begun.update(least[:n] for n in range(1, len(least) + 1))
    return len(begun) * len(plan.settings), len(whole) * len(plan.settings)
