"""What may vary in a job and what counts: the [plan] section of a case file, and its schedules.

A move is one seam welded in one direction; a schedule is a row of moves, with settings (changes of
other keys of the case) that hold for the whole of it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import islice, product
from math import factorial
from pathlib import Path

from weldsim import __version__
from weldsim.case.load import Case, load_case, parse_case
from weldsim.case.overrides import Overrides
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import kind_of_case, seam_lines_of
from weldsim.schema.column import Column
from weldsim.schema.section_checks import check_section
from weldsim.schema.sections import PlanSection
from weldsim.schema.tolerance import Tolerance
from weldsim.studies.plan.checks import (
    MEASURES,
    Setting,
    check_own_rules,
    check_rules,
    columns_of,
    known_words,
    settings_of,
    tolerance_of,
    words_of,
)
from weldsim.studies.plan.order_of_case import (
    beads_in_order,
    order_items,
    sections_of_seams,
)
from weldsim.studies.targets import MOVEMENTS

REVISION = 5  # of what a branch holds; raised where the same inputs come to something else
LARGEST_FULL_STUDY = 2000  # schedules up to which all are evaluated; more go to the optimiser
PATHS = ("material", "file")  # keys of a part that name files, whose contents count

Moves = tuple[tuple[str, int], ...]  # (seam, direction) one after the other


@dataclass(frozen=True)
class Plan:
    """A job with its choices.

    Attributes
    ----------
    case : Case
        As the file has it.
    section : PlanSection
    words : dict
        Seam -> {direction: word for the travel}, the directions allowed.
    settings : tuple of Setting
        One or more.
    tolerance : Tolerance
        What still counts as good.
    """

    case: Case
    section: PlanSection
    words: dict[str, dict[int, str]]
    settings: tuple[Setting, ...]
    tolerance: Tolerance

    @property
    def seams(self) -> tuple[str, ...]:
        """Seams that are welded."""
        return tuple(self.words)

    @cached_property
    def lines(self) -> dict:
        """Lines of all seams of a joint, welded or not; of a bar its beads."""
        return seam_lines_of(self.case)

    @cached_property
    def known(self) -> dict:
        """Seam -> {word: direction}: every word for a travel along it, allowed or not."""
        return known_words(self.case)

    def word(self, seam: str, direction: int) -> str:
        """The word for a travel, the plan's own where it allows it: mirror images need others.

        Parameters
        ----------
        seam : str
            Name of a seam.
        direction : int
            1 along its natural direction, -1 against it.

        Returns
        -------
        str
            Such as "+x".
        """
        if direction in self.words.get(seam, {}):
            return self.words[seam][direction]
        return next(w for w, s in self.known[seam].items() if s == direction)

    @cached_property
    def measure_columns(self) -> tuple[Column, ...]:
        """Gauge columns whose length is the measure; none for a time, a force or a stress."""
        name = self.section.measure
        if name in MEASURES:
            return ()
        columns = columns_of(self.case)
        if name in [c.name for c in columns]:
            return tuple(c for c in columns if c.name == name)
        kind = next(g.kind for g in self.case.gauges if g.name == name)
        unit = MOVEMENTS[kind][0][1]
        if kind == "pointer" and self.tolerance.measure == "length":
            unit = "mm"
        return tuple(c for c in columns if c.gauge == name and c.unit == unit)

    @cached_property
    def size(self) -> int:
        """How many schedules are allowed, settings counted.

        Where they are far more than `LARGEST_FULL_STUDY`, the number without the rules of order.
        """
        each = len(self.settings)
        for directions in self.words.values():
            each *= len(directions)
        orders = sum(1 for _ in islice(self._orders(()), LARGEST_FULL_STUDY // each + 1))
        return each * (
            orders if each * orders <= LARGEST_FULL_STUDY else factorial(len(self.words))
        )

    def allowed(self, moves) -> bool:
        """Whether a schedule, or the beginning of one, breaks no rule of order.

        Parameters
        ----------
        moves : row of moves
            Welded in this order.

        Returns
        -------
        bool
            False where a rule is broken.
        """
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
        """All orders and directions that are allowed, as rows of moves.

        Returns
        -------
        iterator of rows of moves
            Each row is a tuple of (seam, direction).
        """
        return self.continuations(())

    def continuations(self, done) -> Iterator[tuple]:
        """Allowed schedules that begin with some moves.

        Parameters
        ----------
        done : row of moves
            Welded so far.

        Yields
        ------
        row of moves
            Whole schedules, the moves done included.
        """
        done = tuple(done)
        for order in self._orders(tuple(s for s, _ in done)):
            rest = order[len(done) :]
            for directions in product(*(self.words[s] for s in rest)):
                yield (*done, *zip(rest, directions, strict=True))

    def text(self, moves) -> str:
        """A schedule as a person would read it out.

        Parameters
        ----------
        moves : row of moves
            Of any length.

        Returns
        -------
        str
            Such as "front +x, back -x".
        """
        return ", ".join(f"{s} {self.word(s, w)}" for s, w in moves)

    def case_under(self, setting: Setting) -> Case:
        """The case with the changes of a setting.

        Parameters
        ----------
        setting : Setting
            One of `settings`.

        Returns
        -------
        Case
            In the order of the case file.
        """
        if setting.written not in self._cases:
            changes = dict(setting.changes)
            case = self.case.with_changes(changes) if changes else self.case
            self._cases[setting.written] = case
        return self._cases[setting.written]

    @cached_property
    def _cases(self) -> dict[tuple[str, ...], Case]:
        return {}

    def bound(self, setting: Setting, moves: Iterable[tuple[str, int]]) -> Case:
        """The case with a setting and an order of moves.

        Parameters
        ----------
        setting : Setting
            One of `settings`.
        moves : row of moves
            A whole schedule.

        Returns
        -------
        Case
            Ready to be run.
        """
        case = self.case_under(setting)
        if kind_of_case(case).seams_of_welds:
            return case.with_changes({"weld": beads_in_order(case, moves, self.word)})
        if case.welds and "schedule" not in case.tables:
            raise CaseError(
                f"{case.source_file} [schedule]: missing; a plan puts its sequence there, with "
                "pause or interpass"
            )
        own = sections_of_seams(case)
        order = [
            item
            for seam, direction in moves
            for item in order_items(own.get(seam, []), self.known[seam], seam, direction, self.word)
        ]
        return case.with_changes({"schedule.order": order})

    def identity(self, setting: Setting, grade: str, moves: Iterable[tuple[str, int]]) -> str:
        """Name under which the branch of a row of moves is kept: its inputs, nothing else.

        Files count by what they hold, not by where they lie.

        Parameters
        ----------
        setting : Setting
            One of `settings`.
        grade : str
            Of the mesh and the steps.
        moves : row of moves
            From the start to the end of the branch.

        Returns
        -------
        str
            24 hexadecimal digits.
        """
        case = self.case_under(setting)
        resolved = {k: v for k, v in case.resolved.items() if k != "title"}
        resolved["part"] = {k: v for k, v in resolved["part"].items() if k not in PATHS}
        inputs = [
            __version__, REVISION, resolved, _contents(case), repr(GRADES[grade]),
            list(self.words), case.tables["plan"].get("pause"), moves,
        ]  # fmt: skip
        return hashlib.sha256(json.dumps(inputs, default=str).encode()).hexdigest()[:24]


def _contents(case: Case) -> list[str]:
    """What the files hold that a part names: its material, a mesh or solid of one's own."""
    out = [case.material_path]
    if case.material_path.endswith(".toml"):
        out = [Path(case.material_path).read_text(encoding="utf-8")]
    file = getattr(case.part, "file", None)
    if file is not None:
        out.append(hashlib.sha256(Path(file).read_bytes()).hexdigest())
    return out


