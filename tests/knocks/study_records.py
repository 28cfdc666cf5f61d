"""Records of studies from elsewhere, spoiled: plan.json, band.json and the page's answer of a fit.

The folders are invented, as those of a plan, a band and a fit are written; what reads them is what
`weldsim next`, a plan with a band, the bench sheet and the page read.
"""

from __future__ import annotations

import json
import random
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.knocks.run_folders import spoiled_bytes, spoiled_json
from tests.knocks.tally import Tally, attempt
from tests.studies.small import TEXT, small_plan
from weldsim.page.studies import answer_of, case_of, case_with, listed_plans
from weldsim.studies.band.kept import job_of, read_kept_band
from weldsim.studies.next.given import open_study
from weldsim.studies.plan.shop_spread import read_spread

MOVES = [["front", 1], ["back", -1]]
STEP = {"factors": [1.1, 0.9], "step": 0.0, "share": 0.2, "rest": 0.1, "compared": 4, "reach": 3.0}


def made(path: Path) -> Path:
    """A folder that holds a plan, a band and a fit of the same small tee."""
    path.mkdir(parents=True)
    plan = small_plan()
    sides = plan.measure_columns
    row = {"rank": 1, "schedule": "front, back", "moves": MOVES, "setting": [], "final": 1.0,
           "error": 0.2, "spot": {c.component: 1.0 for c in sides},
           "verdict": "inside"}  # fmt: skip
    _write(path / "plan.json", {
        "format": 1, "status": "complete", "title": "Small plate tee", "case": TEXT,
        "source_file": "small.toml", "overrides": [], "measure": "pointer", "unit": "mrad",
        "grade": "sketch", "drift": STEP, "drift_alone": STEP, "words": ["a", "b"],
        "words_us": ["a", "b"], "rows": [row, {**row, "rank": 2, "moves": MOVES[::-1]}],
    })  # fmt: skip
    _write(path / "band.json", {
        "format": 1, "title": "Small plate tee", "case": job_of(plan.case.resolved),
        "overrides": [], "grade": "sketch", "finer": "coarse", "runs": 24,
        "in_words": ["a"], "in_words_us": ["a"], "readings": [
            {"column": c.name, "unit": c.unit, "moment": "cold", "value": 1.0, "low": 0.5,
             "high": 1.5, "standard_deviation": 0.5, "standard_deviation_afresh": 0.3,
             "grade_error": 0.1, "surrogate_error": 0.1, "shares": {"heat": 0.5}}
            for c in sides
        ],
    })  # fmt: skip
    names = [c.name for c in sides]
    head = ",".join(f"{n}{end}" for n in names for end in ("", "_low", "_high"))
    numbers = ",".join(["0,-1,2"] * len(names))
    (path / "band.csv").write_text(f"time_s,{head}\n0,{numbers}\n900,{numbers}\n")
    (path / "ends.csv").write_text(",".join(names) + "\n" + ",".join("5" for _ in names) + "\n")
    fitted = {"value": 0.8, "low": 0.7, "high": 0.9, "unit": "1", "written": "0.8",
              "frozen": False, "keys": ["arc.efficiency"],
              "prior": {"low": 0.4, "high": 1.0, "usual": 0.8}}  # fmt: skip
    _write(path / "fit" / "answer.json", {
        "kind": "fit", "lines": ["a"], "lines_us": ["a"],
        "record": {"parameters": {"arc.efficiency": fitted}, "runs": 12, "grade": "sketch",
                   "case_lines": ["[arc]", "efficiency = 0.8"]},
    })  # fmt: skip
    return path


def _write(path: Path, record: dict[str, Any]) -> None:
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(record), encoding="utf-8")


def read(path: Path) -> None:
    """All that reads a folder of a study."""
    plan = small_plan()
    study = open_study(path)
    assert study.record is not None
    read_spread(plan, path)
    read_kept_band(path).is_of(plan.case.resolved)
    for folder in (path, path / "fit"):
        assert answer_of(folder) is not None
    case_of(path)
    case_with(TEXT, "small.toml", str(path), 0)
    listed_plans(path.parent)


MUTATIONS: tuple[Callable[[Path, random.Random], str], ...] = (
    spoiled_json("plan.json"), spoiled_json("plan.json"), spoiled_json("band.json"),
    spoiled_json("band.json"), spoiled_json("fit/answer.json"), spoiled_bytes("*.json"),
    spoiled_bytes("*.csv"), spoiled_bytes("fit/*.json"),
)  # fmt: skip


def knock(count: int, seed: int = 1) -> Tally:
    """Spoil so many folders of studies and read them."""
    tally, chance = Tally("records of studies"), random.Random(seed)
    with tempfile.TemporaryDirectory() as at:
        whole = made(Path(at) / "whole" / "study")
        for number in range(count):
            spoiled = Path(at) / f"work{number}" / "study"
            shutil.copytree(whole, spoiled)
            what = chance.choice(MUTATIONS)(spoiled, chance)
            attempt(tally, lambda p=spoiled: read(p), attack=what)
            shutil.rmtree(spoiled.parent)
    return tally
