"""One study from its case to its answer, in a process of its own.

A plan leaves the folder that `weldsim plan` leaves; every other study one with `answer.json`:
`words`, the study's own `record` and what is peculiar to it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from weldsim.case.load import parse_case
from weldsim.page.band_task import band_answer
from weldsim.page.fit_task import fit_answer
from weldsim.page.job_process import LOCKED, converse
from weldsim.page.study_request import spread_for
from weldsim.page.worker_process import Tell
from weldsim.report.attribution_report import write_crossover, write_why
from weldsim.report.plan_record import write_plan
from weldsim.report.plan_report import write_pages
from weldsim.report.study_records import clamp_record, correction_record, preset_record
from weldsim.runs.stored import read_json_file
from weldsim.schema.column import Column
from weldsim.schema.tolerance import SCALES
from weldsim.studies.clamp_search import find_clamps
from weldsim.studies.correction import LineChoice, find_correction
from weldsim.studies.heat_sweep import crossover
from weldsim.studies.kept_runs import KeptRuns
from weldsim.studies.next.advice import Advice, advise
from weldsim.studies.next.given import open_study, read_moves, read_readings
from weldsim.studies.plan.odds import with_spread
from weldsim.studies.plan.ranking import rank
from weldsim.studies.plan.space import Plan, parse_plan
from weldsim.studies.preset import find_preset
from weldsim.studies.targets import SearchOptions, Target, target_of
from weldsim.system.files import write_json
from weldsim.system.locks import held
from weldsim.text.measure_words import target_distance
from weldsim.text.next_words import advice_lines
from weldsim.text.quantities import in_us
from weldsim.units import parse

ANSWER = "answer.json"


@dataclass(frozen=True)
class Given:
    """What a study works on.

    Attributes
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    folder : Path
        Where its answer goes.
    threads : int
        Of a solver, or single-threaded processes of a plan.
    options : dict
        See `study_request`.
    tell : callable(share, text)
    """

    text: str
    source_file: str
    folder: Path
    threads: int
    options: dict[str, Any]
    tell: Tell

    def target(self) -> Target:
        """What is to end true."""
        o = self.options
        case = parse_case(self.text, self.source_file)
        return target_of(case, o.get("gauge"), o.get("tolerance"), o.get("grade"))

    def search(self) -> SearchOptions:
        """How the runs of a search are made."""
        kept = KeptRuns(self.folder / "runs")
        return SearchOptions(threads=self.threads, progress=self.tell, kept=kept)


def serve_study(
    line: Connection,
    text: str,
    source_file: str,
    folder: str,
    lock: str,
    threads: int,
    kind: str,
    options: str,
) -> None:
    """Main function of a study's process; what is said over the line: see `converse`.

    Parameters
    ----------
    line : Connection
        To the server.
    text, source_file : str
        The case as `parse_case` takes it.
    folder, lock : str
        Folder of the study, and the file that is locked while this process writes to it.
    threads : int
        For the solvers.
    kind, options : str
        Of the job.
    """

    def work(tell: Tell) -> None:
        with held(lock, LOCKED):
            given = Given(text, source_file, Path(folder), threads, json.loads(options), tell)
            given.folder.mkdir(exist_ok=True)
            answer = WORK[kind](given)
            if answer is not None:
                write_json(given.folder / ANSWER, {"kind": kind, **answer})

    converse(line, work)


def _plan(given: Given) -> None:
    """Rank the sequences of a plan; the folder keeps every weld that is computed."""
    plan = parse_plan(given.text, given.source_file)
    found = rank(
        plan, given.folder, given.threads, None, given.tell,
        growing=lambda study: write_plan(study, given.folder),
    )  # fmt: skip
    if folder := given.options.get("band"):
        found = with_spread(found, spread_for(plan, folder))
    write_plan(found, given.folder)
    write_pages(found, given.folder)


def _next(given: Given) -> dict[str, Any]:
    """What explains readings, and how to go on."""
    o = given.options
    study = open_study(o["folder"], o.get("tolerance"))
    done = read_moves(study.plan, o["after"])
    read = read_readings(study.plan, o["readings"], o.get("noise"))
    spread = spread_for(study.plan, o["band"]) if o.get("band") else None
    advice = advise(study, done, read, given.threads, None, given.tell, spread)
    return {
        **_in_words(advice_lines(study.plan, advice)),
        "record": advice_record(study.plan, advice),
        "after": o["after"],
    }


def _in_words(lines: Iterable[str]) -> dict[str, list[str]]:
    """Lines in both units, before they are written as plain text."""
    lines = list(lines)
    return {"words": list(map(str, lines)), "words_us": in_us(lines)}


def advice_record(plan: Plan, advice: Advice) -> dict[str, Any]:
    """Advice as plain data; movements in the unit of their column or of the tolerance.

    Parameters
    ----------
    plan : Plan
        That was asked.
    advice : Advice
        What it answered.

    Returns
    -------
    dict
        `readings`, `unknowns` and `ways`, best first.
    """
    found = advice.estimate
    scale, unit = SCALES[plan.tolerance.measure]

    def shown(column: Column, value: float) -> float:
        return float(column.to_display(value))

    return {
        "unit": unit,
        "distance": target_distance(plan),
        "tolerance": str(plan.tolerance),
        "contradictory": bool(found.contradictory),
        "readings": [
            {"name": c.name, "read": shown(c, r), "expected": shown(c, e), "unit": c.unit}
            for c, r, e in zip(advice.columns, advice.reading, advice.expected, strict=True)
        ],
        "unknowns": [
            {"name": u.name, "factor": float(f), "spread": float(s),
             "at_bound": u.name in found.at_bound,
             "value_si": float(u.times(f, 0.0)) if u.zero else None}
            for u, f, s in zip(advice.unknowns, found.factors, found.spread, strict=True)
        ],
        "ways": [
            {
                "text": plan.text(a.moves),
                "order": [f"{s}:{plan.word(s, w)}" for s, w in a.moves],
                "setting": plan.settings[a.setting].label if len(plan.settings) > 1 else "",
                "off": scale * float(a.off), "chance": float(a.chance),
            }
            for a in advice.directions
        ],
    }  # fmt: skip


def _why(given: Given) -> dict[str, Any]:
    """Which weld, and which part of it, moved each gauge of a run."""
    path = write_why(given.options["folder"], given.options["replay"], given.tell, given.threads)
    record = read_json_file(path)
    return {**_in_words(record["in_words"]), "record": record}


def _preset(given: Given) -> dict[str, Any]:
    """How far to set the part off before welding."""
    case = parse_case(given.text, given.source_file)
    runs = given.options.get("runs", 4)
    record = preset_record(find_preset(case, given.target(), runs, given.search()))
    return {**_in_words(record["in_words"]), "record": record}


def _clamps(given: Given) -> dict[str, Any]:
    """Where to clamp it."""
    case = parse_case(given.text, given.source_file)
    record = clamp_record(find_clamps(case, given.target(), given.search()))
    return {**_in_words(record["in_words"]), "record": record}


def _correct(given: Given) -> dict[str, Any]:
    """A heating line or one more bead that brings it back."""
    o = given.options
    case = parse_case(given.text, given.source_file)
    limit = parse(o["limit"], "temperature") if o.get("limit") else None
    choice = LineChoice(o.get("line", "line"), limit)
    record = correction_record(find_correction(case, given.target(), choice, given.search()))
    return {**_in_words(record["in_words"]), "record": record}


def _heats(given: Given) -> dict[str, Any]:
    """A bar at several heats: along the travel against toward the bead."""
    case = parse_case(given.text, given.source_file)
    grade = given.options.get("grade", "quick")
    found = crossover(case, None, grade, given.tell, given.threads, given.search().kept)
    record = read_json_file(write_crossover(found, given.folder))
    return {**_in_words([record["in_words"]]), "record": record}


def _fit(given: Given) -> dict[str, Any]:
    """What a shop does not know, from what it has measured."""
    answer = fit_answer(given.options, given.folder, given.threads, given.tell)
    return {**_in_words(answer.pop("lines")), **answer}


def _band(given: Given) -> dict[str, Any]:
    """Between what each gauge ends, and what explains it."""
    case = parse_case(given.text, given.source_file)
    answer = band_answer(case, given.options, given.folder, given.threads, given.tell)
    return {**_in_words(answer.pop("lines")), **answer}


WORK: dict[str, Callable[[Given], dict[str, Any] | None]] = {
    "plan": _plan, "next": _next, "why": _why, "preset": _preset, "clamps": _clamps,
    "correct": _correct, "heats": _heats, "fit": _fit, "band": _band,
}  # fmt: skip
