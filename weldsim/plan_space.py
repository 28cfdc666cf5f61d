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
from functools import cached_property, lru_cache
from graphlib import CycleError, TopologicalSorter
from itertools import groupby, islice, product
from math import factorial
from pathlib import Path

from weldsim import __version__
from weldsim.case import Case, parse_case
from weldsim.case_keys import PlanSection, check_section, nearest
from weldsim.errors import CaseError
from weldsim.tolerance import Tolerance, kinds, read_tolerance

MEASURES = ("time", "reaction", "stress")  # besides gauges and their columns
ALL = 2000  # schedules up to which all are evaluated; more go to the optimiser
COLUMNS = {  # of the gauges that read movement
    "pointer": ("up_mrad", "right_mrad", "up_mm", "right_mm"), "bow": ("bow_mm",),
    "dial": ("travel_mm",), "gap": ("opening_mm",),
}  # fmt: skip
SCALES = {"angle": (1e3, "mrad"), "length": (1e3, "mm"), "slope": (1e3, "mm/m"),
          "time": (1.0, "s"), "reaction": (1.0, "N"), "stress": (1e-6, "MPa")}  # fmt: skip
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

    @cached_property
    def known(self) -> dict:
        """Seam -> {word: sense}: every word for a travel along it, allowed or not."""
        return known_words(self.case)

    def word(self, seam: str, sense: int) -> str:
        """The word for a travel, the plan's own where it allows it: mirror images need others."""
        if sense in self.words.get(seam, {}):
            return self.words[seam][sense]
        return next(w for w, s in self.known[seam].items() if s == sense)

    @cached_property
    def measure_columns(self) -> tuple[str, ...]:
        """Gauge columns whose length is the measure; none for a time, a force or a stress."""
        name = self.section.measure
        if name in MEASURES:
            return ()
        if name in columns_of(self.case):
            return (name,)
        kind = next(g.kind for g in self.case.gauges if g.name == name)
        if kind == "pointer":
            ends = COLUMNS[kind][2:] if self.tolerance.measure == "length" else COLUMNS[kind][:2]
        else:
            ends = COLUMNS[kind][:1]
        return tuple(f"{name}_{e}" for e in ends)

    @cached_property
    def size(self) -> int:
        """How many schedules are allowed, settings counted; where they are more than `ALL` by far,
        the number without the rules of order."""
        each = len(self.settings)
        for senses in self.words.values():
            each *= len(senses)
        orders = sum(1 for _ in islice(self._orders(()), ALL // each + 1))
        return each * (orders if each * orders <= ALL else factorial(len(self.words)))

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

    def _orders(self, begun: tuple) -> Iterator[tuple]:
        """Allowed orders that begin with some seams; what is forbidden is not gone into."""
        if not self.allowed([(s, 1) for s in begun]):
            return
        rest = [s for s in self.words if s not in begun]
        if not rest:
            yield begun
        for seam in rest:
            yield from self._orders((*begun, seam))

    def schedules(self) -> Iterator[tuple]:
        """All orders and senses that are allowed, as rows of moves."""
        return self.continuations(())

    def continuations(self, done) -> Iterator[tuple]:
        """Allowed schedules that begin with the moves done, whole rows."""
        done = tuple(done)
        for order in self._orders(tuple(s for s, _ in done)):
            rest = order[len(done) :]
            for senses in product(*(self.words[s] for s in rest)):
                yield (*done, *zip(rest, senses, strict=True))

    def text(self, moves) -> str:
        """A schedule as a person would read it out."""
        return ", ".join(f"{s} {self.word(s, w)}" for s, w in moves)

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
        file = getattr(self.case.part, "file", None)  # a mesh or solid of one's own
        if file is not None:
            own = [*own, hashlib.sha256(Path(file).read_bytes()).hexdigest()]
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
    if not mistakes and "confirm_grade" not in raw["plan"]:  # normal, or finer than the ranking
        from weldsim.mesh import GRADES

        grades = list(GRADES)
        at = max(grades.index("normal"), grades.index(section.grade) + 1)
        section = section.model_copy(update={"confirm_grade": grades[at]})
    if not mistakes:
        words = _words(case, section, mistakes)
        _rules(section, words, mistakes)
        _own_rules(case, raw, section, mistakes)
        settings = _settings(section, mistakes)
        tolerance = _tolerance(case, section, mistakes)
    if mistakes:
        raise CaseError("\n".join(f"{source_file} {m}" for m in mistakes))
    plan = Plan(case, section, words, settings, tolerance)
    for setting in settings:  # a change that is wrong is said before hours are spent
        plan.bound(setting, [(s, next(iter(w))) for s, w in words.items()])
    if next(plan.schedules(), None) is None:
        raise CaseError(f"{source_file} [plan]: first, last and before leave no order to weld in")
    return plan


def known_words(case) -> dict:
    """Seam -> {word: sense} of every word for a travel; a bar's first is as its bead stands."""
    if case.part.kind == "bar":
        from weldsim.joints.bar import OTHER_WAY

        return {w.name: {w.travel: 1, OTHER_WAY[w.travel]: -1} for w in case.welds}
    from weldsim.case_joint import ways_of
    from weldsim.joints import joint_module

    module = joint_module(case.part.kind)
    held = [
        module.place(case.part, f) for c in case.clamps for f in c.at
        if _there(module, case.part, f)
    ]  # fmt: skip
    lines = module.seam_lines(case.part)
    return {name: ways_of(line, case.part, held) for name, line in lines.items()}


def _words(case, section, mistakes) -> dict:
    """Seam -> {sense: word}, in the order of the case or of `seams`."""
    known = known_words(case)
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
        if section.travel.get(seam) == []:
            mistakes.append(f"[plan] travel.{seam}: names no travel, allowed: one or both")
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

    if not mistakes and not _can_be_ordered(section, words):
        mistakes.append("[plan] first, last and before leave no order to weld in")
    from weldsim.mesh import GRADES

    grades = list(GRADES)
    if section.confirm and grades.index(section.confirm_grade) <= grades.index(section.grade):
        finer = ", ".join(grades[grades.index(section.grade) + 1 :])
        mistakes.append(
            f"[plan] confirm_grade: {section.confirm_grade!r} is not finer than grade "
            f"{section.grade!r}, allowed: {finer}, or confirm = 0"
        )


def _can_be_ordered(section, words) -> bool:
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


def _own_rules(case, raw, section, mistakes) -> None:
    """What a case says of its own order that a plan could not keep."""
    if case.part.kind == "bar":
        if section.pause is None and "plan.pause" not in section.vary and not _rule(case):
            mistakes.append(
                "[plan] pause: missing; the beads are put in order with one pause between them, "
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
                    f"[weld.{weld.get('name')}] start: a plan sets the order, so the time between "
                    "welds comes from [schedule] pause or interpass, allowed: none here"
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
        if key.startswith("plan.") and (key != "plan.pause" or case.part.kind != "bar"):
            mistakes.append(f'[plan] vary: "{key}" is not a key of the case')


def _settings(section, mistakes) -> tuple[Setting, ...]:
    """Every combination of the values that may vary."""
    keys = list(section.vary)
    for key in keys:
        if not section.vary[key]:
            mistakes.append(f'[plan] vary: "{key}" has no values, allowed: one or more')
    try:
        return tuple(
            Setting(tuple(
                f"{k}={json.dumps(v, ensure_ascii=False)}"
                for k, v in zip(keys, values, strict=True)
            ))
            for values in product(*(section.vary[k] for k in keys))
        )  # fmt: skip
    except TypeError as error:
        mistakes.append(f"[plan] vary: {error}, allowed: texts and numbers")
        return ()


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
        return read_tolerance(section.tolerance, kind, section.size)
    except CaseError as error:
        mistakes.append(f"[plan] {error}")
        return None


def _plain_limit(section, measure, mistakes):
    """Limit of a time, a force or a stress, in SI."""
    from weldsim.units import parse

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


def columns_of(case) -> list[str]:
    """Columns of the gauges that read movement."""
    return [f"{g.name}_{e}" for g in case.gauges for e in COLUMNS.get(g.kind, ())]


def _reordered(plan: Plan, setting: Setting, moves) -> Case:
    case = plan.case
    overrides = [*case.overrides, *setting.changes]
    if case.part.kind != "bar":
        order = [item for move in moves for item in _items(plan, overrides, *move)]
        if case.welds and "schedule" not in tomllib.loads(case.source_text):
            raise CaseError(
                f"{case.source_file} [schedule]: missing; a plan puts its order there, with pause "
                "or interpass"
            )
        return parse_case(
            case.source_text, case.source_file, (*overrides, f"schedule.order={json.dumps(order)}")
        )
    return _bar_reordered(plan, overrides, moves)


def _items(plan: Plan, overrides, seam: str, sense: int) -> list[str]:
    """A move as the order of a case says it: by the seam's own [[weld]] sections where it has any,
    in their order, each turned as the first of them is."""
    own = _sections(plan.case.source_text, plan.case.source_file, tuple(overrides)).get(seam)
    if own is None:
        return [f"{seam}:{plan.word(seam, sense)}"]
    ways = [plan.known[seam][travel] for _, travel in own]
    return [
        f"{name}:{plan.word(seam, sense * way * ways[0])}"
        for (name, _), way in zip(own, ways, strict=True)
    ]


@lru_cache(maxsize=64)
def _sections(text: str, source_file: str, overrides: tuple) -> dict:
    """Seam -> (name, travel) of its welds in the case's own order; a name is a section's, else its
    own."""
    out: dict = {}
    for weld in parse_case(text, source_file, overrides).welds:
        if weld.tack < 0:
            named = (weld.name.partition(".")[0], weld.travel)
            rows = out.setdefault(weld.seam, [])
            if named not in rows:
                rows.append(named)
    return out


def _bar_reordered(plan: Plan, overrides, moves) -> Case:
    """A bar's beads are sections in order, so the text itself is put in order."""
    import tomli_w

    from weldsim.case_set import apply_overrides
    from weldsim.units import parse

    case = plan.case
    raw = tomllib.loads(case.source_text)
    apply_overrides(raw, overrides)
    by_name = {w["name"]: w for w in raw["weld"]}
    wanted, welds = raw["plan"].get("pause"), []
    rule = ("after", parse(wanted, "time")) if wanted is not None else _rule(case)
    for seam, sense in moves:
        start = _start(*rule, welds[-1]["name"]) if welds else "0 s"
        welds.append({**by_name[seam], "travel": plan.word(seam, sense), "start": start})
    raw["weld"] = welds
    fresh = parse_case(tomli_w.dumps(raw), case.source_file)
    return replace(fresh, overrides=())


def _rule(case) -> tuple[str, float] | None:
    """What all beads of a bar but the first wait for: ("after", pause [s]) or ("below", [K]) of
    the bead before; None where they differ."""
    rules = {(w.start.kind, w.start.seconds, w.start.temperature) for w in case.welds[1:]}
    if not rules:
        return "after", 0.0
    kind, seconds, temperature = rules.pop()
    if rules or kind not in ("after", "below"):
        return None
    return (kind, seconds) if kind == "after" else (kind, temperature)


def _start(kind: str, value: float, before: str) -> str:
    """A start rule as a case writes it."""
    if kind == "after":
        return f"{value:g} s after {before}"
    return f"when {before} below {value - 273.15:.6g} degC"
