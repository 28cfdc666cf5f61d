"""Timetable as far as it is known before a run: order, start rules, arc times, energies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldsim.schema.records import StartRule, Weld


@dataclass(frozen=True)
class TimetableRow:
    """One weld of the timetable; `start` is None while a temperature decides. [s, J/m]"""

    name: str
    rule: str
    start: float | None
    duration: float
    arc_energy: float
    heat_input: float

    @property
    def end(self) -> float | None:
        """When the arc stops; None while a temperature decides. [s]"""
        return None if self.start is None else self.start + self.duration


def rule_in_words(rule: StartRule) -> str:
    """A start rule as a person would say it.

    Parameters
    ----------
    rule : StartRule
        Of a weld or a clamp.

    Returns
    -------
    str
        The end of a sentence.
    """
    if rule.kind == "time":
        return f"{rule.seconds:.4g} s after the beginning" if rule.seconds else "at the beginning"
    if rule.kind == "after":
        if rule.seconds == 0:
            return f"at the end of {rule.weld}"
        return f"{rule.seconds:.4g} s after the end of {rule.weld}"
    if rule.kind == "cold":
        return "when the part is cold"
    if rule.weld is None:
        return f"when the weld zone has cooled below {rule.limit - 273.15:.4g} °C"
    return f"when {rule.weld} has cooled below {rule.limit - 273.15:.4g} °C"


def timetable(welds: Sequence[Weld]) -> tuple[TimetableRow, ...]:
    """Rows in order of welding; a weld never starts before the one before it has ended.

    Parameters
    ----------
    welds : sequence of Weld
        In the order of the case.

    Returns
    -------
    tuple of TimetableRow
        One a weld.
    """
    rows: list[TimetableRow] = []
    for weld in welds:
        start = _known_start(weld.start, rows)
        rows.append(
            TimetableRow(
                weld.name,
                rule_in_words(weld.start),
                start,
                weld.duration,
                weld.arc.arc_energy,
                weld.arc.heat_input,
            )  # fmt: skip
        )
    return tuple(rows)


def _known_start(rule: StartRule, earlier: Sequence[TimetableRow]) -> float | None:
    """Start of a weld from the rows before it, None when it depends on a temperature. [s]"""
    free = earlier[-1].end if earlier else 0.0
    if rule.kind in ("below", "cold") or free is None:
        return None
    if rule.kind == "time":
        return max(rule.seconds, free)
    other = next(row for row in earlier if row.name == rule.weld)
    return None if other.end is None else max(other.end + rule.seconds, free)
