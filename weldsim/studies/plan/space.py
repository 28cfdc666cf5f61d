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
from itertools import islice, product
from math import factorial
from pathlib import Path

from weldsim import __version__
from weldsim.case.load import Case, parse_case
from weldsim.errors import CaseError
from weldsim.schema.sections import PlanSection, check_section
from weldsim.schema.tolerance import Tolerance
from weldsim.studies.plan.checks import (
    COLUMNS,
    MEASURES,
    Setting,
    check_own_rules,
    check_rules,
    columns_of,
    known_words,
    settings_of,
    tolerance_of,
    usual_rule,
    words_of,
)

REVISION = 2  # of what a branch holds; raised where the same inputs come to something else
ALL = 2000  # schedules up to which all are evaluated; more go to the optimiser


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
        from weldsim.joints.registry import joint_module

        module = joint_module(self.case.part.kind)
        return module.seam_lines(self.case.part) if hasattr(module, "seam_lines") else {}

    @cached_property
    def known(self) -> dict:
        """Seam -> {word: sense}: every word for a travel along it, allowed or not."""
        return known_words(self.case)

    def word(self, seam: str, direction: int) -> str:
        """The word for a travel, the plan's own where it allows it: mirror images need others."""
        if direction in self.words.get(seam, {}):
            return self.words[seam][direction]
        return next(w for w, s in self.known[seam].items() if s == direction)

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
        from weldsim.geometry.grades import GRADES

        own = [c for c in self.case.overrides if not c.startswith(("plan.", "title="))]
        material = self.case.material_path
        if material.endswith(".toml"):
            material = Path(material).read_text(encoding="utf-8")
        file = getattr(self.case.part, "file", None)  # a mesh or solid of one's own
        if file is not None:
            own = [*own, hashlib.sha256(Path(file).read_bytes()).hexdigest()]
        inputs = [
            __version__, REVISION, raw, material, own, list(setting.changes), repr(GRADES[grade]),
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
    from weldsim.case.overrides import apply_overrides

    case = parse_case(text, source_file, overrides)
    raw = tomllib.loads(text)
    apply_overrides(raw, tuple(overrides))
    if "plan" not in raw:
        raise CaseError(
            f"{source_file} [plan]: missing section; it says what may vary and what counts, such "
            'as measure = "pointer" and tolerance = "1 mrad"'
        )
    mistakes: list[str] = []
    section = check_section("plan", PlanSection, raw["plan"], "[plan]", mistakes)
    if not mistakes and "confirm_grade" not in raw["plan"]:  # normal, or finer than the ranking
        from weldsim.geometry.grades import GRADES

        grades = list(GRADES)
        at = max(grades.index("normal"), grades.index(section.grade) + 1)
        section = section.model_copy(update={"confirm_grade": grades[at]})
    if not mistakes:
        words = words_of(case, section, mistakes)
        check_rules(section, words, mistakes)
        check_own_rules(case, raw, section, mistakes)
        settings = settings_of(section, mistakes)
        tolerance = tolerance_of(case, section, mistakes)
    if mistakes:
        raise CaseError("\n".join(f"{source_file} {m}" for m in mistakes))
    plan = Plan(case, section, words, settings, tolerance)
    for setting in settings:  # a change that is wrong is said before hours are spent
        plan.bound(setting, [(s, next(iter(w))) for s, w in words.items()])
    if next(plan.schedules(), None) is None:
        raise CaseError(f"{source_file} [plan]: first, last and before leave no order to weld in")
    return plan


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


def _items(plan: Plan, overrides, seam: str, direction: int) -> list[str]:
    """A move as the order of a case says it: by the seam's own [[weld]] sections where it has any,
    in their order, each turned as the first of them is."""
    own = _sections(plan.case.source_text, plan.case.source_file, tuple(overrides)).get(seam)
    if own is None:
        return [f"{seam}:{plan.word(seam, direction)}"]
    directions = [plan.known[seam][travel] for _, travel in own]
    return [
        f"{name}:{plan.word(seam, direction * way * directions[0])}"
        for (name, _), way in zip(own, directions, strict=True)
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

    from weldsim.case.overrides import apply_overrides
    from weldsim.units import parse

    case = plan.case
    raw = tomllib.loads(case.source_text)
    apply_overrides(raw, overrides)
    by_name = {w["name"]: w for w in raw["weld"]}
    wanted, welds = raw["plan"].get("pause"), []
    rule = ("after", parse(wanted, "time")) if wanted is not None else usual_rule(case)
    for seam, direction in moves:
        start = _start(*rule, welds[-1]["name"]) if welds else "0 s"
        welds.append({**by_name[seam], "travel": plan.word(seam, direction), "start": start})
    raw["weld"] = welds
    fresh = parse_case(tomli_w.dumps(raw), case.source_file)
    return replace(fresh, overrides=())


def _start(kind: str, value: float, before: str) -> str:
    """A start rule as a case writes it."""
    if kind == "after":
        return f"{value:g} s after {before}"
    return f"when {before} below {value - 273.15:.6g} degC"
