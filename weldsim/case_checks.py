"""Checks between the sections of a case: does it fit on the part, and can it happen."""

from __future__ import annotations

from itertools import combinations


def cross_checks(sections: dict, order: list[str]) -> list[str]:
    """Mistakes that only show when sections are looked at together, one line each.

    `order` names all welds of the file in order, also those that could not be read.
    """
    part, hold = sections["part"], sections["hold"]
    welds, gauges = sections["welds"], sections["gauges"]
    out = []
    if part is not None:
        out += _hold(part, hold)
        for weld in welds:
            out += _weld(part, hold, weld)
        out += _overlaps(part, welds)
        for gauge in gauges:
            out += _gauge(part, gauge)
    out += _starts(welds, order, sections["surroundings"])
    out += _end(sections)
    return out


def _mm(value: float) -> str:
    return f"{1e3 * value:.4g} mm"


def _hold(part, hold) -> list[str]:
    if hold is None or hold.kind == "free":
        if hold is not None and hold.release != "never":
            return ['[hold] release: a free part has nothing to release, allowed: "never"']
        return []
    if not 0 < hold.length < part.length:
        return [
            f"[hold] length: {_mm(hold.length)} is not allowed: greater than zero and shorter than "
            f"the part, {_mm(part.length)}"
        ]
    return []


def _weld(part, hold, weld) -> list[str]:
    where, out = f"[weld.{weld.name}]", []
    edge = weld.face in ("top", "bottom")
    if edge and weld.line == "across":
        out.append(f'{where} line: "across" is not allowed on an edge: write "along"')
        return out
    words = ("up", "down") if weld.line == "across" else ("+x", "-x")
    if weld.travel not in words:
        out.append(
            f"{where} travel: {weld.travel!r} is not allowed for a bead {weld.line} the bar: write "
            + " or ".join(f'"{w}"' for w in words)
        )
    room = part.thickness if edge else part.width
    if weld.bead_width > room * (1 + 1e-9):
        out.append(
            f"{where} bead_width: {_mm(weld.bead_width)} is wider than the bar there, allowed: up "
            f"to {_mm(room)}"
        )
        return out
    if weld.bead_height > weld.bead_width:
        out.append(
            f"{where} bead_height: {_mm(weld.bead_height)} is not allowed: at most the bead_width, "
            f"{_mm(weld.bead_width)}"
        )
    half = weld.bead_width / 2
    if weld.line == "across":
        along_x, along_line = (weld.at - half, weld.at + half), (-part.width / 2, part.width / 2)
        place = ("at", weld.at)
    else:
        along_x, along_line = (weld.begin, weld.finish), (0.0, part.length)
        place = ("from", weld.begin)
        offset = part.width / 2 - half
        if not edge and abs(weld.at) > offset + 1e-9:
            out.append(
                f"{where} at: {_mm(weld.at)} is off the part, allowed: {_mm(-offset)} to "
                f"{_mm(offset)} from the middle of the width"
            )
    if along_x[0] < -1e-9 or along_x[1] > part.length + 1e-9:
        out.append(
            f"{where} {place[0]}: {_mm(place[1])} puts the bead off the part, which reaches from 0 "
            f"to {_mm(part.length)}"
        )
    if weld.begin < along_line[0] - 1e-9 or weld.finish > along_line[1] + 1e-9:
        out.append(
            f"{where} from, to: {_mm(weld.begin)} to {_mm(weld.finish)} is off the part, allowed: "
            f"{_mm(along_line[0])} to {_mm(along_line[1])}"
        )
    if weld.finish - weld.begin < 2 * weld.bead_width and weld.finish - weld.begin <= 0:
        out.append(f"{where} to: {_mm(weld.finish)} must lie beyond from, {_mm(weld.begin)}")
    grip = hold.length if hold is not None and hold.kind == "vise" else 0.0
    if grip and along_x[0] < grip - 1e-9 and along_x[0] >= -1e-9:
        out.append(
            f"{where} {place[0]}: {_mm(place[1])} puts the clamp over the weld: the vise grips the "
            f"first {_mm(grip)}, allowed: {place[0]} from {_mm(grip + place[1] - along_x[0])} on"
        )
    return out


def _area(part, weld):
    """Rectangle a bead covers on its face: ((from, to), (from, to))."""
    half = weld.bead_width / 2
    line = (weld.begin, weld.finish)
    across = (weld.at - half, weld.at + half)
    return (across, line) if weld.line == "across" else (line, across)


def _overlaps(part, welds) -> list[str]:
    out = []
    for one, two in combinations(welds, 2):
        if one.face != two.face:
            continue
        meet = all(
            a[0] < b[1] - 1e-9 and b[0] < a[1] - 1e-9
            for a, b in zip(_area(part, one), _area(part, two), strict=True)
        )
        if meet:
            out.append(
                f"[weld.{two.name}] at: {_mm(two.at)} puts the bead on top of weld {one.name}, "
                "allowed: beads beside each other"
            )
    return out


def _gauge(part, gauge) -> list[str]:
    if not isinstance(gauge.at, tuple):
        return []
    limits = (
        (0.0, part.length), (-part.thickness / 2, part.thickness / 2),
        (-part.width / 2, part.width / 2),
    )  # fmt: skip
    for axis, value, (low, high) in zip("xyz", gauge.at, limits, strict=True):
        if not low - 1e-9 <= value <= high + 1e-9:
            return [
                f"[gauge.{gauge.name}] at: {axis} = {_mm(value)} is off the part, allowed: "
                f"{_mm(low)} to {_mm(high)}"
            ]
    return []


def _starts(welds, order, air) -> list[str]:
    out = []
    for weld in welds:
        rule, before = weld.start, order[: order.index(weld.name)]
        if rule.weld is not None and rule.weld not in before:
            known = ", ".join(before) or "none, it is the first"
            out.append(
                f"[weld.{weld.name}] start: {rule.weld} is not a weld before {weld.name}, allowed: "
                f"{known}"
            )
        if rule.kind == "below" and air is not None and rule.temperature <= air.ambient + 1.0:
            out.append(
                f"[weld.{weld.name}] start: {rule.temperature - 273.15:.4g} degC is never reached, "
                f"allowed: over 1 K above ambient, {air.ambient - 273.15:.4g} degC"
            )
    return out


def _end(sections) -> list[str]:
    solve, air, hold = sections["solve"], sections["surroundings"], sections["hold"]
    if solve is None or air is None or hold is None:
        return []
    loses = air.film > 0 or air.emissivity > 0 or (hold.kind == "vise" and hold.conductance > 0)
    waits = any(w.start.kind == "below" for w in sections["welds"])
    if not loses and (solve.end == "cold" or waits):
        return [
            "[solve] end: nothing takes heat away (film, emissivity and conductance are zero), so "
            'the part never cools; allowed: a time such as "300 s"'
        ]
    return []
