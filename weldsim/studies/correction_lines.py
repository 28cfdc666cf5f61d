"""Where a line could still be drawn on a finished part: heat without filler, or one more bead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from weldsim.case.load import Case
from weldsim.case.welds import ARC, NEEDED, arc_on
from weldsim.errors import CaseError
from weldsim.joints.registry import kind_of_case, seam_lines_of
from weldsim.schema.records import StartRule, Weld


def candidates(case: Case, kind: str) -> list[tuple[Weld, str]]:
    """(weld, words) of each line that could be drawn."""
    joint = kind_of_case(case)
    if joint.spare_beads is not None:
        return _spare(case, kind)
    lines = joint.seam_lines(case.part)
    return _free_seams(case, lines) if kind == "bead" else _along_seams(case, lines)


def named(lines: list[tuple[Weld, str]], names: Sequence[str] | None) -> list[tuple[Weld, str]]:
    """The lines of some names; all when left out."""
    known = [w.name for w, _ in lines]
    for name in names or ():
        if name not in known:
            raise CaseError(f"correct: line {name!r} is unknown, allowed: {', '.join(known)}")
    return [line for line in lines if names is None or line[0].name in names]


def _blank(weld: Weld, **changes: Any) -> Weld:
    """A weld as a pattern of a line: it may start at once."""
    arc = replace(changes.pop("arc", weld.arc), dwell=0.0, crater=0.0)
    return replace(weld, start=StartRule("time", 0.0), arc=arc, **changes)


def _spare(case: Case, kind: str) -> list[tuple[Weld, str]]:
    """Lines and beads where the part has no free seam of its own."""
    filler, word = kind == "bead", {"line": "heating line", "bead": "bead"}[kind]
    pattern = {w.seam: w for w in case.welds}
    out = []
    for bead, like, where in kind_of_case(case).spare_beads(case, kind):
        line = kind_of_case(case).seam_lines(_with(case, [bead]).part)[bead.name]
        weld = pattern[like]
        alike = weld.travel in line.directions  # else it runs another way: its arc as it usually is
        usual = dict.fromkeys(ARC) | {k: getattr(weld.arc, k) for k in NEEDED}
        arc = weld.arc if alike else arc_on(line, usual)
        travel = weld.travel if alike else next(iter(line.directions))
        made = _blank(
            weld, name=bead.name, seam=bead.name, begin=0.0, finish=line.length, travel=travel,
            direction=line.directions[travel], filler=filler, arc=arc, bead_width=line.width,
        )  # fmt: skip
        out.append((made, f"{word} {where}"))
    return out


def _with(case, beads):
    return replace(case, part=kind_of_case(case).with_beads(case.part, beads))


def joined(case: Case, lines: Sequence[tuple[Weld, str]]) -> Case:
    """The case with lines as further welds, and with room for them on its part.

    Parameters
    ----------
    case : Case
    lines : list of (Weld, str)
        As `candidates` gives them.
    """
    kind, names = kind_of_case(case), {w.seam for w, _ in lines}
    out = replace(case, welds=(*case.welds, *(w for w, _ in lines)))
    if kind.spare_beads is None:
        return out
    spare = {b.name: b for word in ("line", "bead") for b, _, _ in kind.spare_beads(case, word)}
    return _with(out, [bead for name, bead in spare.items() if name in names])


def _along_seams(case, lines):
    out = []
    for name in dict.fromkeys(w.seam for w in case.welds):
        pattern = next(w for w in case.welds if w.seam == name)
        line = _blank(
            pattern, name=f"line {name}", begin=0.0, finish=lines[name].length, direction=1,
            number=1, filler=False, tack=-1, arc=replace(pattern.arc, weave=0.0),
        )  # fmt: skip
        out.append((line, f"heating line along the seam {name}"))
    return out


def _free_seams(case, lines):
    """Beads where the joint has room for one: of each seam the lowest pass that is not welded."""
    welded = {(w.seam, w.number) for w in case.welds if w.filler and w.tack < 0}
    unlaid = {s: [n for n in range(1, lines[s].passes + 1) if (s, n) not in welded] for s in lines}
    free = [(s, numbers[0]) for s, numbers in unlaid.items() if numbers]
    if not free:
        raise CaseError(
            f"correct: every seam of this {case.part.kind} is welded, so its mesh has no room for "
            'a bead, allowed: kind "line"'
        )
    pattern = next((w for w in case.welds if w.filler and w.tack < 0), case.welds[0])
    own = {"half_width", "front_length", "rear_length", "depth"}  # sized by the seam
    values = {key: None if key in own else getattr(pattern.arc, key) for key in ARC}
    out = []
    for seam, number in free:
        line = lines[seam]
        word = next(w for w, direction in line.directions.items() if direction == 1)
        where = seam if line.passes == 1 else f"{seam}, pass {number}"
        bead = _blank(
            pattern, name=f"bead {where}", seam=seam, number=number, begin=0.0,
            finish=line.length, direction=1, travel=word, filler=True, tack=-1,
            arc=arc_on(line, values), bead_width=line.width,
        )  # fmt: skip
        out.append((bead, f"bead along the seam {where}"))
    return out


def turned(case: Case, weld: Weld) -> Weld:
    """A bead welded the other way."""
    directions = seam_lines_of(joined(case, [(weld, "")]))[weld.seam].directions
    word = next(w for w, direction in directions.items() if direction == -weld.direction)
    return replace(weld, travel=word, direction=-weld.direction)
