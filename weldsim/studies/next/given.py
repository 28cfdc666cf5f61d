"""What is given after some welds, checked: a study's folder, the welds done, and readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.case.load import Case, parse_case
from weldsim.errors import CaseError, StoreError
from weldsim.runs.stored import read_json_file
from weldsim.schema.column import Column
from weldsim.studies.plan.checks import columns_of
from weldsim.studies.plan.drift import ENOUGH, Drift
from weldsim.studies.plan.space import Moves, Plan, plan_of
from weldsim.studies.stored_studies import StoredPlan, read_study
from weldsim.units import parse

ASSUMED_SHARE = 0.25  # of a movement: error of the ranking grade when a study states none
READING_NOISE = {"mrad": 0.1e-3, "mm": 0.5e-3}  # standard deviation where none is stated [SI]


@dataclass(frozen=True)
class OpenedStudy:
    """A plan with the folder of its branches, and what a study found.

    Attributes
    ----------
    plan : Plan
    folder : path
        Where branches lie, or are to lie.
    record : dict or None
        Of the study, as plan.json has it.
    drift : Drift or None
        How the study's ranking is off; `ASSUMED_SHARE` of each movement is taken for None.
    """

    plan: Plan
    folder: str | Path
    record: dict[str, Any] | None = None
    drift: Drift | None = None


def open_study(
    folder: str | Path, tolerance: str | None = None, grade: str | None = None
) -> OpenedStudy:
    """Open the folder of a study, or of a run with a plan of its case.

    Parameters
    ----------
    folder : path
        Of a study or of a run.
    tolerance : str, optional
        In place of the one that the case states; of a run whose case states none, needed.
    grade : str, optional
        Of the runs ahead, where the folder is that of a run; a study has its own.

    Returns
    -------
    OpenedStudy
        Of a run, with room for branches in its folder "next".

    Raises
    ------
    CaseError
        If the folder is neither, or nothing that a gauge reads is planned.
    StoreError
        If plan.json or case.json is damaged.
    """
    folder = Path(folder)
    study = (folder / "plan.json").exists()
    path = folder / ("plan.json" if study else "case.json")
    if not path.exists():
        raise CaseError(f"{folder}: neither a study (plan.json) nor a run folder (case.json)")
    record = read_study(path, StoredPlan) if study else read_json_file(path)
    try:
        text, overrides = record["case" if study else "source"], tuple(record["overrides"])
        case = parse_case(text, record["source_file"], overrides)
    except (KeyError, TypeError, AttributeError):
        raise StoreError(f"{path}: holds no case; plan or run it again") from None
    if not study and "plan" not in case.tables:
        case = _with_plan(folder, case, tolerance)
    elif tolerance is not None:  # no run depends on it: only what is said of the end does
        case = case.with_changes({"plan.tolerance": tolerance})
    if grade not in (None, case.tables["plan"].get("grade", "coarse")):
        if study:
            raise CaseError(
                f"{folder}: --grade {grade}: its sequences were run at another grade; plan again "
                f"with it, into another folder"
            )
        case = case.with_changes({"plan.grade": grade})
    plan = plan_of(case)
    check_measure(plan)
    if study:
        try:
            return OpenedStudy(plan, folder, record, study_drift(record))
        except (KeyError, TypeError, ValueError, AttributeError):
            raise StoreError(f"{path}: holds no ranking that can be read; plan again") from None
    return OpenedStudy(plan, folder / "next")


def study_drift(record: dict[str, Any]) -> Drift | None:
    """How the ranking of a study is off, from its record; None where it does not say.

    Where it found no factors, most of a large share is one that all sequences have in common, which
    tells none from another: no more than `ASSUMED_SHARE` of it counts.
    """
    drift = record.get("drift_alone") or record.get("drift")
    if not drift or record["unit"] not in ("mrad", "mm", "mm/m"):
        return None
    if drift.get("compared", 0) >= ENOUGH and drift.get("reach"):
        found = tuple(map(float, drift["factors"]))
        return Drift(found, 1e-3 * drift["rest"], drift["compared"], 1e-3 * drift["reach"])
    return Drift((1.0 + min(drift["share"], ASSUMED_SHARE),), 1e-3 * drift["rest"], 0)


def check_measure(plan: Plan) -> None:
    """Refuse a plan of something that is not read on a gauge."""
    if not plan.measure_columns:
        raise CaseError(
            f"{plan.case.source_file} [plan] measure: {plan.section.measure!r} is not read on a "
            "gauge after a weld, allowed here: a pointer, bow, dial or gap"
        )


def _with_plan(folder: Path, case: Case, tolerance: str | None) -> Case:
    """The case with a [plan] section for its first pointer."""
    pointers = [g for g in case.tables.get("gauge", ()) if g.get("kind") == "pointer"]
    if not pointers:
        raise CaseError(f"{folder}: its case has no pointer to read; add a [plan] section")
    tolerance = tolerance or pointers[0].get("tolerance")
    if tolerance is None:
        raise CaseError(f'{folder}: its case states no tolerance: add --tolerance "1 mrad"')
    changes = {"plan.measure": pointers[0]["name"], "plan.tolerance": tolerance}
    if "size" in pointers[0]:
        changes["plan.size"] = pointers[0]["size"]
    return case.with_changes(changes)


def read_moves(plan: Plan, after: str) -> Moves:
    """Moves welded so far, from "front:+x,back:-x"; a bare seam name ends the case's own order.

    Parameters
    ----------
    plan : Plan
        They are of.
    after : str
        Seams with their travel, or the last one of the case's own order.

    Returns
    -------
    row of moves
        (seam, direction) one after the other.

    Raises
    ------
    CaseError
        One line for what is no such move.
    """
    items = [i.strip() for i in after.split(",") if i.strip()]
    if len(items) == 1 and ":" not in items[0]:
        items = _own_order(plan, items[0])
    moves = []
    for item in items:
        seam, _, word = (p.strip() for p in item.partition(":"))
        if seam not in plan.words:
            known = ", ".join(plan.words)
            raise CaseError(f"--after {item}: no seam of that name, known: {known}")
        directions = plan.known[seam]
        if word not in directions:
            raise CaseError(f"--after {item}: {word!r} is no travel there: {', '.join(directions)}")
        moves.append((seam, directions[word]))
    if not moves:
        raise CaseError("--after: nothing is welded yet; weldsim plan says how to begin")
    if len({s for s, _ in moves}) < len(moves):
        raise CaseError(f"--after {after}: a seam stands there twice")
    if len(moves) >= len(plan.words):
        raise CaseError(f"--after {after}: nothing is left to weld")
    return tuple(moves)


def _own_order(plan: Plan, last: str) -> list[str]:
    """The case's own order up to a seam; the first weld of a seam says its travel."""
    travel: dict[str, str] = {}
    for weld in plan.case.welds:
        if weld.tack < 0:
            travel.setdefault(weld.seam, weld.travel)
    if last not in travel:
        raise CaseError(f"--after {last}: no seam of that name, known: {', '.join(travel)}")
    names = list(travel)
    return [f"{s}:{travel[s]}" for s in names[: names.index(last) + 1]]


