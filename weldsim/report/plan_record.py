"""plan.json: a study as data, finished or under way, written whole."""

from __future__ import annotations

import json
import math
from pathlib import Path

from weldsim import __version__
from weldsim.studies.plan.drift import Drift
from weldsim.studies.plan.odds import NINE_OF_TEN, chance_nearer
from weldsim.studies.plan.outcomes import Outcome
from weldsim.studies.plan.rows import Row, Study, row_verdict
from weldsim.studies.stored_studies import StoredPlan
from weldsim.system.files import whole_file
from weldsim.text.measure_words import target_distance
from weldsim.text.plan_words import (
    error_words,
    how_words,
    images_words,
    level_words,
    model_words,
    odds_words,
    plan_lines,
    unit_of,
)
from weldsim.text.quantities import in_us

NAME = "plan.json"


def study_record(study: Study) -> dict:
    """The study as plain data; the measure in the unit stated, times in s."""
    plan = study.plan
    scale, unit = unit_of(study)
    lines = plan_lines(study)
    return {
        "format": StoredPlan.newest,
        "status": "under way" if study.under_way else "complete",
        "progress": study.under_way
        and {"share": study.under_way.share, "text": study.under_way.text},
        "title": plan.case.title,
        "version": __version__,
        "case": plan.case.source_text,
        "source_file": plan.case.source_file,
        "overrides": list(plan.case.overrides),
        "measure": plan.section.measure,
        "unit": unit,
        "distance": target_distance(plan),
        "tolerance": {"text": str(plan.tolerance), "value": scale * plan.tolerance.value,
                      "note": plan.tolerance.note},
        "how": how_words(study),
        "error_words": error_words(study),
        "level_words": level_words(study),
        "odds_words": odds_words(study),
        "shop_spread": study.spread and study.spread.title,
        "shop_spread_sizes": study.spread and _nine_of_ten(study, scale),
        "error_of_difference": _number(study.error_of_difference or float("nan"), scale),
        "grade": study.grade,
        "sequences": {"allowed": plan.size, "looked_at": study.count, "rows": len(study.rows)},
        "drift": study.drift and _drift(study.drift, scale),
        "drift_alone": study.drift and _drift(study.drift.alone or study.drift, scale),
        "wall_seconds": study.seconds,
        "branches": study.branches,
        "words": list(map(str, lines)), "words_us": in_us(lines),
        "rows": [_row(study, n, row, scale) for n, row in enumerate(study.rows, 1)],
    }  # fmt: skip


def _nine_of_ten(study: Study, scale: float) -> dict[str, float]:
    """Component of the measure -> within what nine of ten parts of the shop lie."""
    spread, columns = study.spread, study.plan.measure_columns
    if spread is None:
        return {}
    sizes = (math.hypot(*both) for both in zip(spread.common, spread.afresh, strict=True))
    return {
        c.component: scale * NINE_OF_TEN * size for c, size in zip(columns, sizes, strict=False)
    }


def _drift(drift: Drift, scale: float) -> dict:
    return {
        "factors": drift.factors, "step": drift.step, "share": drift.share,
        "rest": scale * drift.rest, "compared": drift.compared,
        "reach": scale * drift.reach if drift.carried else None,
    }  # fmt: skip


def _row(study: Study, number: int, row: Row, scale: float) -> dict:
    plan = study.plan
    return {
        "rank": number,
        "schedule": plan.text(row.moves),
        "order": [f"{s}:{plan.word(s, w)}" for s, w in row.moves],
        "moves": [list(m) for m in row.moves],
        "setting": list(plan.settings[row.setting].written),
        "setting_words": plan.settings[row.setting].label,
        "images": [plan.text(moves) for moves in row.images],
        "images_words": images_words(plan, row),
        "final": _number(row.end, scale),
        "spot": None
        if row.best.error
        else {
            c.component: scale * value
            for c, value in zip(plan.measure_columns, study.spot(row).tolist(), strict=False)
        },
        "interval": row.interval and [scale * end for end in row.interval],
        "told_apart_from_first": study.told_apart(study.rows[0], row) if number > 1 else None,
        "chance_first_nearer": chance_nearer(study, study.rows[0], row) if number > 1 else None,
        "worst": _number(row.worst, scale),
        "error": None if row.error is None else scale * row.error,
        "verdict": row_verdict(plan, row),
        "time_s": _number(row.best.time),
        "reaction_N": _number(row.best.reaction),
        "stress_MPa": _number(row.best.stress, 1e-6),
        "readings": row.best.readings.display(),
        "model": model_words(study, row),
        "ranking": _outcome(row.fast, scale),
        "confirmed": None if row.confirmed is None else _outcome(row.confirmed, scale),
        "failed": row.best.error or None,
    }


def _outcome(outcome: Outcome, scale: float) -> dict:
    return {
        "final": _number(outcome.final, scale), "worst": _number(outcome.worst, scale),
        "readings": outcome.readings.display(), "seconds_on_branches": outcome.seconds,
    }  # fmt: skip


def _number(value: float, scale: float = 1.0):
    return None if value != value else scale * value


def write_plan(study: Study, folder) -> Path:
    """Write plan.json into the study folder."""

    path = Path(folder) / NAME
    with whole_file(path) as beside:
        Path(beside).write_text(json.dumps(study_record(study), indent=1), encoding="utf-8")
    return path
