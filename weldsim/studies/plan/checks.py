"""What a [plan] section may say, checked against its case: one line for each mistake."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import groupby, product
from typing import Any

from weldsim.case.keys import section_model
from weldsim.case.travel import directions_of_case, opposite
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case
from weldsim.schema.column import Column
from weldsim.schema.section_checks import nearest, quantity_kind
from weldsim.schema.sections import TOP
from weldsim.schema.tolerance import Tolerance, kinds, read_tolerance
from weldsim.studies.spreads import value_name
from weldsim.studies.targets import MOVEMENTS
from weldsim.units import KINDS, parse

MEASURES = ("time", "reaction", "stress")  # besides gauges and their columns


@dataclass(frozen=True)
class Setting:
    """Changes to keys of the case that hold for a whole schedule.

    Attributes
    ----------
    changes : tuple of (key, value)
        As `Case.with_changes` takes them.
    """

    changes: tuple[tuple[str, Any], ...] = ()

    @property
    def written(self) -> tuple[str, ...]:
        """The changes as the command line has them."""
        return tuple(f"{k}={json.dumps(v, ensure_ascii=False)}" for k, v in self.changes)

    @property
    def label(self) -> str:
        """The changes as a person reads them."""
        plain = (f"{value_name(k)}: {_plain(v)}" for k, v in self.changes)
        return ", ".join(plain) or "as in the case"


def _plain(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False).replace('"', "")


def known_words(case) -> dict:
    """Seam -> {word: direction} of every word for a travel; first as the case itself says it."""
    known = directions_of_case(case)
    if not kind_of_case(case).seams_of_welds:
        own = {w.seam: w.travel for w in reversed(case.welds) if w.tack < 0}
        return {s: _in_own_words(words, own.get(s)) for s, words in known.items()}
    return {
        w.seam: {word: w.direction * direction for word, direction in own.items()}
        for w in case.welds
        for own in [_as_it_stands(known[w.seam], w.travel)]
    }


def _in_own_words(words: Mapping[str, int], travel: str | None) -> dict[str, int]:
    """The same words, that of the case's travel and its opposite first."""
    if travel not in words:
        return dict(words)
    pair = (travel, opposite(words, travel))
    return {w: words[w] for w in (*pair, *(w for w in words if w not in pair))}


def _as_it_stands(words: dict, travel: str) -> dict:
    """The two words of a bead's own line, that of its travel first."""
    other = next(w for w, direction in words.items() if direction == -words[travel])
    return {travel: words[travel], other: words[other]}


def words_of(case, section, mistakes) -> dict:
    """Seam -> {direction: word}, in the order of the case or of `seams`."""
    known = known_words(case)
    welded = [w.seam for w in case.welds if w.tack < 0]
    wanted = section.seams or list(dict.fromkeys(welded))
    out = {}
    for seam in wanted:
        if seam not in known:
            mistakes.append(f"[plan] seams: {seam!r} is unknown{nearest(seam, known)}")
            continue
        directions = {}
        for word, direction in known[seam].items():
            directions.setdefault(direction, word)
        if section.travel.get(seam) == []:
            mistakes.append(f"[plan] travel.{seam}: names no travel, allowed: one or both")
        for word in section.travel.get(seam, ()):
            if word not in known[seam]:
                mistakes.append(
                    f"[plan] travel.{seam}: {word!r} is not allowed: write "
                    + " or ".join(f'"{w}"' for w in known[seam])
                )
        if seam in section.travel:
            directions = {known[seam][w]: w for w in section.travel[seam] if w in known[seam]}
        out[seam] = directions or {1: next(iter(known[seam]))}
    for seam in section.travel:
        if seam not in wanted:
            mistakes.append(f"[plan] travel.{seam}: no such seam{nearest(seam, wanted)}")
    if len(set(wanted)) < len(wanted):
        mistakes.append("[plan] seams: a seam stands there twice, allowed: once")
    return out


def check_rules(section, words, mistakes) -> None:
    """Rules of order, and that the best are confirmed at a finer grade."""
    for key in ("first", "last"):
        for seam in getattr(section, key):
            if seam not in words:
                mistakes.append(f"[plan] {key}: {seam!r} is unknown{nearest(seam, words)}")
    for pair in section.before:
        if len(pair) != 2 or any(s not in words for s in pair):
            mistakes.append(
                f"[plan] before: {pair!r} is not allowed: pairs of seams, the earlier one first, "
                f"known: {', '.join(words)}"
            )
    if not mistakes and not can_be_ordered(section, words):
        mistakes.append("[plan] first, last and before leave no sequence to weld in")

    grades = list(GRADES)
    if section.confirm and grades.index(section.confirm_grade) <= grades.index(section.grade):
        finer = ", ".join(grades[grades.index(section.grade) + 1 :])
        mistakes.append(
            f"[plan] confirm_grade: {section.confirm_grade!r} is not finer than grade "
            f"{section.grade!r}, allowed: {finer}, or confirm = 0"
        )


def can_be_ordered(section, words) -> bool:
    """Whether all rules of order can be kept at once: each is a row of pairs, earlier and later."""
    earlier: dict = {s: set() for s in words}
    for a, b in section.before:
        earlier[b].add(a)
    for s in words:
        earlier[s] |= set(section.first) if s not in section.first else set()
    for last in section.last:
        earlier[last] |= {s for s in words if s not in section.last}
    try:
        TopologicalSorter(earlier).prepare()
    except CycleError:
        return False
    return True


