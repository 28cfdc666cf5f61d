"""Records of a validation: a check, what was compared in it, and the row that comes out.

A row carries its source, how the source's value is known, and whatever it departs from the defaults
in. What no number came out of is never counted among the rows that hold, nor is what the model
leaves out by its nature: that is compared, shown with its numbers and the reason, and not claimed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

GROUPS = {
    "heat": "Heat flow",
    "mechanics": "Mechanics",
    "cooling": "Cooling time",
    "shrinkage": "Shrinkage and angular change",
    "joints": "Whole joints",
    "second": "Second opinion",
}
# What a group is about, and what expected values can be: shown above the rows.
ABOUT = {
    "heat": "where the heat of an arc goes, and how hot each place gets",
    "mechanics": "what given temperatures do to metal: stretch, yield, bend, stay bent",
    "cooling": "the time from 800 to 500 °C, which decides how hard the metal gets",
    "shrinkage": "what a weld leaves: pull along it, shrinkage across it, angle",
    "joints": "runs of whole parts, as a user starts them",
    "second": "the same run by another program",
}
AGAINST = {
    "measured": "measurements",
    "published": "values and formulas of a standard or of a published benchmark",
    "derived": "solutions in closed form, derived again for the check",
    "laws": "what any such calculation must keep: energy, balance, mirror images",
    "program": "another program, with the same inputs",
    "practice": "common practice of the trade: signs, orders, wide brackets",
}
State = Literal["holds", "fails", "not claimed", "not run", "not compared"]
Links = tuple[tuple[str, str], ...]
NUMBERLESS: tuple[State, ...] = ("not run", "not compared")


@dataclass(frozen=True)
class Comparison:
    """One number beside its reference.

    Attributes
    ----------
    quantity : str
        What is compared.
    expected : float or None
        The reference; None where it is a range alone.
    computed : float
        In the same unit.
    low, high : float
        What `computed` may be.
    unit : str
        Of all four.
    """

    quantity: str
    expected: float | None
    computed: float
    low: float
    high: float
    unit: str = ""

    @property
    def holds(self) -> bool:
        """Whether the computed number lies in what is allowed; one that is no number does not."""
        return self.low <= self.computed <= self.high

    @property
    def error(self) -> float:
        """Computed less expected; from the nearer end of a range, 0 inside it."""
        if self.expected is not None:
            return self.computed - self.expected
        return min(self.computed - self.low, 0.0) + max(self.computed - self.high, 0.0)

    @property
    def share(self) -> float:
        """Error over what is allowed on its side: above 1 the comparison fails."""
        if not math.isfinite(self.computed):
            return math.inf
        if self.expected is not None:
            room = (self.high if self.error >= 0 else self.low) - self.expected
        else:
            room = (self.high - self.low) / 2
        if math.isinf(room):
            return 0.0 if self.holds else math.inf
        if self.expected is None:
            middle = (self.high + self.low) / 2
            return abs(self.computed - middle) / room if room else math.inf
        if room == 0:
            return 0.0 if self.error == 0 else math.inf
        return abs(self.error / room)

    def record(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "quantity": self.quantity, "expected": self.expected, "computed": self.computed,
            "low": self.low, "high": self.high, "unit": self.unit,
        }  # fmt: skip

    @classmethod
    def of(cls, record: dict[str, Any]) -> Comparison:
        """Back from `record`; JSON has no infinities, so a missing bound is one."""
        low, high, computed = (record[k] for k in ("low", "high", "computed"))
        return cls(
            record["quantity"], record["expected"],
            math.nan if computed is None else computed,
            -math.inf if low is None else low, math.inf if high is None else high, record["unit"],
        )  # fmt: skip


def near(
    quantity: str, expected: float, computed: float, share: float, unit: str = "",
    at_least: float = 0.0,
) -> Comparison:  # fmt: skip
    """A number that may be off by a share of the expected one, or by `at_least`."""
    room = max(abs(expected) * share, at_least)
    return Comparison(quantity, expected, float(computed), expected - room, expected + room, unit)


def between(quantity: str, low: float, high: float, computed: float, unit: str = "") -> Comparison:
    """A number that is to lie in a range; an open end is infinite."""
    return Comparison(quantity, None, float(computed), low, high, unit)


@dataclass(frozen=True)
class Found:
    """What a check came to.

    Attributes
    ----------
    comparisons : tuple of Comparison
        At least one; the row holds if all of them do.
    note : str
        What a reader has to know to judge the numbers.
    picture : str
        An SVG that stands by itself, or nothing.
    part : str
        Where a check gives several rows: which of them.
    title, source, known : str
        Of such a row, where they are not those of the check.
    kinds : tuple of str, optional
        As well.
    state : str, optional
        "not run" or "not compared" where there are no numbers.
    not_claimed : str
        Why weldsim does not claim to come near these numbers: what its model leaves out, known
        without them. Neither holds nor fails.
    """

    comparisons: tuple[Comparison, ...] = ()
    note: str = ""
    picture: str = ""
    part: str = ""
    title: str = ""
    source: str = ""
    known: str = ""
    kinds: tuple[str, ...] | None = None
    state: State | None = None
    not_claimed: str = ""


@dataclass(frozen=True)
class Check:
    """A comparison with something outside weldsim.

    Attributes
    ----------
    name : str
        As `--only` takes it.
    group : str
        Of `GROUPS`.
    title : str
        What is checked.
    source : str
        Where the expected values come from, so that a reader can follow it.
    known : str
        How they are known: derived, read in the source, second-hand, from memory.
    deviations : str
        What departs from the program's defaults, and why.
    run : callable() -> Found or list of Found
        Computes it; stands in a module, so that a process can be given it.
    kinds : tuple of str
        Joint kinds whose reports quote it; empty for what supports all.
    seconds : float
        Processor time it takes, about. [s]
    quick : bool
        Whether `--quick` has it.
    against : str
        What the expected values are, of `AGAINST`.
    tolerance : str
        Why so much is allowed and no more.
    links : tuple of (str, str)
        Words and address of public copies of the source; what is printed there.
    """

    name: str
    group: str
    title: str
    source: str
    known: str
    deviations: str
    run: Callable[[bool], Found | list[Found]]
    kinds: tuple[str, ...] = ()
    seconds: float = 1.0
    quick: bool = True
    against: str = ""
    tolerance: str = ""
    links: Links = ()


@dataclass(frozen=True)
class Row:
    """A check with its outcome, as it is shown and kept.

    Attributes
    ----------
    name, group, title, source, known, deviations : str
        As in `Check`.
    kinds : tuple of str
        As in `Check`.
    state : str
        "holds", "fails", "not claimed", "not run" or "not compared".
    comparisons : tuple of Comparison
        Their worst first.
    note, picture : str
        As in `Found`.
    seconds : float
        Processor time it took. [s]
    check, against, tolerance, links
        Title of the check, and as in `Check`.
    """

    name: str
    group: str
    title: str
    source: str
    known: str
    deviations: str
    kinds: tuple[str, ...]
    state: State
    comparisons: tuple[Comparison, ...] = ()
    note: str = ""
    picture: str = field(default="", repr=False)
    seconds: float = 0.0
    check: str = ""
    against: str = ""
    tolerance: str = ""
    links: Links = ()

    @classmethod
    def of(cls, check: Check, found: Found, seconds: float) -> Row:
        """The row of what a check came to."""
        worst = tuple(sorted(found.comparisons, key=lambda c: -c.share))
        state, note = found.state, found.note
        if found.not_claimed and worst:
            state, note = "not claimed", f"Not claimed: {found.not_claimed} {note}".strip()
        if state is None:
            state = "holds" if worst and all(c.holds for c in worst) else "fails"
        name = f"{check.name}/{found.part}" if found.part else check.name
        return cls(
            name, check.group, found.title or check.title, found.source or check.source,
            found.known or check.known, check.deviations,
            check.kinds if found.kinds is None else found.kinds, state, worst, note,
            found.picture, seconds, check.title, check.against, check.tolerance, check.links,
        )  # fmt: skip

    def record(self) -> dict[str, Any]:
        """As JSON holds it."""
        plain = {
            k: getattr(self, k)
            for k in ("name", "group", "title", "source", "known", "deviations", "state", "note",
                      "picture", "seconds", "check", "against", "tolerance")
        }  # fmt: skip
        return {
            **plain,
            "kinds": list(self.kinds),
            "links": [list(link) for link in self.links],
            "comparisons": [c.record() for c in self.comparisons],
        }

    @classmethod
    def from_record(cls, record: dict[str, Any]) -> Row:
        """Back from `record`."""
        comparisons = tuple(Comparison.of(c) for c in record["comparisons"])
        links = tuple((words, address) for words, address in record.get("links", ()))
        lists = {"kinds": tuple(record["kinds"]), "comparisons": comparisons, "links": links}
        return cls(**{**record, **lists})


def summary(rows: list[Row]) -> str:
    """The last line of a validation: how many of the rows that were run hold."""
    run = [r for r in rows if r.state in ("holds", "fails")]
    shown = sum(r.state == "not claimed" for r in rows)
    also = f"; {shown} compared and not claimed" if shown else ""
    return f"{sum(r.state == 'holds' for r in run)} of {len(run)} rows hold{also}"
