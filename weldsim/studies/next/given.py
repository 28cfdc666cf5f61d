"""What `weldsim next` is given, checked: a folder, the welds done, readings. See `next_study`."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.case.overrides import apply_overrides
from weldsim.errors import CaseError
from weldsim.studies.plan.space import Plan, columns_of, parse_plan
from weldsim.units import parse

READ_OFF = {"mrad": 0.1, "mm": 0.5}  # standard deviation of a reading when none is stated


def open_study(folder, tolerance: str | None = None) -> tuple[Plan, Path, dict | None]:
    """Plan, folder of branches, and record of a study; of a run folder, a plan of its case.

    Raises
    ------
    CaseError
        If the folder is neither, or nothing that a gauge reads is planned.
    """
    folder = Path(folder)
    if (folder / "plan.json").exists():
        record = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
        plan = parse_plan(record["case"], record["source_file"], record["overrides"])
        check_measure(plan)
        return plan, folder, record
    if not (folder / "case.json").exists():
        raise CaseError(f"{folder}: neither a study (plan.json) nor a run folder (case.json)")
    kept = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    text, overrides = kept["source"], tuple(kept["overrides"])
    if "plan" not in tomllib.loads(text):
        text = _with_plan(folder, text, overrides, tolerance)
    plan = parse_plan(text, kept["source_file"], overrides)
    check_measure(plan)
    return plan, folder / "next", None


def check_measure(plan: Plan) -> None:
    """Refuse a plan of something that is not read on a gauge."""
    if not plan.measure_columns:
        raise CaseError(
            f"{plan.case.source_file} [plan] measure: {plan.section.measure!r} is not read on a "
            "gauge after a weld, allowed here: a pointer, bow, dial or gap"
        )


def _with_plan(folder, text: str, overrides, tolerance) -> str:
    """The text of a case with a [plan] section for its first pointer."""
    import tomli_w

    raw = tomllib.loads(text)
    changed = tomllib.loads(text)
    apply_overrides(changed, overrides)
    pointers = [g for g in changed.get("gauge", ()) if g.get("kind") == "pointer"]
    if not pointers:
        raise CaseError(f"{folder}: its case has no pointer to read; add a [plan] section")
    tolerance = tolerance or pointers[0].get("tolerance")
    if tolerance is None:
        raise CaseError(f'{folder}: its case states no tolerance: add --tolerance "1 mrad"')
    raw["plan"] = {"measure": pointers[0]["name"], "tolerance": tolerance}
    if "size" in pointers[0]:
        raw["plan"]["size"] = pointers[0]["size"]
    return tomli_w.dumps(raw)


def read_moves(plan: Plan, after: str) -> tuple:
    """Moves welded so far, from "front:+x,back:-x"; a bare seam name ends the case's own order."""
    items = [i.strip() for i in after.split(",") if i.strip()]
    if len(items) == 1 and ":" not in items[0]:
        items = _own_order(plan, items[0])
    moves = []
    for item in items:
        seam, _, word = (p.strip() for p in item.partition(":"))
        if seam not in plan.words:
            known = ", ".join(plan.words)
            raise CaseError(f"--after {item}: no seam of that name, known: {known}")
        senses = plan.known[seam]
        if word not in senses:
            raise CaseError(f"--after {item}: {word!r} is no travel there: {', '.join(senses)}")
        moves.append((seam, senses[word]))
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
            travel.setdefault(weld.seam or weld.name, weld.travel)
    if last not in travel:
        raise CaseError(f"--after {last}: no seam of that name, known: {', '.join(travel)}")
    names = list(travel)
    return [f"{s}:{travel[s]}" for s in names[: names.index(last) + 1]]


