"""A study in words: what is recommended, and what in the choices moves the answer most."""

from __future__ import annotations

import numpy as np

from weldsim.schema.tolerance import SCALES
from weldsim.studies.plan.ranking import Row, Study, row_verdict
from weldsim.text.cautions import beside


def unit_of(study: Study) -> tuple[float, str]:
    """Factor from SI and unit in which the measure is said."""
    return SCALES[study.plan.tolerance.measure]


def said(study: Study, value: float | None) -> str:
    """A value of the measure with its unit."""
    scale, unit = unit_of(study)
    return "not estimated" if value is None else f"{scale * value:.3g} {unit}"


def model_words(study: Study, row: Row) -> str:
    """Model and grade that a row was run with."""
    return f"{study.plan.case.solve.model}, grade {row.grade}"


def how_words(study: Study) -> str:
    """Which schedules were looked at."""
    if not study.searched:
        return "all orders and directions that are allowed"
    return (
        f"{len(study.rows)} schedules out of {study.plan.size}, proposed by a seeded search (seed "
        f"{study.plan.section.seed}); a better one may exist"
    )


def error_words(study: Study) -> str:
    """What the stated errors rest on."""
    drift, section = study.drift, study.plan.section
    if drift is None:
        return "none: no schedule was confirmed at a finer grade"
    scale, unit = unit_of(study)
    return (
        f"of rows run at grade {section.grade} alone {drift.share:.0%} of where they end and "
        f"{scale * drift.rest:.2g} {unit}, as the {drift.compared} schedules run at grade "
        f"{section.confirm_grade} too have it; an estimate, no bound"
    )


def recommended(study: Study) -> Row:
    """The first row."""
    return study.rows[0]


def plan_lines(study: Study) -> list[str]:
    """The answer, how sure it is, and why, one line each.

    Parameters
    ----------
    study : Study
        A finished one.

    Returns
    -------
    list of str
        Lines for people.
    """
    plan, best = study.plan, recommended(study)
    good = [r for r in study.rows if not r.best.error]
    worst = max(good, key=lambda r: r.best.final)
    lines = [
        f"weld in this order: {plan.text(best.moves)}"
        + (f" ({plan.settings[best.setting].label})" if len(plan.settings) > 1 else ""),
        f"it ends at {said(study, best.best.final)} ({plan.section.measure}), tolerance "
        f"{plan.tolerance}: {beside(row_verdict(plan, best))}; "
        f"stated error {said(study, best.error)}, {model_words(study, best)}; "
        f"on the way it swings out to {said(study, best.best.worst)}",
        f"the worst of {len(good)}, {plan.text(worst.moves)}, ends at "
        f"{said(study, worst.best.final)}",
        f"looked at: {how_words(study)}",
        f"error: {error_words(study)}",
    ]
    failed = len(study.rows) - len(good)
    if failed:
        lines.append(f"{failed} schedules could not be computed; the table says why")
    return lines + reasons(study)


def factors(study: Study) -> list[tuple[str, dict]]:
    """Choices, and the mean end value of the schedules that take each, at the ranking grade.

    Returns
    -------
    list of (question, {answer: (mean, how many)}), the one that matters most first
    """
    good = [r for r in study.rows if not r.fast.error]
    plan = study.plan
    out = []
    questions = {"which seam is first": lambda r: r.moves[0][0],
                 "which seam is last": lambda r: r.moves[-1][0]}  # fmt: skip
    for a, b in opposite(plan):
        questions[f"{a} and {b}"] = lambda r, a=a, b=b: (
            "the same way" if dict(r.moves)[a] * opposite(plan)[a, b] == dict(r.moves)[b]
            else "opposite ways"
        )  # fmt: skip
        questions[f"{a} and {b} in the order"] = lambda r, a=a, b=b: (
            "one after the other" if abs(_at(r, a) - _at(r, b)) == 1 else "others between them"
        )
    if len(plan.settings) > 1:
        questions["the setting"] = lambda r: plan.settings[r.setting].label
    for question, answer in questions.items():
        groups: dict = {}
        for row in good:
            groups.setdefault(answer(row), []).append(row.fast.final)
        if len(groups) > 1:
            out.append((question, {k: (float(np.mean(v)), len(v)) for k, v in groups.items()}))
    return sorted(out, key=lambda f: -np.ptp([m for m, _ in f[1].values()]))


def _at(row: Row, seam: str) -> int:
    return [s for s, _ in row.moves].index(seam)


def opposite(plan) -> dict:
    """Pairs of seams that lie across from each other, parallel, with the sign of their senses."""
    out = {}
    names = [n for n in plan.words if n in plan.lines]
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            directions = []
            for n in (a, b):
                way = plan.lines[n].points[-1] - plan.lines[n].points[0]
                directions.append(way / max(np.linalg.norm(way), 1e-12))
            along = float(directions[0] @ directions[1])
            if abs(along) > 0.99:
                out[a, b] = 1 if along > 0 else -1
    return out


def reasons(study: Study) -> list[str]:
    """The choices that matter most, in plain words."""
    lines = []
    for question, groups in factors(study)[:3]:
        low = min(groups, key=lambda k: groups[k][0])
        high = max(groups, key=lambda k: groups[k][0])
        if groups[high][0] < 1.1 * groups[low][0]:
            continue
        lines.append(
            f"{question}: {low} ends at {said(study, groups[low][0])} on average, {high} at "
            f"{said(study, groups[high][0])}"
        )
    if not lines:
        lines.append("no single choice decides: order and direction work together")
    return lines
