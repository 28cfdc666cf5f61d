"""Timetable of a run as SVG text: when each arc burns, the pauses, and what clamps when.

Real text and few shapes, so it stands in a page, prints sharp and can be read out. Colours and
numbers of the welds are those of every other picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from weldsim.plots.welds import (
    arc_times,
    axis_cut,
    first_arc_start,
    is_tack,
    pauses_between,
    seam_of,
    weld_colour,
)
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedRule, recorded_case
from weldsim.system.palette import EDGE, GRID, INK, PAPER, STEEL_DEEP, WHITE

WIDTH, ROW, BAR = 960, 30, 20  # of the drawing, a line, a band
LETTER = 6.6  # width of a letter of the labels
STEPS = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)  # s between ticks


@dataclass(frozen=True)
class ClampSpan:
    """When a clamp holds. [s since the first arc]; `end` None to the end of the timetable."""

    name: str
    start: float
    end: float | None
    words: str


def timetable_svg(record: RunRecord) -> str:
    """The timetable of a run; the axis is cut some time after the last arc."""
    arcs = arc_times(record)
    clamps = clamp_spans(record)
    rows = list(dict.fromkeys(seam_of(record, name) for name, *_ in arcs))
    pauses = pauses_between(arcs)
    names = [*rows, *(["pauses"] if pauses else []), *(g.name for g in clamps)]
    left = 20 + LETTER * max([len(n) for n in names], default=6)
    low = min([0.0, *(a[1] for a in arcs)])
    high = max(axis_cut(record) if arcs else 0.0, low + 1.0)
    scale = (WIDTH - left - 14) / (high - low)

    def x(time: float) -> float:
        """Where a time lies on the drawing."""
        return left + scale * (min(max(time, low), high) - low)

    height = ROW * len(names) + 44
    out = [
        f'<svg class="timetable" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-label="{escape(timetable_words(arcs, clamps))}" font-size="12">'
    ]
    out += _axis(low, high, x, height)
    for i, name in enumerate(names):
        y = ROW * i + ROW / 2
        out.append(_text(left - 10, y + 4, name, INK, "end"))
    numbers = {w.name: i for i, w in enumerate(recorded_case(record).welds, 1)}
    for arc in arcs:
        row = rows.index(seam_of(record, arc[0]))
        out += _band(record, arc, numbers.get(arc[0]), ROW * row + ROW / 2, x, arcs)
    for start, end in pauses:
        out += _plain(x(start), x(end), ROW * len(rows) + ROW / 2, GRID, f"{end - start:.0f} s")
    for i, span in enumerate(clamps):
        end = high if span.end is None else span.end
        y = ROW * (len(names) - len(clamps) + i) + ROW / 2
        out += _plain(x(span.start), x(end), y, STEEL_DEEP, span.words)
    return "".join([*out, "</svg>"])


def timetable_words(arcs, clamps=()) -> str:
    """The timetable in words, for a reader who cannot see it."""
    burns = [f"{name} {start:.0f} to {end:.0f} s" for name, start, end in arcs]
    held = [f"{c.name}: {c.words}" for c in clamps]
    text = "Timetable of the arcs: " + (", ".join(burns) if burns else "no arc yet")
    return text + (f". Clamps: {', '.join(held)}" if held else "")


def clamp_spans(record: RunRecord) -> list[ClampSpan]:
    """When each clamp of a case holds, as far as run and rules tell."""
    ends = {e["name"]: e["end"] for e in record.manifest.get("timetable", [])}
    zero = first_arc_start(record)
    off = {}
    found = (record.summary.get("locked_in") or {}).get("released") or []
    for entry in [found] if isinstance(found, dict) else found:
        for name in entry.get("clamps", []):
            off.setdefault(name, float(entry.get("time_s", 0.0)))
    out = []
    for clamp in recorded_case(record).clamps:
        start = 0.0 if clamp.on is None else _moment(clamp.on, ends)
        end = off.get(clamp.name, _moment(clamp.off, ends))
        words = "closed" if start is not None else "closes by temperature"
        if end is not None:
            words = f"opens at {end - zero:.0f} s"
        elif clamp.off.kind == "never":
            words = "stays closed"
        elif clamp.off.kind in ("cold", "below"):
            words = "opens when cold" if clamp.off.kind == "cold" else "opens by temperature"
        begin = (start if start is not None else zero) - zero
        out.append(ClampSpan(clamp.name, begin, None if end is None else end - zero, words))
    return out


def _moment(rule: RecordedRule, ends: dict) -> float | None:
    """When a start rule comes true on the run's clock; None where a temperature decides. [s]"""
    if rule.kind == "time":
        return rule.seconds
    if rule.kind == "after" and ends.get(rule.weld) is not None:
        return ends[rule.weld] + rule.seconds
    return None


def _axis(low, high, x, height) -> list[str]:
    step = next((s for s in STEPS if (high - low) / s <= 10), STEPS[-1])
    out = []
    tick = -int(-low // step) * step if low < 0 else 0
    while tick <= high + 1e-9:
        out.append(
            f'<line x1="{x(tick):.1f}" x2="{x(tick):.1f}" y1="0" y2="{height - 38}" '
            f'stroke="{GRID}"/>'
        )
        out.append(_text(x(tick), height - 24, f"{tick:.0f}", EDGE, "middle"))
        tick += step
    words = "time since the first arc started, s"
    out.append(_text((x(low) + x(high)) / 2, height - 6, words, EDGE, "middle"))
    return out


def _band(record, arc, number, y: float, x, arcs) -> list[str]:
    """One arc: a band with its number, its times inside or beside it; tacks are hollow."""
    name, start, end = arc
    colour, tack = weld_colour(record, name), is_tack(record, name)
    a, b = x(start), max(x(end), x(start) + 5)
    fill = f'fill="{PAPER}" stroke="{colour}" stroke-width="2"' if tack else f'fill="{colour}"'
    out = [
        f'<rect x="{a:.1f}" y="{y - BAR / 2}" width="{b - a:.1f}" height="{BAR}" {fill}>'
        f"<title>{escape(name)}: {start:.0f} to {end:.0f} s</title></rect>"
    ]
    seam = seam_of(record, name)
    mark = f"{number}" if number else ""
    times = f"{start:.0f} to {end:.0f} s"
    inside = next(
        (t for t in (f"{mark}: {times}", times, mark) if LETTER * len(t) + 8 < b - a), None
    )
    if inside and not tack:
        out.append(_text((a + b) / 2, y + 4, inside, WHITE, "middle"))
    beside = f"{mark}" if inside is None or tack else times if inside == mark else ""
    later = [x(s) for n, s, _ in arcs if s > start and seam_of(record, n) == seam]
    if beside and b + LETTER * len(beside) + 8 < min(later, default=WIDTH):
        out.append(_text(b + 5, y + 4, beside, INK, "start"))
    return out


def _plain(a: float, b: float, y: float, colour: str, words: str) -> list[str]:
    out = [
        f'<rect x="{a:.1f}" y="{y - BAR / 2}" width="{max(b - a, 2):.1f}" height="{BAR}" '
        f'fill="{colour}"><title>{escape(words)}</title></rect>'
    ]
    short = words if LETTER * len(words) + 4 < b - a else words.removesuffix(" s")
    if LETTER * len(short) + 2 < b - a:
        out.append(_text((a + b) / 2, y + 4, short, INK, "middle"))
    return out


def _text(x: float, y: float, text: str, colour: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}">'
        f"{escape(text)}</text>"
    )
