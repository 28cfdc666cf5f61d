"""Plots of a run: gauge histories, the timetable; the light spot is in `spot`.

Every function takes a `RunRecord` and gives a matplotlib figure; nothing is written. Colours are
told apart by people with any colour vision (Okabe and Ito 2008), and by their labels.
Clock on all pictures: seconds since the first arc started.
"""

from __future__ import annotations

import io
import re
from functools import wraps

import numpy as np

from weldsim.runs.reading import RunRecord
from weldsim.text.words import reading, unit_word

PAPER, INK, QUIET, GRID = "#fbfbf9", "#1f2a36", "#7b8794", "#e3e6e8"
ARC = "#f6dcb5"  # bands while an arc burns
LINES = ("#0b5fa5", "#c2570c", "#00795c", "#a3478c", "#6b5b00", "#4d5b6b")
WELDS = ("#d1600a", "#8f2d8a", "#0a7f78", "#5f6b00", "#9b3a2f", "#3a5fb0")
STYLE = {
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER,
    "text.color": INK, "axes.edgecolor": QUIET, "axes.labelcolor": INK, "axes.linewidth": 0.8,
    "xtick.color": QUIET, "ytick.color": QUIET, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
    "axes.grid": True, "grid.color": GRID, "grid.linewidth": 0.8, "axes.axisbelow": True,
    "axes.spines.top": False, "axes.spines.right": False, "font.family": "DejaVu Sans",
    "font.size": 10, "axes.titlesize": 11, "axes.labelsize": 10, "axes.titlelocation": "left",
    "lines.linewidth": 1.8, "lines.solid_capstyle": "round", "legend.frameon": False,
    "svg.fonttype": "path", "svg.hashsalt": "weldsim",
    "text.parse_math": False,  # names and titles are as they were written, a $ is a dollar
}  # fmt: skip
PANEL_TITLES = {
    "mm": "movement", "mrad": "rotation", "degC": "temperature", "N": "force", "Nm": "moment",
}  # fmt: skip
MANY = 8  # welds; with more, the first of each seam is named
LABEL_SHARE = 0.13  # of a panel's height that the label of a curve needs
LETTER = 0.0085  # inch; width of a letter for each point of its size, about


def styled(draw):
    """Run a drawing function under the house style."""

    @wraps(draw)
    def inside(*args, **options):
        from matplotlib import rc_context

        with rc_context(STYLE):
            return draw(*args, **options)

    return inside


def new_figure(width: float, height: float, dpi: int = 110):
    """A figure of our own, apart from pyplot's global ones. [inch]"""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), dpi=dpi)


def arcs(record: RunRecord) -> list[tuple[str, float, float]]:
    """Name, start and end of each arc on the pictures' clock; one still burning ends now. [s]"""
    zero, now = first_arc(record), float(record.gauges["time_s"][-1])
    table = record.manifest.get("timetable", [])
    return [
        (e["name"], e["start"] - zero, (now if e["end"] is None else e["end"]) - zero)
        for e in table
    ]


def first_arc(record: RunRecord) -> float:
    """When the first arc started, 0 without one. [s]"""
    return min((e["start"] for e in record.manifest.get("timetable", [])), default=0.0)


def clock(record: RunRecord) -> np.ndarray:
    """Times of the readings since the first arc start, shape (N,). [s]"""
    return record.gauges["time_s"] - first_arc(record)


def weld_colour(record: RunRecord, name: str) -> str:
    """The colour of a weld, the same on every picture."""
    return colours_of(record.manifest.get("case", {}).get("welds", [])).get(name, WELDS[0])


def colours_of(welds) -> dict[str, str]:
    """Name -> colour of welds with `name` and `seam`: one each; one a seam where they run out."""
    keys = [w["name"] for w in welds]
    if len(keys) > len(WELDS) and all(w.get("seam") for w in welds):
        keys = [w["seam"] for w in welds]
    order = list(dict.fromkeys(keys))
    names = (w["name"] for w in welds)
    return {n: WELDS[order.index(k) % len(WELDS)] for n, k in zip(names, keys, strict=True)}


