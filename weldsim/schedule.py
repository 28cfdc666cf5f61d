"""Timetable as far as it is known before a run: order, start rules, arc times, energies."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TimetableRow:
    """One weld of the timetable; `start` is None while a temperature decides. [s, J/m]"""

    name: str
    rule: str
    start: float | None
    duration: float
    arc_energy: float
    heat_input: float


def rule_in_words(rule) -> str:
    """A start rule as a person would say it."""
    if rule.kind == "time":
        return f"{rule.seconds:.4g} s after the beginning"
    if rule.kind == "after":
        return f"{rule.seconds:.4g} s after the end of {rule.weld}"
    return f"when {rule.weld} has cooled below {rule.temperature - 273.15:.4g} degC"


def timetable(welds) -> tuple[TimetableRow, ...]:
    """Rows in order of welding; a weld never starts before the one before it has ended."""
    rows, ends, free = [], {}, 0.0
    for weld in welds:
        rule, start = weld.start, None
        if rule.kind == "time" and free is not None:
            start = max(rule.seconds, free)
        elif rule.kind == "after" and ends.get(rule.weld) is not None and free is not None:
            start = max(ends[rule.weld] + rule.seconds, free)
        free = ends[weld.name] = None if start is None else start + weld.duration
        rows.append(
            TimetableRow(
                weld.name,
                rule_in_words(rule),
                start,
                weld.duration,
                weld.arc_energy,
                weld.heat_input,
            )  # fmt: skip
        )
    return tuple(rows)
