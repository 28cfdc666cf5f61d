"""A row of moves as the sections of a case say it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from weldsim.case.load import Case
from weldsim.studies.plan.checks import usual_rule
from weldsim.units import parse

Word = Callable[[str, int], str]  # seam and direction -> word for the travel


def order_items(
    welds: list[tuple[str, str]], known: Mapping[str, int], seam: str, direction: int, word: Word
) -> list[str]:
    """A move as the order of a case says it.

    By the seam's own [[weld]] sections where it has any (`sections_of_seams`), in their order, each
    turned as the first of them is. `known` is word -> direction of the seam.
    """
    if not welds:
        return [f"{seam}:{word(seam, direction)}"]
    directions = [known[travel] for _, travel in welds]
    return [
        f"{name}:{word(seam, direction * own * directions[0])}"
        for (name, _), own in zip(welds, directions, strict=True)
    ]


def sections_of_seams(case: Case) -> dict[str, list[tuple[str, str]]]:
    """Seam -> (name, travel) of its welds in the case's own order; a name is a section's, else its
    own."""
    out: dict[str, list[tuple[str, str]]] = {}
    for weld in case.welds:
        if weld.tack < 0:
            named = (weld.name.partition(".")[0], weld.travel)
            rows = out.setdefault(weld.seam, [])
            if named not in rows:
                rows.append(named)
    return out


def beads_in_order(
    case: Case, moves: Iterable[tuple[str, int]], word: Word
) -> list[dict[str, Any]]:
    """The [[weld]] sections of a bar in an order, each waiting for the one before."""
    by_name = {w["name"]: w for w in case.tables["weld"]}
    wanted = case.tables["plan"].get("pause")
    rule = ("after", parse(wanted, "time")) if wanted is not None else usual_rule(case)
    beads: list[dict[str, Any]] = []
    for seam, direction in moves:
        start = _start(*rule, beads[-1]["name"]) if beads else "0 s"
        beads.append({**by_name[seam], "travel": word(seam, direction), "start": start})
    return beads


def _start(kind: str, value: float, before: str) -> str:
    """A start rule as a case writes it."""
    if kind == "after":
        return f"{value:g} s after {before}"
    return f"when {before} below {value - 273.15:.6g} degC"