def seam_of(record: RunRecord, name: str) -> str:
    """Seam that a weld lies on; the weld itself on a bar."""
    welds = record.manifest.get("case", {}).get("welds", [])
    return next((w.get("seam") or name for w in welds if w["name"] == name), name)


def is_tack(record: RunRecord, name: str) -> bool:
    """Whether an arc lays a tack."""
    welds = record.manifest.get("case", {}).get("welds", [])
    return any(w["name"] == name and w.get("tack", -1) >= 0 for w in welds)


def text_width(text: str, size: float) -> float:
    """About how wide a line of text is. [inch]"""
    return LETTER * size * len(text)


@styled
def gauge_history(record: RunRecord, width: float = 10.0):
    """All gauges against time, one panel a unit, with bands while an arc burns.

    The time axis is cut after the last arc has settled, so that the long cooling does not squeeze
    what happens while welding.
    """
    units = [u for u in PANEL_TITLES if any(c.unit == u for c in record.columns)]
    cut, end = axis_cut(record), float(clock(record)[-1])
    sides = [(float(min(clock(record)[0], 0.0)), cut)] + ([(cut, end)] if end > cut else [])
    curves = [sum(c.unit == u for c in labelled(record)) for u in units]
    heights = [
        max(1.35 if u == "mm" else 1.0, LABEL_SHARE * n) for u, n in zip(units, curves, strict=True)
    ]
    figure = new_figure(width, 1.2 + 2.2 * sum(heights))
    panels = figure.subplots(
        len(units), len(sides), sharex="col", sharey="row", squeeze=False,
        gridspec_kw={"height_ratios": heights, "width_ratios": [3.2, 1][: len(sides)]},
    )  # fmt: skip
    for row, unit in zip(panels, units, strict=True):
        columns = [c for c in record.columns if c.unit == unit]
        _panel_row(record, row, sides, columns, unit, units[0])
    for axes, (low, high) in zip(panels[-1], sides, strict=True):
        axes.set_xlim(low, high)
    panels[-1][0].set_xlabel("time since the first arc started, s")
    if len(sides) > 1:
        panels[-1][1].set_xlabel("cooling, s")
    _name_arcs(record, panels[0][0])
    height = figure.get_figheight()
    figure.suptitle(record.title, x=0.01, y=1 - 0.1 / height, ha="left", va="top", fontsize=13)
    figure.subplots_adjust(
        left=0.75 / width, right=1 - _label_room(record) / width, top=1 - 0.85 / height,
        bottom=0.55 / height, hspace=0.3, wspace=0.04,
    )  # fmt: skip
    return figure


def axis_cut(record: RunRecord) -> float:
    """Where the time axis changes scale: the slowest gauge settled, at most 3 min past the arc."""
    last = max((stop for _, _, stop in arcs(record)), default=0.0)
    end = float(clock(record)[-1])
    slowest = [v.get("settled_after_arc_s") or 0 for v in record.summary.get("gauges", {}).values()]
    cut = last + float(np.clip(1.3 * max(slowest, default=60.0), 45.0, 180.0))
    return cut if cut < 0.7 * end else end


def _panel_row(record, row, sides, columns, unit, first) -> None:
    """One unit: the same curves in the near and the far part of the time axis."""
    for number, (axes, (low, high)) in enumerate(zip(row, sides, strict=True)):
        for _, start, stop in arcs(record):
            axes.axvspan(start, stop, color=ARC, lw=0, zorder=0)
        for column, colour in zip(columns, _colours(record, columns), strict=True):
            style = "-" if column.weld is None else "--"
            axes.plot(clock(record), record.gauges[column.name], color=colour, ls=style)
        if unit != "degC":
            axes.axhline(0, color=QUIET, lw=0.8, zorder=1)
        axes.set_xlim(low, high)
        if number:
            axes.tick_params(left=False)
            axes.spines["left"].set_linestyle((0, (2, 3)))
            axes.xaxis.set_major_locator(_few_ticks())
    row[0].set_title(f"{PANEL_TITLES[unit]}, {unit_word(unit)}", pad=6 if unit != first else 19)
    _end_labels(record, row[-1], columns, unit)


