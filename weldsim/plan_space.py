"""What may vary in a job and what counts: the [plan] section of a case file, and its schedules.

A move is one seam welded in one sense; a schedule is a row of moves, with settings (changes of
other keys of the case) that hold for the whole of it.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations, product
from math import factorial
from pathlib import Path

from weldsim import __version__
from weldsim.case import Case, parse_case
from weldsim.case_keys import PlanSection, check_section, nearest
from weldsim.errors import CaseError
from weldsim.tolerance import Tolerance, kinds, read_tolerance

MEASURES = ("time", "reaction", "stress")  # besides gauges and their columns
UNITS = {"angle": ("mrad", 1e3), "length": ("mm", 1e3), "slope": ("mm/m", 1e3)}


@dataclass(frozen=True)
class Setting:
    """Changes to keys of the case that hold for a whole schedule."""

    changes: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        plain = (c.replace("=", " ", 1).replace('"', "") for c in self.changes)
        return ", ".join(plain) or "as in the case"


@dataclass(frozen=True)
class Plan:
    """A job with its choices.

    Attributes
    ----------
    case : the case as the file has it
    section : PlanSection
    words : seam -> {sense: word for the travel}, the senses allowed
    settings : one or more
    tolerance : what still counts as good
    """

    case: Case
    section: PlanSection
    words: dict
    settings: tuple[Setting, ...]
    tolerance: Tolerance

    @property
    def seams(self) -> tuple[str, ...]:
        return tuple(self.words)

    @cached_property
    def lines(self) -> dict:
        """Lines of all seams of a joint, welded or not; a bar has none."""
        from weldsim.joints import joint_module

        module = joint_module(self.case.part.kind)
        return module.seam_lines(self.case.part) if hasattr(module, "seam_lines") else {}

    @property
    def size(self) -> int:
        """Schedules when nothing is forbidden; the most that `schedules` can give."""
        count = factorial(len(self.words)) * len(self.settings)
        for senses in self.words.values():
            count *= len(senses)
        return count

    def allowed(self, moves) -> bool:
        """Whether a schedule, or the beginning of one, breaks no rule of order."""
        order, s = [m[0] for m in moves], self.section
        count = len(self.words)
        for i, seam in enumerate(order):
            if s.first and (i < len(s.first)) != (seam in s.first):
                return False
            if s.last and (i >= count - len(s.last)) != (seam in s.last):
                return False
        at = {seam: i for i, seam in enumerate(order)}
        return all(at.get(a, count) < at[b] for a, b in s.before if b in at)

    def schedules(self) -> Iterator[tuple]:
        """All orders and senses that are allowed, as rows of moves."""
        for order in permutations(self.words):
            if self.allowed([(s, 1) for s in order]):
                for senses in product(*(self.words[s] for s in order)):
                    yield tuple(zip(order, senses, strict=True))

    def text(self, moves) -> str:
        """A schedule as a person would read it out."""
        return ", ".join(f"{s} {self.words[s][w]}" for s, w in moves)

    def bound(self, setting: Setting, moves) -> Case:
        """The case with a setting and an order of moves."""
        return _reordered(self, setting, moves)

    def identity(self, setting: Setting, grade: str, moves) -> str:
        """Name under which the branch of a row of moves is kept: its inputs, nothing else."""
        raw = tomllib.loads(self.case.source_text)
        for key in ("plan", "title"):
            raw.pop(key, None)
        from weldsim.mesh import GRADES

        own = [c for c in self.case.overrides if not c.startswith(("plan.", "title="))]
        material = self.case.material_path
        if material.endswith(".toml"):
            material = Path(material).read_text(encoding="utf-8")
        inputs = [
            __version__, raw, material, own, list(setting.changes), repr(GRADES[grade]),
            list(self.words), self.section.pause, moves,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(inputs, default=str).encode()).hexdigest()[:24]


def load_plan(path, overrides=()) -> Plan:
    """Read a case file with a [plan] section.

    Raises
    ------
    CaseError
        One line for each mistake.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(f"{path}: cannot be read: {getattr(error, 'strerror', error)}") from None
    return parse_plan(text, str(path), overrides)


def parse_plan(text: str, source_file: str, overrides=()) -> Plan:
    """Check the text of a case file with a [plan] section; see `load_plan`."""
    from weldsim.case_set import apply_overrides

    case = parse_case(text, source_file, overrides)
    raw = tomllib.loads(text)
    apply_overrides(raw, tuple(overrides))
    if "plan" not in raw:
        raise CaseError(
            f"{source_file} [plan]: missing section; it says what may vary and what counts, such "
            'as measure = "pointer" and tolerance = "1 mrad"'
        )
    mistakes: list[str] = []
    section = check_section("plan", raw["plan"], "[plan]", mistakes)
    if not mistakes:
        words = _words(case, section, mistakes)
        _rules(section, words, mistakes)
        settings = _settings(section)
        tolerance = _tolerance(case, section, mistakes)
    if mistakes:
        raise CaseError("\n".join(f"{source_file} {m}" for m in mistakes))
    plan = Plan(case, section, words, settings, tolerance)
    for setting in settings:  # a change that is wrong is said before hours are spent
        plan.bound(setting, [(s, next(iter(w))) for s, w in words.items()])
    if not any(True for _ in plan.schedules()):
        raise CaseError(f"{source_file} [plan]: first, last and before leave no order to weld in")
    return plan


