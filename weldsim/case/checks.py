"""Checks between the sections of a case: does it fit on the part, and can it happen.

What could not be read is nan or None here. Each check is written so that a nan gives no complaint:
every comparison with it is false.
"""

from __future__ import annotations

from itertools import combinations

SMALLEST, LARGEST = 0.5e-3, 10.0  # m; beyond it a unit was mistyped ("200 m" for "200 mm")
HOTTEST = 873.15  # K; preheat of any procedure lies well below
SLACK = 1e-9  # m; lengths in inches are not round in metres


def cross_checks(records: dict) -> list[str]:
    """Mistakes that only show when sections are looked at together, one line each.

    Parameters
    ----------
    records : dict
        Keyword arguments of `Case`.
    """
    part, hold = records["part"], records["hold"]
    welds, gauges = records["welds"], records["gauges"]
    out = [*_sizes(part), *_hold(part, hold), *_air(records["surroundings"])]
    for weld in welds:
        out += _words(weld) or [*_bead(part, weld), *_place(part, hold, weld)]
    out += _overlaps(welds)
    for gauge in gauges:
        out += _gauge(part, gauge)
    return [*out, *_starts(welds, records["surroundings"]), *_end(records)]


def _mm(value: float) -> str:
    return f"{1e3 * value:.4g} mm" if value < 10 else f"{value:.4g} m"


def _sizes(part) -> list[str]:
    sizes = [(key, getattr(part, key)) for key in ("length", "width", "thickness")]
    return [
        f"[part] {key}: {_mm(value)} is not allowed: {_mm(SMALLEST)} to {_mm(LARGEST)}"
        for key, value in sizes
        if value < SMALLEST or value > LARGEST
    ]


def _air(air) -> list[str]:
    return [
        f"[surroundings] {key}: {value - 273.15:.4g} degC is not allowed: at most "
        f"{HOTTEST - 273.15:.4g} degC"
        for key, value in (("ambient", air.ambient), ("preheat", air.preheat))
        if value > HOTTEST
    ]


def _hold(part, hold) -> list[str]:
    if hold.kind == "free" and hold.release != "never":
        return [f'[hold] release: {hold.release!r}: a free part has no clamp, allowed: "never"']
    if hold.kind == "vise" and (hold.length <= 0 or hold.length >= part.length):
        return [
            f"[hold] length: {_mm(hold.length)} is not allowed: greater than zero and shorter than "
            f"the part, {_mm(part.length)}"
        ]
    return []


def _words(weld) -> list[str]:
    """Whether the line suits the face, and the travel the line."""
    where = f"[weld.{weld.name}]"
    if weld.face in ("top", "bottom") and weld.line == "across":
        return [f'{where} line: "across" is not allowed on an edge: write "along"']
    words = {"across": ("up", "down"), "along": ("+x", "-x")}.get(weld.line)
    if words and isinstance(weld.travel, str) and weld.travel not in words:
        return [
            f"{where} travel: {weld.travel!r} is not allowed for a bead {weld.line} the bar: write "
            + " or ".join(f'"{w}"' for w in words)
        ]
    return []


def _bead(part, weld) -> list[str]:
    """Size of the bead against the face and itself."""
    where, out = f"[weld.{weld.name}]", []
    room = part.thickness if weld.face in ("top", "bottom") else part.width
    if weld.bead_width > room + SLACK:
        out.append(
            f"{where} bead_width: {_mm(weld.bead_width)} is wider than the bar there, allowed: up "
            f"to {_mm(room)}"
        )
    if weld.bead_height > weld.bead_width:
        out.append(
            f"{where} bead_height: {_mm(weld.bead_height)} is not allowed: at most the bead_width, "
            f"{_mm(weld.bead_width)}"
        )
    return out


