"""Gauge histories of a run: all gauges against time, one panel a unit."""

from __future__ import annotations

import numpy as np

from weldsim.plots.style import new_figure, styled, text_width
from weldsim.plots.us_axes import show_units
from weldsim.plots.welds import (
    MOST_NAMED,
    arc_times,
    axis_cut,
    clock,
    first_arc_start,
    seam_of,
    weld_colour,
)
from weldsim.runs.reading import RunRecord
from weldsim.studies.band.kept import KeptBand
from weldsim.system.palette import ARC, CARE_INK, LINES, QUIET, WELDS
from weldsim.text.quantities import Units, unit_word
from weldsim.text.words import reading

PANEL_TITLES = {
    "mm": "movement", "mrad": "rotation", "degC": "temperature", "N": "force", "Nm": "moment",
}  # fmt: skip
BAND = 0.2  # opacity of the band in which nine of ten parts lie
LABEL_SHARE = 0.13  # of a panel's height that the label of a curve needs


@styled
def gauge_history(
    record: RunRecord, width: float = 10.0, units: Units = "metric", band: KeptBand | None = None
):
    """All gauges against time, one panel a unit, with bands while an arc burns.

    The time axis is cut after the last arc has settled, so that the long cooling does not squeeze
    what happens while welding.

    Parameters
    ----------
    record : RunRecord
        Of a run, finished or not.
    width : float
        Of the figure. [inch]
    units : {"metric", "us"}
        Of ticks, titles and readings.
    band : KeptBand, optional
        Of the same job: between which nine of ten parts lie, drawn pale behind each curve.

    Returns
    -------
    matplotlib.figure.Figure
        Under the house style.
    """
    kinds = [u for u in PANEL_TITLES if any(c.unit == u for c in record.columns)]
    cut, end = axis_cut(record), float(clock(record)[-1])
    sides = [(float(min(clock(record)[0], 0.0)), cut)] + ([(cut, end)] if end > cut else [])
    curves = [sum(c.unit == u for c in labelled(record)) for u in kinds]
    heights = [
        max(1.35 if u == "mm" else 1.0, LABEL_SHARE * n) for u, n in zip(kinds, curves, strict=True)
    ]
    figure = new_figure(width, 1.2 + 2.2 * sum(heights))
    panels = figure.subplots(
        len(kinds), len(sides), sharex="col", sharey="row", squeeze=False,
        gridspec_kw={"height_ratios": heights, "width_ratios": [3.2, 1][: len(sides)]},
    )  # fmt: skip
    for row, unit in zip(panels, kinds, strict=True):
        columns = [c for c in record.columns if c.unit == unit]
        _panel_row(record, row, sides, columns, units, band)
        row[0].set_title(f"{PANEL_TITLES[unit]}, {unit_word(unit, units)}",
                         pad=19 if unit == kinds[0] else 6)  # fmt: skip
    for axes, (low, high) in zip(panels[-1], sides, strict=True):
        axes.set_xlim(low, high)
    panels[-1][0].set_xlabel("time since the first arc started, s")
    if len(sides) > 1:
        panels[-1][1].set_xlabel("cooling, s")
    _name_arcs(record, panels[0][0])
    height = figure.get_figheight()
    figure.suptitle(record.title, x=0.01, y=1 - 0.1 / height, ha="left", va="top", fontsize=13)
    figure.subplots_adjust(
        left=0.75 / width, right=1 - _label_room(record, units) / width, top=1 - 0.85 / height,
        bottom=0.55 / height, hspace=0.3, wspace=0.04,
    )  # fmt: skip
    return figure


def _panel_row(record, row, sides, columns, units: Units, band: KeptBand | None) -> None:
    """One unit: the same curves in the near and the far part of the time axis."""
    unit = columns[0].unit
    for number, (axes, (begin, end)) in enumerate(zip(row, sides, strict=True)):
        for _, start, stop in arc_times(record):
            axes.axvspan(start, stop, color=ARC, lw=0, zorder=0)
        for column, colour in zip(columns, _colours(record, columns), strict=True):
            style = "-" if column.weld is None else "--"
            axes.plot(clock(record), record.gauges[column.name], color=colour, ls=style)
            if band is not None and column.name in band.low:
                at = band.times - first_arc_start(record)
                low, high = band.low[column.name], band.high[column.name]
                axes.fill_between(at, low, high, color=colour, alpha=BAND, lw=0, zorder=1)
        if unit != "degC":
            axes.axhline(0, color=QUIET, lw=0.8, zorder=1)
        axes.set_xlim(begin, end)
        if number:
            axes.tick_params(left=False)
            axes.spines["left"].set_linestyle((0, (2, 3)))
            axes.xaxis.set_major_locator(_few_ticks())
    _end_labels(record, row[-1], columns, units)
    for axes in row:
        show_units(axes.yaxis, unit, units)


def labelled(record: RunRecord) -> list:
    """Columns whose curves are named: all gauges; of many welds the first of each seam."""
    welds = [c.weld for c in record.columns if c.weld is not None]
    if len(welds) <= MOST_NAMED:
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


def _end_labels(record, axes, columns, units: Units) -> None:
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
            _end_text(record, column, columns, units), (right, place), xytext=(9, 0),
            textcoords="offset points", color=colour, va="center", fontsize=9.5,
            annotation_clip=False,
        )  # fmt: skip
        error = record.errors.get(column.name)
        if error:
            axes.errorbar([right], [value], [error], color=colour, capsize=3, lw=1.2, clip_on=False)


def _end_text(record, column, columns, units: Units) -> str:
    """Name of a curve, with its gauge where a panel shows several, and its final reading."""
    several = len({c.gauge for c in columns}) > 1 or column.component == "bow"
    name = f"under {column.weld}" if column.weld else column.component
    if several and not column.weld and column.gauge != column.component:
        name = f"{column.gauge} {column.component}"
    end = reading(record, column, named=False).text(units).replace("-", "\N{MINUS SIGN}")
    return f"{name} {end}"


def _label_room(record, units: Units) -> float:
    """Width that the longest label at the end of a curve needs. [inch]"""
    kinds = {c.unit for c in record.columns}
    alike = [[c for c in record.columns if c.unit == unit] for unit in kinds]
    longest = max((len(_end_text(record, c, cs, units)) for cs in alike for c in cs), default=0)
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
    found = arc_times(record)
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
            textcoords="offset points", ha="center", va="bottom", fontsize=9, color=CARE_INK,
        )  # fmt: skip