def load_plan(path: str | Path, overrides: Overrides = ()) -> Plan:
    """Read a case file with a [plan] section.

    Parameters
    ----------
    path : str or Path
        Of the case file.
    overrides : mapping of str to object, or iterable of str
        See `weldsim.case.load.load_case`.

    Returns
    -------
    Plan
        The job with its choices.

    Raises
    ------
    CaseError
        One line for each mistake.
    """
    return plan_of(load_case(path, overrides))


def parse_plan(text: str, source_file: str, overrides: Overrides = ()) -> Plan:
    """Check the text of a case file with a [plan] section; see `load_plan`."""
    return plan_of(parse_case(text, source_file, overrides))


def plan_of(case: Case) -> Plan:
    """The plan of a case whose file, or the changes to it, hold a [plan] section.

    Raises
    ------
    CaseError
        One line for each mistake.
    """
    source_file, tables = case.source_file, case.tables
    if "plan" not in tables:
        raise CaseError(
            f"{source_file} [plan]: missing section; it says what may vary and what counts, such "
            'as measure = "pointer" and tolerance = "1 mrad"'
        )
    mistakes: list[str] = []
    section = check_section("plan", PlanSection, tables["plan"], mistakes)
    if not mistakes and "confirm_grade" not in tables["plan"]:
        grades = list(GRADES)  # normal, or finer than the ranking
        at = max(grades.index("normal"), grades.index(section.grade) + 1)
        section = section.model_copy(update={"confirm_grade": grades[at]})
    if not mistakes:
        words = words_of(case, section, mistakes)
        check_rules(section, words, mistakes)
        check_own_rules(case, tables, section, mistakes)
        settings = settings_of(case, section, mistakes)
        tolerance = tolerance_of(case, section, mistakes)
    if mistakes:
        raise CaseError("\n".join(f"{source_file} {m}" for m in mistakes))
    plan = Plan(case, section, words, settings, tolerance)
    for setting in settings:  # a change that is wrong is said before hours are spent
        plan.bound(setting, [(s, next(iter(w))) for s, w in words.items()])
    if next(plan.schedules(), None) is None:
        raise CaseError(
            f"{source_file} [plan]: first, last and before leave no sequence to weld in"
        )
    return plan