@dataclass(frozen=True)
class Read:
    """What was read off the gauges, R readings.

    Attributes
    ----------
    columns : tuple of Column
    values, noise : ndarray, shape (R,)
        Readings and their standard deviations. [SI]
    """

    columns: tuple[Column, ...]
    values: np.ndarray
    noise: np.ndarray


def read_readings(plan: Plan, texts: Iterable[str], noise: float | None = None) -> Read:
    """Readings from "pointer.up=-12mm"; mm or mrad as written, each side once.

    Parameters
    ----------
    plan : Plan
        Of the gauges.
    texts : iterable of str
        One a side, GAUGE.SIDE=VALUE.
    noise : float, optional
        Standard deviation of each reading in its own unit; `READING_NOISE` when left out.

    Returns
    -------
    Read
        In SI.

    Raises
    ------
    CaseError
        One line for a reading that is not such.
    """
    found: dict[tuple[str, str], tuple[Column, float]] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        side = _side(plan, text, name.strip())
        if not sign or side is None:
            such = ", ".join(".".join(s) for s in _sides(plan))
            raise CaseError(f"--reading {text}: write GAUGE.SIDE=VALUE, sides here: {such}")
        if side in found:
            raise CaseError(f"--reading {text}: this side is read twice")
        found[side] = _value(plan, text, side, value.strip())
    if not found:
        raise CaseError("--reading: missing, such as --reading pointer.up=-12mm")
    columns = tuple(c for c, _ in found.values())
    spread = [READING_NOISE[c.unit] if noise is None else noise / c.factor for c in columns]
    return Read(columns, np.array([v for _, v in found.values()]), np.array(spread))


def _sides(plan: Plan) -> list[tuple[str, str]]:
    """Gauge and component of all columns that read movement, each once."""
    return list(dict.fromkeys((c.gauge, c.component) for c in columns_of(plan.case)))


def _side(plan: Plan, text: str, name: str) -> tuple[str, str] | None:
    """The side that "pointer.up", or "bow" alone, stands for; None if there is no such."""
    gauge, _, part = name.partition(".")
    own = [s for s in _sides(plan) if s[0] == gauge]
    if part:
        return next((s for s in own if s[1] == part), None)
    if len(own) > 1:
        named = " or ".join(".".join(s) for s in own)
        raise CaseError(f"--reading {text}: {gauge} has more than one side, write {named}")
    return own[0] if own else None


def _value(plan: Plan, text: str, side: tuple[str, str], value: str) -> tuple[Column, float]:
    for unit, kind in (("mm", "length"), ("mrad", "angle")):
        try:
            number = parse(value, kind)
        except ValueError:
            continue
        column = Column(*side, unit)
        if column not in columns_of(plan.case):
            raise CaseError(f"--reading {text}: this gauge is not read in {unit}")
        return column, number
    raise CaseError(f'--reading {text}: value with its unit, such as "-12 mm" or "2 mrad"')


def in_one_unit(plan: Plan, read: Read, expected: Mapping[Column, float]) -> Read:
    """Readings of a pointer in mm on its target and in mrad brought to one unit.

    Parameters
    ----------
    plan : Plan
    read : Read
    expected : mapping
        Column -> what the model reads [SI]: the spot on a target moves by throw times the tilt and
        by the shift of the part besides, which is the model's.

    Returns
    -------
    Read
        In that of the measure where the columns are its own.
    """
    out = []
    for column, value, noise in zip(read.columns, read.values, read.noise, strict=True):
        wanted, rate = _wanted(plan, column)
        number = expected[wanted] + rate * (value - expected[column])
        out.append((wanted, number, abs(rate) * noise))
    columns, numbers, spreads = zip(*out, strict=True)
    return Read(columns, np.array(numbers), np.array(spreads))


def _wanted(plan: Plan, column: Column) -> tuple[Column, float]:
    """Column to which a reading is brought, and its change for one unit read. [SI]"""
    gauge = next(g for g in plan.case.gauges if g.name == column.gauge)
    if gauge.kind != "pointer" or column in plan.measure_columns:
        return column, 1.0
    spot = replace(column, unit="mm")
    wanted = spot if spot in plan.measure_columns else replace(column, unit="mrad")
    if wanted == column:
        return column, 1.0
    return wanted, gauge.throw if wanted == spot else 1.0 / gauge.throw
