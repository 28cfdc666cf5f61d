"""Which passes a case welds, in order: its [[weld]] sections, or the [schedule] order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weldsim.case.tables import Tables
from weldsim.geometry.path import SeamLine
from weldsim.schema.section_checks import is_known, nearest


@dataclass(frozen=True)
class Wanted:
    """Passes of a seam that are welded one after the other.

    Attributes
    ----------
    name : str
        What their welds are called, before numbers of passes and stretches.
    section : JointWeldSection or None
        What the case says of them; None where only the schedule names the seam.
    line : SeamLine
    passes : tuple of int
    travel : str
    tack : int
        Number of the tack that is laid, from 1; 0 for welds.
    """

    name: str
    section: Any
    line: SeamLine
    passes: tuple[int, ...]
    travel: str
    tack: int = 0

    @property
    def where(self) -> tuple[str, str, str]:
        """Section, name and key by which a mistake in it is told."""
        if self.tack:
            return "tack", str(self.tack), ""
        return ("weld", self.name, "") if self.section else ("schedule", "", f"order {self.name}")


def in_order(
    tables: Tables, schedule: Any, written: Sequence[tuple[str, Any]], lines: Mapping[str, SeamLine]
) -> list[Wanted]:
    """What is welded, in order.

    Parameters
    ----------
    tables : Tables
        Where they stand, and where mistakes are noted.
    schedule : ScheduleSection
        Its order counts where it has one.
    written : sequence of (str, JointWeldSection)
        [[weld]] sections by name.
    lines : mapping of str to SeamLine
        Seams of the part by name.

    Returns
    -------
    list of Wanted
        Without those that are wrong, which is said.
    """
    _check_sections(tables, written, lines)
    good = {
        name: Wanted(name, s, lines[s.seam], _passes(s, lines[s.seam]), s.travel)
        for name, s in written
        if s.seam in lines and is_known(s.travel) and (s.number or 1) <= lines[s.seam].passes
    }
    if not schedule.order or not is_known(schedule.order):
        return list(good.values())
    out: list[Wanted] = []
    used: set[tuple[str, int]] = set()
    for item in schedule.order:
        head, _, travel = item.partition(":")
        head, travel = head.strip(), travel.strip()
        if head in dict(written):
            if head in good:
                own = good[head]
                out.append(Wanted(head, own.section, own.line, own.passes, travel or own.travel))
            continue
        wanted = _of_seam(tables, item, head, travel, lines, [n for n, _ in written])
        if wanted is None:
            continue
        laid = {(wanted.line.name, p) for p in wanted.passes}
        if laid & used:
            _say(tables, item, f"{wanted.line.name} is welded twice, allowed: once")
            continue
        used |= laid
        out.append(wanted)
    return out


def _passes(section: Any, line: SeamLine) -> tuple[int, ...]:
    return (section.number,) if section.number else tuple(range(1, line.passes + 1))


def _check_sections(
    tables: Tables, written: Sequence[tuple[str, Any]], lines: Mapping[str, SeamLine]
) -> None:
    for name, section in written:
        seam = section.seam
        if seam not in lines and is_known(seam):
            tables.say("weld", name, "seam", seam, f"{seam!r} is unknown{nearest(seam, lines)}")
        elif seam in lines and section.number is not None:
            if section.number > lines[seam].passes:
                text = (
                    f"{section.number} is not allowed: the bead layout of {seam} has "
                    f"{lines[seam].passes}"
                )
                tables.say("weld", name, "pass", section.number, text)


def _of_seam(
    tables: Tables,
    item: str,
    head: str,
    travel: str,
    lines: Mapping[str, SeamLine],
    names: Sequence[str],
) -> Wanted | None:
    """A seam, or a pass of it, that the schedule names itself."""
    seam, _, number = head.partition("/")
    if seam not in lines:
        known = (*lines, *names)
        _say(tables, item, f"no seam or weld is named {seam}{nearest(seam, known)}")
        return None
    room = lines[seam].passes
    written = number.isascii() and number.isdecimal() and len(number) < 5
    if number and not (written and 1 <= int(number) <= room):
        _say(tables, item, f"pass {number} is not there, allowed: 1 to {room}")
        return None
    if not travel:
        words = " or ".join(f'"{seam}:{w}"' for w in lines[seam].directions)
        tables.say(
            "schedule", "", "order", item, f"{item!r} does not say the travel, allowed: {words}"
        )
        return None
    passes = (int(number),) if number else tuple(range(1, room + 1))
    return Wanted(head.replace("/", "."), None, lines[seam], passes, travel)


def _say(tables: Tables, item: str, text: str) -> None:
    tables.say("schedule", "", "order", item, f"{item!r}: {text}")
