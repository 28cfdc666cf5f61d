"""What a run, a preview or a study takes, before it is begun: a worker's task.

Its seconds are uncorrected: `Speed` corrects them by what this machine took for the like before.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import replace
from tempfile import TemporaryDirectory
from typing import Any

from weldsim.case.load import Case, parse_case
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case
from weldsim.page.band_task import settings_of as band_settings
from weldsim.page.fit_task import settings_of
from weldsim.page.measured_tasks import case_of_run
from weldsim.page.worker_process import Tell
from weldsim.runs.cost import Cost, cost_of, preview_cost
from weldsim.runs.error_estimate import companion_grade, grade_below
from weldsim.studies.clamp_search import MOST_RUNS, choices_of
from weldsim.studies.correction import LineChoice
from weldsim.studies.fit.fitting import REFINED, RUNS_EACH, RUNS_LEAST
from weldsim.studies.fit.grade_step import finer_runs
from weldsim.studies.heat_sweep import CURRENT_SHARES
from weldsim.studies.next.cost import advice_cost
from weldsim.studies.next.given import open_study, read_moves
from weldsim.studies.plan.branches import bind
from weldsim.studies.plan.outcomes import root_job
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Plan, parse_plan
from weldsim.studies.plan.symmetry import canonical

MOST_KEPT = 60  # sizes of parts, and counts of welds
HOW_FINELY = ("grade", "confirm", "confirm_grade", "extrapolate", "tolerance", "measure", "size")


_kept: OrderedDict[Hashable, Any] = OrderedDict()  # of this worker: what takes meshing


def _once(key: Hashable, make: Callable[[], Any]) -> Any:
    """What was found before under a key, or a new one."""
    if key not in _kept:
        _kept[key] = make()
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return _kept[key]


def _cost(case: Case, grade: str) -> Cost:
    """What one run at a grade takes, without the coarser one for its estimated error."""
    sized = {k: v for k, v in case.resolved.items() if k not in ("title", "gauges")}
    sized["solve"] = {**sized.get("solve", {}), "grade": grade}
    key = (grade, json.dumps(sized, default=str, sort_keys=True))
    return _once(key, lambda: cost_of(case, grade, error_estimate=False))


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
    if kind == "band":
        return _band(case, options)
    one = _cost(case, grade)
    if kind == "preset":
        return _said(one, options.get("runs", 4), _coarser(case, grade), "at most")
    if kind == "clamps":
        tried = min(len(choices_of(case)), MOST_RUNS)
        return _said(one, tried, _coarser(case, grade))
    if kind == "correct":
        return _said(one, 1 + LineChoice().most_computed, _coarser(case, grade))
    return _said(one, len(CURRENT_SHARES))


def fit_price(
    folders: list[str], options: dict[str, Any], tell: Tell | None = None
) -> dict[str, Any]:
    """Time that a fit takes on the machine that the constants are from; a worker's task.

    Parameters
    ----------
    folders : list of str
        Of the runs it is about.
    options : dict
        Of the fit, see `fit_task.settings_of`.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `seconds` of one process [s], `runs` and a `note`.
    """
    cases, how = [case_of_run(folder) for folder in folders], settings_of(options)
    runs = (how.runs or max(RUNS_LEAST, RUNS_EACH * len(options["vary"]))) + REFINED
    seconds = runs * sum(_cost(case, how.grade).seconds for case in cases)
    note = f"for {runs} runs at grade {how.grade}"
    if how.finer != "none":
        few = finer_runs(len(options["vary"]))
        seconds += few * sum(_cost(case, how.finer).seconds for case in cases)
        note += f" and up to {few} at grade {how.finer}"
    if len(cases) > 1:
        note += f", of each of {len(cases)} cases"
    return {"seconds": seconds, "runs": runs * len(cases), "note": note}


def next_price(folder: str, options: dict[str, Any], tell: Tell | None = None) -> dict[str, Any]:
    """Time that an advice takes on one process of this machine; a worker's task.

    Parameters
    ----------
    folder : str
        Of the study, or of a run.
    options : dict
        `after`, and `tolerance` if another counts.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `seconds` [s], `welds` to be computed, `processes` and a `note`.
    """
    study = open_study(folder, options.get("tolerance") or None)
    found = advice_cost(study, read_moves(study.plan, options["after"]))
    note = f"for {found.welds} welds at grade {study.plan.section.grade}"
    if not found.welds:
        note = "as all of it was computed before"
    return {"seconds": found.seconds, "welds": found.welds, "processes": True, "note": note}


def _band(case: Case, options: dict[str, Any]) -> dict[str, Any]:
    """Runs that scatter, side by side, and one a grade finer."""
    how = band_settings(options)
    one, note = _cost(case, how.grade), f"for {how.runs} runs at grade {how.grade}"
    more = 0.0
    if how.finer != "none":
        more, note = _cost(case, how.finer).seconds, f"{note} and 1 at grade {how.finer}"
    return {**_said(one, how.runs, more, note), "processes": True}


def _run(case: Case, grade: str) -> dict[str, Any]:
    """A run, with the coarser one behind its estimated error where the case asks for it."""
    more = _coarser(case, grade) if case.solve.error_estimate else 0.0
    return _said(_cost(case, grade), 1, more)


def _coarser(case: Case, grade: str) -> float:
    """Seconds of the same run one grade coarser; none where there is none."""
    try:
        coarser = companion_grade(grade)
    except (KeyError, ValueError, IndexError):
        return 0.0
    return _cost(case, coarser).seconds if coarser else 0.0


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
    each = _cost(bound, section.grade)
    sequences = min(plan.size, section.trials if plan.size > LARGEST_FULL_STUDY else plan.size)
    asked = {k: v for k, v in case.tables["plan"].items() if k not in HOW_FINELY}
    key = json.dumps([asked, {**case.tables, "plan": None, "solve": None}], default=str)
    welds, distinct = _once(key, lambda: _welds(plan))
    weld = each.seconds / max(1, len(moves))
    seconds = welds * weld
    confirmed = 0
    grades = list(GRADES)
    if section.confirm and section.extrapolate and grades.index(section.grade):
        coarser = cost_of(bound, grades[grades.index(section.grade) - 1], error_estimate=False)
        seconds += welds * coarser.seconds / max(1, len(moves))
    if section.confirm:
        finer = _cost(bound, section.confirm_grade)
        confirmed = section.confirm + (2 if distinct > 2 * section.confirm else 0)
        seconds += min(confirmed, distinct) * finer.seconds
        coarser = grade_below(section.grade) if section.extrapolate else None
        if coarser:  # every sequence once more, for its step between the two grades
            seconds += welds * _cost(bound, coarser).seconds / len(moves)
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