def check_own_rules(case, raw, section, mistakes) -> None:
    """What a case says of its own order that a plan could not keep."""
    if kind_of_case(case).seams_of_welds:
        if section.pause is None and "plan.pause" not in section.vary and not usual_rule(case):
            mistakes.append(
                "[plan] pause: missing; the beads are put in sequence with one pause between them, "
                'such as "60 s", and their own start rules differ'
            )
        own = [k for k in section.vary if k.startswith("weld.") and k.endswith(".start")]
        for key in own:
            mistakes.append(f'[plan] vary: "{key}" is not allowed: "plan.pause" sets the pause')
    else:
        if section.pause is not None or "plan.pause" in section.vary:
            mistakes.append("[plan] pause: is for bars; a joint has [schedule] pause or interpass")
        for weld in raw.get("weld", ()):
            if "start" in weld:
                mistakes.append(
                    f"[weld.{weld.get('name')}] start: a plan sets the sequence, so the time "
                    "between welds comes from [schedule] pause or interpass, allowed: none here"
                )
        for item in raw.get("schedule", {}).get("order", ()):
            if "/" in item:
                mistakes.append(
                    f"[schedule] order: {item!r}: a plan welds all passes of a seam in one go, "
                    "allowed: seams without a pass"
                )
        order = [s for s, _ in groupby(w.seam for w in case.welds if w.tack < 0)]
        twice = sorted({s for s in order if order.count(s) > 1})
        if twice:
            mistakes.append(
                f"[schedule] order: comes back to {', '.join(twice)}: a plan welds all of a seam "
                "in one go, allowed: the sections of a seam one after the other"
            )
    for key in section.vary:
        if key.startswith("plan.") and (
            key != "plan.pause" or not kind_of_case(case).seams_of_welds
        ):
            mistakes.append(f'[plan] vary: "{key}" is not a key of the case')


def settings_of(case, section, mistakes) -> tuple[Setting, ...]:
    """Every combination of the values that may vary."""
    keys = list(section.vary)
    for key in keys:
        if not section.vary[key]:
            mistakes.append(f'[plan] vary: "{key}" has no values, allowed: one or more')
        for value in section.vary[key]:
            _check_value(case, key, value, mistakes)
    return tuple(
        Setting(tuple(zip(keys, values, strict=True)))
        for values in product(*(section.vary[k] for k in keys))
    )


def _check_value(case, key: str, value, mistakes) -> None:
    """A file has its quantities with a unit, and nothing but text, numbers and lists of them."""
    try:
        json.dumps(value)
    except TypeError as error:
        mistakes.append(f"[plan] vary: {error}, allowed: texts and numbers")
    name = key.split(".")[0]
    if name not in TOP or name == "title":
        return
    quantity = quantity_kind(section_model(name, case.part.kind), key.split(".")[-1])
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if quantity and number:
        such = f"{value:g} {KINDS[quantity][0]}"
        mistakes.append(f'[plan] vary: "{key}": {value} has no unit, allowed: such as "{such}"')


def tolerance_of(case, section, mistakes) -> Tolerance | None:
    """The tolerance of what is measured, and whether it is something that is measured."""
    columns = [c.name for c in columns_of(case)]
    measure = section.measure
    names = [g.name for g in case.gauges if g.kind in ("pointer", "bow", "gap", "dial")]
    known = (*names, *columns, *MEASURES)
    if measure not in known:
        mistakes.append(f"[plan] measure: {measure!r} is unknown{nearest(measure, known)}")
        return None
    if measure in MEASURES:
        return _plain_limit(section, measure, mistakes)
    angle = _is_angle(case, measure)
    kind = section.kind or ("angle" if angle else "straightness")
    column = measure in columns  # of a pointer as a whole, either the tilt or the spot may count
    tilts = angle and (column or kind in ("angle", "slope"))
    if section.kind and (kind in ("angle", "slope")) != tilts:
        fits = "angle, slope" if angle else "linear, straightness"
        mistakes.append(f"[plan] kind: {kind!r} does not suit {measure}, allowed: {fits}")
        return None
    if kind not in kinds():
        mistakes.append(f"[plan] kind: {kind!r} is not allowed: write {', '.join(kinds())}")
        return None
    try:
        distance = next((g.throw for g in case.gauges if g.name == measure), None)
        return read_tolerance(section.tolerance, kind, section.size, distance)
    except CaseError as error:
        mistakes.append(f"[plan] {error}")
        return None


def _plain_limit(section, measure, mistakes):
    """Limit of a time, a force or a stress, in SI."""
    kind = {"time": "time", "reaction": "force", "stress": "stress"}[measure]
    try:
        value = parse(section.tolerance, kind)
        if value <= 0:
            raise ValueError(f"{section.tolerance!r} is not allowed: it must be greater than zero")
        return Tolerance(section.tolerance, value, measure, "as stated")
    except ValueError as error:
        mistakes.append(f"[plan] tolerance: {error}")
        return None


def _is_angle(case, measure: str) -> bool:
    if measure.endswith("_mrad"):
        return True
    return any(g.name == measure and g.kind == "pointer" for g in case.gauges)


def columns_of(case) -> list[Column]:
    """Columns of the gauges that read movement."""
    return [Column(g.name, *end) for g in case.gauges for end in MOVEMENTS.get(g.kind, ())]


def usual_rule(case) -> tuple[str, float] | None:
    """What all beads of a bar but the first wait for: ("after", pause [s]) or ("below", [K]) of
    the bead before; None where they differ."""
    rules = {(w.start.kind, w.start.seconds, w.start.temperature) for w in case.welds[1:]}
    if not rules:
        return "after", 0.0
    kind, seconds, temperature = rules.pop()
    if rules or kind not in ("after", "below"):
        return None
    return (kind, seconds) if kind == "after" else (kind, temperature)
