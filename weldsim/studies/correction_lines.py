"""Where a line could still be drawn on a finished part: heat without filler, or one more bead."""

from __future__ import annotations

from dataclasses import replace

from weldsim.case.joint_case import ARC, shape_on
from weldsim.errors import CaseError
from weldsim.joints.bar import OTHER_WAY
from weldsim.joints.registry import joint_module
from weldsim.schema.records import StartRule

EDGE = 40e-3  # m, longest line along the edge of a bar


def candidates(case, kind: str) -> list:
    """(weld, words) of each line that could be drawn."""
    return _on_bar(case, kind) if case.part.kind == "bar" else _on_joint(case, kind)


def named(lines, names) -> list:
    """The lines of some names; all when left out."""
    known = [w.name for w, _ in lines]
    for name in names or ():
        if name not in known:
            raise CaseError(f"correct: line {name!r} is unknown, allowed: {', '.join(known)}")
    return [line for line in lines if names is None or line[0].name in names]


def _blank(weld, **changes):
    """A weld as a pattern of a line: it may start at once."""
    return replace(weld, start=StartRule("time", 0.0), dwell=0.0, crater=0.0, **changes)


def _on_bar(case, kind):
    filler, word = kind == "bead", {"line": "heating line", "bead": "bead"}[kind]
    other = {"front": "back", "back": "front", "top": "bottom", "bottom": "top"}
    taken = {w.face for w in case.welds}
    out = []
    for weld in case.welds:
        face = other[weld.face]
        if face not in taken:
            name = f"{kind} behind {weld.name}"
            out.append(
                (_blank(weld, name=name, face=face, filler=filler), f"{word} opposite {weld.name}")
            )
    first = case.welds[0]
    if first.line == "across":
        low = max(case.hold.length, first.at - EDGE / 2)
        high = min(case.part.length, low + EDGE)
        for face in ("top", "bottom"):
            name = f"{kind} on {face}"
            width = min(first.bead_width, 0.6 * case.part.thickness)
            edge = _blank(
                first, name=name, face=face, line="along", at=0.0, begin=low, finish=high,
                travel="+x", filler=filler, bead_width=width, half_width=width / 2,
                front_length=width / 2, rear_length=width, depth=width / 2,
            )  # fmt: skip
            out.append((edge, f"{word} along the {face} edge, {1e3 * low:.0f} to {1e3 * high:.0f} "
                              "mm from the held end"))  # fmt: skip
    return out


def _on_joint(case, kind):
    lines = joint_module(case.part.kind).seam_lines(case.part)
    return _free_seams(case, lines) if kind == "bead" else _along_seams(case, lines)


def _along_seams(case, lines):
    out = []
    for name in dict.fromkeys(w.seam for w in case.welds):
        pattern = next(w for w in case.welds if w.seam == name)
        line = _blank(
            pattern, name=f"line {name}", begin=0.0, finish=lines[name].length, direction=1,
            number=1,
            filler=False, tack=-1, weave=0.0,
        )  # fmt: skip
        out.append((line, f"heating line along the seam {name}"))
    return out


def _free_seams(case, lines):
    """Beads where the joint has room for one: the lowest pass that is not laid of each seam."""
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
    values = {key: None if key in own else getattr(pattern, key) for key in ARC}
    out = []
    for seam, number in free:
        line = lines[seam]
        word = next(w for w, direction in line.directions.items() if direction == 1)
        where = seam if line.passes == 1 else f"{seam}, pass {number}"
        bead = replace(
            pattern, name=f"bead {where}", seam=seam, number=number, begin=0.0,
            finish=line.length, direction=1, travel=word, filler=True, tack=-1,
            **shape_on(line, values),
        )  # fmt: skip
        out.append((_blank(bead), f"bead along the seam {where}"))
    return out


def turned(case, weld):
    """A bead laid the other way."""
    if case.part.kind == "bar":
        return replace(weld, travel=OTHER_WAY[weld.travel])
    directions = joint_module(case.part.kind).seam_lines(case.part)[weld.seam].directions
    word = next(w for w, direction in directions.items() if direction == -weld.direction)
    return replace(weld, travel=word, direction=-weld.direction)