def labelled(record: RunRecord) -> list:
    """Columns whose curves are named: all gauges; of many welds the first of each seam."""
    welds = [c.weld for c in record.columns if c.weld is not None]
    if len(welds) <= MANY:
        return record.columns
    first = {seam_of(record, name): name for name in reversed(welds)}.values()
    return [c for c in record.columns if c.weld is None or c.weld in first]


def _few_ticks():
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(3, prune="lower")


def _colours(record, columns):
    """One colour a curve; temperatures under a bead take the colour of their weld."""
    plain = iter(LINES * (1 + len(columns) // len(LINES)))
    return [weld_colour(record, c.weld) if c.weld else next(plain) for c in columns]


def _end_labels(record, axes, columns, unit) -> None:
    """Name and final reading at the end of each curve, moved apart where they would touch."""
    low, high = axes.get_ylim()
    named = [c.name for c in labelled(record)]
    gap = LABEL_SHARE * (high - low) / max(1.0, LABEL_SHARE * sum(c.name in named for c in columns))
    ends = [
        (float(record.gauges[c.name][-1]), c, colour)
        for c, colour in zip(columns, _colours(record, columns), strict=True)
        if c.name in named
    ]
    ends.sort(key=lambda end: end[0])
    places = spread_apart([value for value, *_ in ends], gap, low, high)
    right = axes.get_xlim()[1]
    for place, (value, column, colour) in zip(places, ends, strict=True):
        axes.annotate(
            _end_text(record, column, columns), (right, place), xytext=(9, 0),
            textcoords="offset points", color=colour, va="center", fontsize=9.5,
            annotation_clip=False,
        )  # fmt: skip
        error = record.errors.get(column.name)
        if error:
            axes.errorbar([right], [value], [error], color=colour, capsize=3, lw=1.2, clip_on=False)


def _end_text(record, column, columns) -> str:
    """Name of a curve, with its gauge where a panel shows several, and its final reading."""
    several = len({c.gauge for c in columns}) > 1 or column.component == "bow"
    name = f"under {column.weld}" if column.weld else column.component
    if several and not column.weld and column.gauge != column.component:
        name = f"{column.gauge} {column.component}"
    end = reading(record, column).replace("-", "\N{MINUS SIGN}")
    return f"{name} {end}"


def _label_room(record) -> float:
    """Width that the longest label at the end of a curve needs. [inch]"""
    units = {c.unit for c in record.columns}
    alike = [[c for c in record.columns if c.unit == unit] for unit in units]
    longest = max((len(_end_text(record, c, cs)) for cs in alike for c in cs), default=0)
    return max(1.3, 0.3 + 0.092 * longest)


def spread_apart(values, gap: float, low: float, high: float) -> list[float]:
    """Ascending places near ascending values, at least `gap` apart and inside if they fit."""
    places = list(values)
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + gap)
    over = places[-1] - max(high, low + gap * (len(places) - 1)) if places else 0.0
    if over > 0:
        places[-1] -= over
        for i in range(len(places) - 2, -1, -1):
            places[i] = min(places[i], places[i + 1] - gap)
    return places


def _name_arcs(record, axes) -> None:
    """Names of the arcs above their bands; where they would touch, some go unnamed."""
    found = arcs(record)
    low, high = axes.get_xlim()
    per_inch = (high - low) / (axes.get_position().width * axes.figure.get_figwidth())
    plain = len(found) > len(WELDS)
    free = -np.inf
    for name, start, stop in found:
        text = name if plain else f"arc {name}"
        half = 0.5 * per_inch * text_width(text, 9)
        middle = (start + stop) / 2
        if middle - half < free or middle > high:
            continue
        free = middle + 1.05 * half
        axes.annotate(
            text, (middle, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3),
            textcoords="offset points", ha="center", va="bottom", fontsize=9, color="#8a5a10",
        )  # fmt: skip


ROW = 0.3  # inch; height of a line of the timetable
SHORTEST = 0.06  # inch; an arc is drawn at least as long


@styled
def timetable_strip(record: RunRecord, width: float = 10.0):
    """When each arc burns: a line for each seam (each weld on a bar), and one for the pauses."""
    found = arcs(record)
    rows = list(dict.fromkeys(seam_of(record, name) for name, *_ in found))
    between = pauses(found)
    names = [*rows, *(["pauses"] if between else [])]
    height = ROW * max(len(names), 1) + 0.55
    figure = new_figure(width, height)
    axes = figure.subplots()
    side = 0.25 + max((text_width(r, 10) for r in names), default=0.5)
    end = axis_cut(record) if found else 1.0
    axes.set_xlim(min([0.0, *(start for _, start, _ in found)]), end)
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_yticks(range(len(names)), names)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="y", visible=False)
    axes.spines[["left"]].set_visible(False)
    axes.set_xlabel("time since the first arc started, s", fontsize=9)
    figure.subplots_adjust(
        left=side / width, right=1 - 0.2 / width, top=1 - 0.05 / height, bottom=0.5 / height
    )
    per_inch = end / (width - side - 0.2)
    for arc in found:
        _arc_band(record, axes, rows.index(seam_of(record, arc[0])), arc, per_inch)
    for low, high in between:
        _pause(axes, len(rows), low, high, per_inch)
    return figure


