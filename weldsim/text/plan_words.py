"""A study in words: what is recommended, and what in the sequences moves the answer most."""

from __future__ import annotations

import numpy as np

from weldsim.schema.tolerance import SCALES
from weldsim.studies.plan.odds import EVEN, chance_nearer, odds_text
from weldsim.studies.plan.rows import Row, Study, row_verdict
from weldsim.studies.plan.space import Moves, Plan
from weldsim.text.cautions import beside
from weldsim.text.measure_words import measure_words, plan_tolerance, short_measure
from weldsim.text.quantities import Words, words

NAMED = 3  # rows of a tie that are named


def unit_of(study: Study) -> tuple[float, str]:
    """Factor from SI and unit in which the measure is said."""
    return SCALES[study.plan.tolerance.measure]


def said(study: Study, value: float | None) -> Words:
    """A value of the measure with its unit, of a pointer at its target."""
    return Words("not estimated") if value is None else short_measure(study.plan, value)


def model_words(study: Study, row: Row) -> str:
    """Model of a row, and the grade that its end is of or is carried over from."""
    carried = study.grade != study.plan.section.grade and row.confirmed is None
    grade = f"from grade {row.grade}" if carried else f"grade {study.grade}"
    return f"{study.plan.case.solve.model}, {grade}"


def how_words(study: Study) -> str:
    """Which sequences were looked at."""
    if study.under_way:
        return f"{study.count} of {study.plan.size} sequences so far"
    if not study.searched:
        distinct = f", {len(study.rows)} without mirror images"
        return (
            f"all {study.count} sequences that are allowed"
            f"{distinct if len(study.rows) < study.count else ''}"
        )
    return (
        f"{study.count} sequences out of {study.plan.size}, proposed by a seeded search (seed "
        f"{study.plan.section.seed}); a better one may exist"
    )


def error_words(study: Study) -> str:
    """What the estimated errors rest on."""
    drift, section = study.drift, study.plan.section
    if drift is None:
        return "none: no sequence has been run again at a finer grade"
    compared = f"{drift.compared} sequences run at both grades"
    if not drift.carried:
        return words(
            "all ends are those of grade {}; {} is the most by which the sequences run again at "
            "grade {} ended elsewhere; an estimate, no bound",
            section.grade, said(study, drift.rest), section.confirm_grade,
        )  # fmt: skip
    times = " and ".join(dict.fromkeys(f"{factor:.2f}" for factor in drift.factors))
    if " and " in times:
        times += f" ({' and '.join(c.component for c in study.plan.measure_columns)})"
    if drift.step:
        times += f" and {drift.step:.2f} of the row's step to it from the next coarser grade"
    return words(
        "all ends are stated at grade {}: those of grade {} alone times {}, as fitted to the {}; "
        "what the fit leaves of these says that nine of ten rows end within {} of that, a little "
        "more far out; a row's own error is its step between the two grades and, where it was not "
        "run at the finer one, this too; an estimate, no bound",
        section.confirm_grade, section.grade, times, compared, said(study, drift.rest),
    )  # fmt: skip


def images_words(plan: Plan, row: Row) -> str:
    """What does not matter, as the mirror images of a row end alike; "" where it has none."""
    if not row.images:
        return ""
    firsts = list(dict.fromkeys(moves[0][0] for moves in (row.moves, *row.images)))
    if len(firsts) > 1:
        which = ", ".join(firsts[:-1]) + f" and {firsts[-1]}"
        return (
            f"which of {which} is first does not matter, as long as the rest is mirrored with it: "
            "mirror images end equally far off"
        )
    back = tuple((seam, -direction) for seam, direction in row.moves)
    if row.images == (back,):
        return "all of it with reverse travel, its mirror image, ends equally far off"
    if len(row.images) > 1:
        return "its mirror images end equally far off"
    return "its mirror image ends equally far off"