def read_readings(plan: Plan, texts) -> tuple[tuple[str, ...], np.ndarray]:
    """Columns and values from "pointer.up=-12mm"; mm or mrad as written, each side once."""
    found: dict[str, tuple[str, float]] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        stem = _side(plan, text, name.strip())
        if not sign or stem is None:
            such = ", ".join(".".join(_parted(plan, s)) for s in _stems(plan))
            raise CaseError(f"--reading {text}: write GAUGE.SIDE=VALUE, sides here: {such}")
        if stem in found:
            raise CaseError(f"--reading {text}: this side is read twice")
        found[stem] = _value(plan, text, stem, value.strip())
    if not found:
        raise CaseError("--reading: missing, such as --reading pointer.up=-12mm")
    return tuple(c for c, _ in found.values()), np.array([v for _, v in found.values()])


def _stems(plan: Plan) -> list[str]:
    """Columns without their units, each once: the sides of all gauges."""
    return list(dict.fromkeys(c.rpartition("_")[0] for c in columns_of(plan.case)))


def _parted(plan: Plan, stem: str) -> tuple[str, str]:
    """Gauge and side of a stem; a gauge's name may hold a line below itself."""
    gauge = max((g.name for g in plan.case.gauges if stem.startswith(f"{g.name}_")), key=len)
    return gauge, stem.removeprefix(f"{gauge}_")


def _side(plan: Plan, text: str, name: str) -> str | None:
    """The stem that "pointer.up", or "bow" alone, stands for; None if there is no such."""
    gauge, _, part = name.partition(".")
    own = [s for s in _stems(plan) if _parted(plan, s)[0] == gauge]
    if part:
        return next((s for s in own if _parted(plan, s)[1] == part), None)
    if len(own) > 1:
        named = " or ".join(".".join(_parted(plan, s)) for s in own)
        raise CaseError(f"--reading {text}: {gauge} has more than one side, write {named}")
    return own[0] if own else None


def _value(plan: Plan, text: str, stem: str, value: str) -> tuple[str, float]:
    for unit, kind in (("mm", "length"), ("mrad", "angle")):
        try:
            number = 1e3 * parse(value, kind)
        except ValueError:
            continue
        if f"{stem}_{unit}" not in columns_of(plan.case):
            raise CaseError(f"--reading {text}: this gauge is not read in {unit}")
        return f"{stem}_{unit}", number
    raise CaseError(f'--reading {text}: value with its unit, such as "-12 mm" or "2 mrad"')


@dataclass(frozen=True)
class Read:
    """Readings in one unit for each gauge, that of the measure where they are its own.

    Attributes
    ----------
    columns : (R,) gauge columns
    values, noise : (R,) and their standard deviations, in the columns' units
    """

    columns: tuple[str, ...]
    values: np.ndarray
    noise: np.ndarray


def in_one_unit(plan: Plan, columns, values, noise, expected: dict) -> Read:
    """Readings of a pointer in mm on its target and in mrad brought to one unit.

    Parameters
    ----------
    columns, values : as read
    noise : float or None
        Standard deviation of each in its own unit; `READ_OFF` when left out.
    expected : dict
        Column -> what the model reads: the spot on a target moves by throw times the tilt and by
        the shift of the part besides, which is the model's.
    """
    out = []
    for column, value in zip(columns, values, strict=True):
        unit = column.rpartition("_")[2]
        wanted, rate = _wanted(plan, column)
        number = expected[wanted] + rate * (value - expected[column])
        out.append((wanted, number, rate * (noise or READ_OFF[unit])))
    names, numbers, spreads = zip(*out, strict=True)
    return Read(names, np.array(numbers), np.array(spreads))


def _wanted(plan: Plan, column: str) -> tuple[str, float]:
    """Column to which a reading is brought, and its units for each unit read."""
    stem, _, unit = column.rpartition("_")
    gauge = next(g for g in plan.case.gauges if g.name == _parted(plan, stem)[0])
    if gauge.kind != "pointer" or column in plan.measure_columns:
        return column, 1.0
    goal = "mm" if f"{stem}_mm" in plan.measure_columns else "mrad"
    if goal == unit:
        return column, 1.0
    return f"{stem}_{goal}", gauge.throw if goal == "mm" else 1.0 / gauge.throw