def _words(case, section, mistakes) -> dict:
    """Seam -> {sense: word}, in the order of the case or of `seams`."""
    if case.part.kind == "bar":
        from weldsim.joints.bar import OTHER_WAY

        ways = {w.name: {1: t, -1: OTHER_WAY[t]} for w in case.welds for t in [w.travel]}
        known = {name: {t: s for s, t in w.items()} for name, w in ways.items()}
    else:
        from weldsim.case_joint import ways_of
        from weldsim.joints import joint_module

        module = joint_module(case.part.kind)
        lines = module.seam_lines(case.part)
        held = [
            module.place(case.part, f) for c in case.clamps for f in c.at
            if _there(module, case.part, f)
        ]  # fmt: skip
        known = {name: ways_of(line, case.part, held) for name, line in lines.items()}
    welded = [w.seam or w.name for w in case.welds if w.tack < 0]
    wanted = section.seams or list(dict.fromkeys(welded))
    out = {}
    for seam in wanted:
        if seam not in known:
            mistakes.append(f"[plan] seams: {seam!r} is unknown{nearest(seam, known)}")
            continue
        senses = {}
        for word, sense in known[seam].items():
            senses.setdefault(sense, word)
        for word in section.travel.get(seam, ()):
            if word not in known[seam]:
                mistakes.append(
                    f"[plan] travel.{seam}: {word!r} is not allowed: write "
                    + " or ".join(f'"{w}"' for w in known[seam])
                )
        if seam in section.travel:
            senses = {known[seam][w]: w for w in section.travel[seam] if w in known[seam]}
        out[seam] = senses or {1: next(iter(known[seam]))}
    for seam in section.travel:
        if seam not in wanted:
            mistakes.append(f"[plan] travel.{seam}: no such seam{nearest(seam, wanted)}")
    if len(set(wanted)) < len(wanted):
        mistakes.append("[plan] seams: a seam stands there twice, allowed: once")
    return out


def _there(module, part, face) -> bool:
    try:
        module.place(part, face)
    except CaseError:
        return False
    return True


def _rules(section, words, mistakes) -> None:
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


def _settings(section) -> tuple[Setting, ...]:
    """Every combination of the values that may vary."""
    keys = list(section.vary)
    return tuple(
        Setting(tuple(f"{k}={json.dumps(v)}" for k, v in zip(keys, values, strict=True)))
        for values in product(*(section.vary[k] for k in keys))
    )


def _tolerance(case, section, mistakes) -> Tolerance | None:
    """The tolerance of what is measured, and whether it is something that is measured."""
    columns = columns_of(case)
    measure = section.measure
    names = [g.name for g in case.gauges if g.kind in ("pointer", "bow", "gap", "dial")]
    known = (*names, *columns, *MEASURES)
    if measure not in known:
        mistakes.append(f"[plan] measure: {measure!r} is unknown{nearest(measure, known)}")
        return None
    if measure in MEASURES:
        return _plain_limit(section, measure, mistakes)
    kind = section.kind or ("angle" if _is_angle(case, measure) else "straightness")
    if kind not in kinds():
        mistakes.append(f"[plan] kind: {kind!r} is not allowed: write {', '.join(kinds())}")
        return None
    try:
        return read_tolerance(section.tolerance, kind, section.size)
    except CaseError as error:
        mistakes.append(f"[plan] {error}")
        return None


def _plain_limit(section, measure, mistakes):
    """Limit of a time, a force or a stress, in SI."""
    from weldsim.units import parse

    kind = {"time": "time", "reaction": "force", "stress": "stress"}[measure]
    try:
        return Tolerance(section.tolerance, parse(section.tolerance, kind), measure, "as stated")
    except ValueError as error:
        mistakes.append(f"[plan] tolerance: {error}")
        return None


def _is_angle(case, measure: str) -> bool:
    if measure.endswith("_mrad"):
        return True
    return any(g.name == measure and g.kind == "pointer" for g in case.gauges)


def columns_of(case) -> list[str]:
    """Columns of the gauges that read movement."""
    ends = {
        "pointer": ("up_mrad", "right_mrad", "up_mm", "right_mm"), "bow": ("bow_mm",),
        "dial": ("travel_mm",), "gap": ("opening_mm",),
    }  # fmt: skip
    return [f"{g.name}_{e}" for g in case.gauges for e in ends.get(g.kind, ())]


def _reordered(plan: Plan, setting: Setting, moves) -> Case:
    case = plan.case
    overrides = [*case.overrides, *setting.changes]
    if case.part.kind != "bar":
        order = [f"{s}:{plan.words[s][w]}" for s, w in moves]
        if case.welds and "schedule" not in tomllib.loads(case.source_text):
            raise CaseError(
                f"{case.source_file} [schedule]: missing; a plan puts its order there, with pause "
                "or interpass"
            )
        return parse_case(
            case.source_text, case.source_file, (*overrides, f"schedule.order={json.dumps(order)}")
        )
    return _bar_reordered(plan, overrides, moves)


def _bar_reordered(plan: Plan, overrides, moves) -> Case:
    """A bar's beads are sections in order, so the text itself is put in order."""
    import tomli_w

    from weldsim.case_set import apply_overrides

    case = plan.case
    raw = tomllib.loads(case.source_text)
    apply_overrides(raw, overrides)
    by_name = {w["name"]: w for w in raw["weld"]}
    pause, welds = plan.section.pause or 0.0, []
    for seam, sense in moves:
        start = f"{pause:g} s after {welds[-1]['name']}" if welds else "0 s"
        welds.append({**by_name[seam], "travel": plan.words[seam][sense], "start": start})
    raw["weld"] = welds
    fresh = parse_case(tomli_w.dumps(raw), case.source_file)
    return replace(fresh, overrides=())