def ties(study: Study, row: Row) -> list[Row]:
    """Other rows whose ends read the same as a row's, to the figures that are said."""
    reads = str(said(study, row.end))
    return [
        r for r in study.rows
        if r is not row and not r.best.error and str(said(study, r.end)) == reads
    ]  # fmt: skip


def tie_words(study: Study, row: Row) -> str:
    """With which rows of the table a row ties; "" where it does with none."""
    numbers = [study.rows.index(r) + 1 for r in ties(study, row)]
    if not numbers:
        return ""
    if len(numbers) > NAMED:
        return f"a tie, to the figures shown: {len(numbers) + 1} rows read the same"
    *some, last = map(str, numbers)
    rest = f"s {', '.join(some)} and {last}" if some else f" {last}"
    return f"a tie, to the figures shown, with row{rest}"


def _named(plan: Plan, rows: list[Row]) -> str:
    """Rows with their mirror images by name, the first few of many."""
    out = []
    for row in rows[:NAMED]:
        many = f"{len(row.images)} mirror images" if len(row.images) > 1 else "mirror image"
        out.append(plan.text(row.moves) + (f" with its {many}" if row.images else ""))
    return "; ".join(out) + (f"; and {len(rows) - NAMED} more" if len(rows) > NAMED else "")


def worst_words(study: Study) -> Words:
    """The sequence that ends farthest off, with all that tie with it."""
    worst = max((r for r in study.rows if not r.best.error), key=lambda r: r.end)
    rows = [worst, *ties(study, worst)]
    alone = len(rows) == 1 and not worst.images
    pattern = "the worst of {}, {}, ends {} from zero, also at grade {}"
    if not alone:
        pattern = "the worst of {} are {}: they end alike, {} from zero, also at grade {}"
    return words(
        pattern, study.count, _named(study.plan, rows), said(study, worst.end), study.grade
    )


CANCELS = (
    "what a coarse mesh does to all rows alike is in the estimated error of each, and cancels "
    "between two of them"
)


def level_words(study: Study) -> str:
    """Whether the first row is told apart from those behind it."""
    if study.drift is None:
        text = "nothing says yet which rows can be told apart: no sequence has been run again"
        tied = ties(study, study.rows[0])
        return text + (f"; the same as the first reads {_named(study.plan, tied)}" if tied else "")
    apart, level = said(study, study.error_of_difference), study.level_with_first()
    good = sum(1 for row in study.rows if not row.best.error)
    why = "the estimated error of a difference"
    if study.drift.carried:
        why += f" ({CANCELS})"
    if good == 1:
        return "there is nothing to tell it apart from"
    if level == 1:
        pattern = "it is told apart from all others: they end more than {} farther from zero, {}"
        return words(pattern, apart, why)
    if level == good:
        pattern = "none of them can be told apart from the first: all end within {} of it, {}"
        return words(pattern, apart, why)
    return words(
        "{} of {} rows, the first among them, cannot be told apart: they end within {}, {}; the "
        "others can",
        level, good, apart, why,
    )  # fmt: skip


def odds_words(study: Study) -> str:
    """The odds that the first row is better than the next; "" where nothing says so."""
    good = [row for row in study.rows if not row.best.error]
    chance = chance_nearer(study, good[0], good[1]) if len(good) > 1 else None
    if chance is None:
        return ""
    rests = (
        "from the estimated errors of the rows alone; weldsim plan --band adds the shop's spread"
    )
    if study.spread is not None:
        rests = (
            "from the estimated errors of the rows and the shop's spread (band of "
            f"{study.spread.title}): what is common to all parts strikes both alike, a hand's "
            "travel each by itself"
        )
    name, text = study.plan.text(good[1].moves), odds_text(chance)
    if text == EVEN:
        return f"first and next, {name}: even odds which ends nearer to zero ({rests})"
    if chance > 0.5:
        return f"this sequence is better than the next, {name}, with {text} ({rests})"
    return f"the next, {name}, is better than this sequence with {text} ({rests})"


