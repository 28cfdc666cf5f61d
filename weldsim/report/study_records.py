"""What studies leave as data: preset.json, correct.json, why.json and crossover.json."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from weldsim.schema.column import Column
from weldsim.studies.attribution import Why
from weldsim.studies.clamp_search import ClampSearch
from weldsim.studies.correction import Correction
from weldsim.studies.heat_sweep import Crossover
from weldsim.studies.preset import Preset
from weldsim.studies.targets import Searched
from weldsim.system.files import write_json
from weldsim.text.attribution_words import why_words
from weldsim.text.clamp_words import clamp_lines, clamp_words
from weldsim.text.correction_words import correction_words
from weldsim.text.heat_sweep_words import crossover_words
from weldsim.text.preset_words import error_words, preset_lines, preset_words
from weldsim.text.quantities import as_written

HOW = (
    "heat is what the part takes up, efficiency x voltage x current / speed; tilts are cold "
    "readings at one grade and have no estimated error of their own"
)


def why_record(why: Why) -> dict:
    """What why.json holds."""
    shown, lines = [r.shown for r in why.readings], why_words(why)
    rows = [
        {
            "gauge": r.column.name, "weld": row.weld, "seam": row.seam, "pass": row.number,
            "slice": row.slice, "from_mm": 1e3 * row.begin, "to_mm": 1e3 * row.finish,
            "heating": row.heating, "cooling": row.cooling, "value": row.value,
            "share": row.value / r.value if r.value else None,
        }
        for r in shown for row in r.rows
    ]  # fmt: skip
    errors, gaps = _shown(why.errors), _shown(why.replay_gap)
    readings = {
        r.column.name: {
            "unit": r.unit, "gauge_value": r.value, "sum": r.sum, "residual": r.residual,
            "others": r.others, "error_of_gauge_value": errors.get(r.column.name),
            "replay_gap": gaps.get(r.column.name),
            "welds": {w: r.of_weld(w) for w in dict.fromkeys(x.weld for x in r.rows)},
        }
        for r in shown
    }  # fmt: skip
    return {
        "title": why.title, "how": why.how, "in_words": lines,
        "in_words_us": [as_written(line).text("us") for line in lines],
        "error": "the parts have no estimated error of their own; see that of the reading",
        "readings": readings, "rows": rows,
    }  # fmt: skip


def _common(found: Searched) -> dict:
    """What the records of all searches say alike."""
    target = found.target
    return {
        "title": found.title, "gauge": target.gauge.name, "grade": target.grade,
        "unit": target.unit, "distance": target.gauge.throw, "error": found.shown_error,
        "tolerance": str(target.tolerance),
        "verdict": found.verdict,
    }  # fmt: skip


def _shown(reading: Mapping[Column, float]) -> dict[str, float]:
    """A reading in the units of its columns."""
    return {c.name: c.to_display(v) for c, v in reading.items()}


def preset_record(found: Preset) -> dict:
    """What preset.json holds."""
    shown = found.target.shown
    return {
        **_common(found),
        "in_words": preset_words(found), "case_lines": preset_lines(found),
        "lean_mrad": {a: 1e3 * v for a, v in zip("xyz", found.lean, strict=True)},
        "turn": _shown(found.turn), "final": shown(found.final), "error_words": error_words(found),
        "runs": [
            {
                "lean_mrad": {a: 1e3 * v for a, v in zip("xyz", t.lean, strict=True)},
                "reading": _shown(t.reading), "off": shown(t.size),
            }
            for t in found.trials
        ],
    }  # fmt: skip


def write_preset(found: Preset, path: str | Path = "preset.json") -> Path:
    """Write preset.json; the lines to paste into the case stand in it."""
    return write_json(path, preset_record(found))


def clamp_record(found: ClampSearch) -> dict:
    """What preset.json holds."""
    shown = found.target.shown
    return {
        **_common(found),
        "in_words": clamp_words(found), "case_lines": clamp_lines(found),
        "final": shown(found.best.size), "error_words": found.estimate.how,
        "untried": found.untried,
        "choices": [
            {"faces": list(c.faces), "reading": _shown(c.reading),
             "off": shown(c.size) if math.isfinite(c.size) else None, "force_N": c.force,
             "error": c.error}
            for c in found.choices
        ],
    }  # fmt: skip


def write_clamps(found: ClampSearch, path: str | Path = "preset.json") -> Path:
    """Write preset.json; the lines to paste into the case stand in it."""
    return write_json(path, clamp_record(found))


def correction_record(found: Correction) -> dict:
    """What correct.json holds."""
    shown = found.target.shown
    return {
        **_common(found), "kind": found.kind,
        "in_words": correction_words(found), "before": _shown(found.before),
        "off": shown(found.before_size), "error_from": found.estimate.how,
        "limit_degC": None if found.limit is None else found.limit - 273.15,
        "promise": {name: shown(v) for name, v in found.promise.items()},
        "lines": [
            {
                "name": o.name, "words": o.words, "power_W": o.power,
                "peak_degC": o.peak - 273.15, "reading": _shown(o.reading), "off": shown(o.size),
            }
            for o in found.outcomes
        ],
    }  # fmt: skip


def write_correction(found: Correction, path: str | Path = "correct.json") -> Path:
    """Write correct.json."""
    return write_json(path, correction_record(found))


def crossover_record(found: Crossover) -> dict:
    """What crossover.json holds."""
    return {
        "title": found.title, "grade": found.grade, "gauge": found.gauge, "how": HOW,
        "in_words": crossover_words(found),
        "crossing_J_mm_per_mm2": None if found.at is None else 1e-9 * found.at,
        "rows": [
            {
                "power_W": p.power, "heat_J_mm": 1e-3 * p.heat,
                "heat_per_thickness2_J_mm_per_mm2": 1e-9 * p.density,
                "along_travel_mrad": None if p.along is None else 1e3 * p.along,
                "toward_bead_mrad": None if p.toward is None else 1e3 * p.toward,
                "trouble": p.trouble,
            }
            for p in found.points
        ],
    }  # fmt: skip