def _place(part, hold, weld) -> list[str]:
    """Whether the bead lies on the part, and outside the vise."""
    across = weld.line == "across"
    low, high = (-part.width / 2, part.width / 2) if across else (0.0, part.length)
    where, out = f"[weld.{weld.name}]", []
    for key, value in (("from", weld.begin), ("to", weld.finish)):
        if value < low - SLACK or value > high + SLACK:
            out.append(
                f"{where} {key}: {_mm(value)} is off the part, allowed: {_mm(low)} to {_mm(high)}"
            )
    if weld.finish <= weld.begin:
        out.append(f"{where} to: {_mm(weld.finish)} is not beyond from, {_mm(weld.begin)}")
    half = weld.bead_width / 2
    grip = hold.length if hold.kind == "vise" else 0.0
    if not across:
        room = part.width / 2 - half
        if weld.face in ("front", "back") and room >= 0 and abs(weld.at) > room + SLACK:
            out.append(
                f"{where} at: {_mm(weld.at)} is off the part, allowed: {_mm(-room)} to {_mm(room)} "
                "from the middle of the width"
            )
        if -SLACK <= weld.begin < grip - SLACK:
            out.append(
                f"{where} from: {_mm(weld.begin)} puts the clamp over the weld, allowed: from "
                f"{_mm(grip)} on, beyond the vise"
            )
        return out
    span = f"allowed: {_mm(grip + half)} to {_mm(part.length - half)}"
    if grip + half > part.length - half:  # no room at all: said at the hold or the bead
        return out
    if weld.at < half - SLACK or weld.at > part.length - half + SLACK:
        out.append(f"{where} at: {_mm(weld.at)} puts the bead off the part, {span}")
    elif weld.at < grip + half - SLACK:
        out.append(f"{where} at: {_mm(weld.at)} puts the clamp over the weld, {span}")
    return out


def _area(weld):
    """Rectangle a bead covers on its face: ((from, to), (from, to))."""
    half = weld.bead_width / 2
    line = (weld.begin, weld.finish)
    across = (weld.at - half, weld.at + half)
    return (across, line) if weld.line == "across" else (line, across)


def _overlaps(welds) -> list[str]:
    out = []
    for one, two in combinations(welds, 2):
        if one.face != two.face:
            continue
        meet = all(
            a[0] < b[1] - SLACK and b[0] < a[1] - SLACK
            for a, b in zip(_area(one), _area(two), strict=True)
        )
        if meet:
            key = "at" if two.line == "across" else "from, to"
            out.append(
                f"[weld.{two.name}] {key}: "
                + (_mm(two.at) if key == "at" else f"{_mm(two.begin)} to {_mm(two.finish)}")
                + f" puts the bead on top of weld {one.name}, allowed: beads beside each other"
            )
    return out


def _gauge(part, gauge) -> list[str]:
    if not isinstance(gauge.at, tuple):
        return []
    limits = (
        (0.0, part.length), (-part.thickness / 2, part.thickness / 2),
        (-part.width / 2, part.width / 2),
    )  # fmt: skip
    return [
        f"[gauge.{gauge.name}] at: {axis} = {_mm(value)} is off the part, allowed: {_mm(low)} to "
        f"{_mm(high)}"
        for axis, value, (low, high) in zip("xyz", gauge.at, limits, strict=True)
        if value < low - SLACK or value > high + SLACK
    ]


def _starts(welds, air) -> list[str]:
    out, before = [], []
    for weld in welds:
        rule, where = weld.start, f"[weld.{weld.name}] start:"
        if rule.weld is not None and rule.weld not in before:
            known = ", ".join(before) or "a time, since this weld is the first"
            out.append(f"{where} {rule.weld!r} is not a weld before this one, allowed: {known}")
        if rule.kind == "below" and rule.temperature <= air.ambient + 1.0:
            out.append(
                f"{where} {rule.temperature - 273.15:.4g} degC is never reached, allowed: over 1 K "
                f"above ambient, {air.ambient - 273.15:.4g} degC"
            )
        before.append(weld.name)
    return out


def _end(records) -> list[str]:
    solve, air, hold = records["solve"], records["surroundings"], records["hold"]
    sealed = air.film_coefficient == 0 and air.emissivity == 0 and hold.conductance == 0
    waits = any(w.start.kind == "below" for w in records["welds"])
    if sealed and (solve.end == "cold" or waits):
        return [
            "[solve] end: nothing takes heat away (film, emissivity and conductance are zero), so "
            'the part never cools, allowed: a time such as "300 s" and welds started by time'
        ]
    return []