def _error(study: Study, row: Row) -> Words:
    return Words() if row.error is None else words("estimated error {}, ", said(study, row.error))


def _again(study: Study, row: Row) -> Words:
    """Where a row ended at the finer grade, if the table is not stated at that."""
    if row.confirmed is None or row.grade == study.grade:
        return Words()
    end = said(study, row.confirmed.final)
    return words("; run again at grade {} it ends {} from zero", row.grade, end)


def grades_of(study: Study) -> list[str]:
    """Grades of the runs behind a study, the ranking's first."""
    again = any(row.confirmed is not None for row in study.rows)
    section = study.plan.section
    return [section.grade, *([section.confirm_grade] if again else ())]


def recommended(study: Study) -> Row:
    """The first row."""
    return study.rows[0]


def plan_lines(study: Study) -> list[str]:
    """The answer, how sure it is, and why, one line each.

    Parameters
    ----------
    study : Study
        Finished, or under way.

    Returns
    -------
    list of str
        Lines for people.
    """
    plan, best = study.plan, recommended(study)
    first = "best so far" if study.under_way else "weld in this sequence"
    lines = [
        f"{first}: {plan.text(best.moves)}"
        + (f" ({plan.settings[best.setting].label})" if len(plan.settings) > 1 else ""),
        words(
            "{} ends {} from zero, tolerance {}: {}; {}{}; on the way it swings out to {}{}",
            plan.section.measure, measure_words(plan, best.end), plan_tolerance(plan),
            beside(row_verdict(plan, best)), _error(study, best), model_words(study, best),
            said(study, best.worst), _again(study, best),
        ),
        worst_words(study),
        f"looked at: {how_words(study)}",
        words("estimated error: {}", error_words(study)),
        level_words(study),
        *filter(None, [odds_words(study)]),
    ]  # fmt: skip
    if best.images:
        lines.append(images_words(plan, best))
    failed = sum(r.count for r in study.rows if r.best.error)
    if failed:
        lines.append(f"{failed} sequences could not be computed; the table says why")
    return lines + reasons(study)


def factors(study: Study) -> list[tuple[str, dict]]:
    """What is open, and the mean end of the sequences that have it so, all at one grade.

    Returns
    -------
    list of (question, {answer: (mean, how many)}), the one that matters most first
    """
    good = [
        (r.setting, moves, r.end)
        for r in study.rows if not r.fast.error
        for moves in (r.moves, *r.images)
    ]  # fmt: skip
    plan = study.plan
    out = []
    questions = {"which seam is first": lambda n, moves: moves[0][0],
                 "which seam is last": lambda n, moves: moves[-1][0]}  # fmt: skip
    for a, b in opposite(plan):
        questions[f"{a} and {b}"] = lambda n, moves, a=a, b=b: (
            "the same travel" if dict(moves)[a] * opposite(plan)[a, b] == dict(moves)[b]
            else "opposite travel"
        )  # fmt: skip
        questions[f"{a} and {b} in the sequence"] = lambda n, moves, a=a, b=b: (
            "one after the other"
            if abs(_at(moves, a) - _at(moves, b)) == 1
            else "others between them"
        )
    if len(plan.settings) > 1:
        questions["the setting"] = lambda n, moves: plan.settings[n].label
    for question, answer in questions.items():
        groups: dict = {}
        for number, moves, end in good:
            groups.setdefault(answer(number, moves), []).append(end)
        if len(groups) > 1:
            out.append((question, {k: (float(np.mean(v)), len(v)) for k, v in groups.items()}))
    return sorted(out, key=lambda f: -np.ptp([m for m, _ in f[1].values()]))


def _at(moves: Moves, seam: str) -> int:
    return [s for s, _ in moves].index(seam)


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
        ends = (said(study, groups[k][0]) for k in (low, high))
        pattern = f"{question}: {low} ends {{}} from zero on average, {high} {{}}"
        lines.append(words(pattern, *ends))
    if not lines:
        lines.append("nothing alone decides: sequence and travel work together")
    return lines