def _arc_band(record, axes, row: int, arc, per_inch: float) -> None:
    """One arc as a band with its name and times, as far as there is room; tacks are hatched."""
    name, start, stop = arc
    colour, tack = weld_colour(record, name), is_tack(record, name)
    seam = seam_of(record, name)
    right = max(stop, start + SHORTEST * per_inch)
    axes.barh(
        row, right - start, left=start, height=0.74, color=PAPER if tack else colour,
        edgecolor=colour if tack else PAPER, lw=1.0, hatch="/////" if tack else None,
    )  # fmt: skip
    times = f"{start:.0f} to {stop:.0f} s"
    alone = [times] if name == seam else [f"{name}: {times}", name, name.removeprefix(f"{seam}.")]
    for text in [] if tack else alone:
        if text_width(text, 9) + 0.06 < (stop - start) / per_inch:
            axes.text((start + stop) / 2, row, text, ha="center", va="center", color="white",
                      fontsize=9)  # fmt: skip
            if text != name.removeprefix(f"{seam}.") and text != name:
                return
            break
    mine = [a for a in arcs(record) if seam_of(record, a[0]) == seam and not is_tack(record, a[0])]
    text = name if tack else f"{mine[0][1]:.0f} to {mine[-1][2]:.0f} s"
    if right + per_inch * (text_width(text, 9) + 0.1) < _next_on_row(record, name, start):
        axes.annotate(text, (right, row), xytext=(3, 0), textcoords="offset points", va="center",
                      fontsize=9, color=colour, annotation_clip=False)  # fmt: skip


def _next_on_row(record, name: str, start: float) -> float:
    """When the next arc on the same line of the timetable starts. [s]"""
    seam = seam_of(record, name)
    same = [s for n, s, _ in arcs(record) if s > start and seam_of(record, n) == seam]
    return min(same, default=np.inf)


def pauses(found) -> list[tuple[float, float]]:
    """Start and end of what lies between arcs, in order. [s]"""
    ordered = sorted(found, key=lambda a: a[1])
    ends = np.maximum.accumulate([stop for *_, stop in ordered]) if ordered else []
    return [
        (float(end), float(start))
        for end, (_, start, _) in zip(ends, ordered[1:], strict=False)
        if start - end > 1e-6
    ]


def _pause(axes, row: int, low: float, high: float, per_inch: float) -> None:
    """One pause as a pale band with its length where there is room."""
    axes.barh(row, high - low, left=low, height=0.74, color=GRID, lw=0)
    for text in (f"{high - low:.0f} s", f"{high - low:.0f}"):
        if text_width(text, 8.5) < (high - low) / per_inch:
            axes.text((low + high) / 2, row, text, ha="center", va="center", fontsize=8.5,
                      color="#4d5b6b")  # fmt: skip
            return


@styled
def inline_svg(figure, label: str) -> str:
    """A figure as SVG to stand inside an HTML page, with nothing that points outside it."""
    out = io.StringIO()
    figure.savefig(out, format="svg")
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", text)
    text = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", text, count=1)
    return text.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
