"""Pictures of a band: gauges over time, ends on the target, what explains the scatter."""

from __future__ import annotations

import numpy as np

from weldsim.plots.style import new_figure, styled
from weldsim.plots.us_axes import show_units
from weldsim.schema.column import Column
from weldsim.studies.band.records import BETWEEN, GRADE, Band, Reading
from weldsim.system.palette import ARC, GOOD, GRID, INK, LINES, SPOT, WHITE
from weldsim.text.band_words import causes, shown
from weldsim.text.quantities import Units, unit_word

PANEL = 2.3  # inch
MOST_CAUSES = 7
REST = "the rest"


@styled
def band_figure(band: Band, units: Units = "metric"):
    """Every gauge over time with the band in which nine of ten parts lie.

    Parameters
    ----------
    band : Band
        Any.
    units : {"metric", "us"}
        Of the axes.

    Returns
    -------
    matplotlib.figure.Figure
        Two panels beside each other; the time axis is that of roots, so that welding shows.
    """
    columns = list(dict.fromkeys(r.column for r in shown(band)))
    rows = -(-len(columns) // 2)
    high = PANEL * rows + 0.6
    figure = new_figure(10.0, high)
    for k, column in enumerate(columns):
        row, side = divmod(k, 2)
        bottom = (high - (row + 1) * PANEL + 0.15) / high
        axes = figure.add_axes((0.08 + 0.5 * side, bottom, 0.4, (PANEL - 0.7) / high))
        at = band.columns.index(column)
        curve, low, top = (column.to_display(v[at]) for v in (band.middle, band.low, band.high))
        axes.axvspan(0.0, band.last_arc, color=ARC, lw=0, zorder=0)
        axes.fill_between(band.times, low, top, color=LINES[0], alpha=0.3, lw=0,
                          label="nine of ten parts")  # fmt: skip
        axes.plot(band.times, curve, color=LINES[0], label="as the case says")
        axes.set_xscale("function", functions=(_root, _square))
        axes.set_xlim(0.0, band.times[-1])
        axes.set_xticks(_ticks(band))
        axes.set_title(f"{column.gauge} {column.component}, {unit_word(column.unit, units)}")
        show_units(axes.yaxis, column.unit, units)
        if k == 0:
            axes.legend(fontsize=8)
        if row == rows - 1 or k == len(columns) - 2:
            axes.set_xlabel("time, s (drawn longer at first); shaded: until the last arc goes out",
                            fontsize=8)  # fmt: skip
    return figure


def _root(t):
    return np.sqrt(np.maximum(t, 0.0))


def _square(r):
    return np.square(r)


def _ticks(band: Band) -> list[float]:
    """A few round times, spread over the axis."""
    end = float(band.times[-1])
    steps = [f * 10.0**p for p in range(6) for f in (1.0, 2.0, 5.0)]
    out = [0.0]
    for step in steps:
        if step < end and _root(step) - _root(out[-1]) > 0.12 * _root(end):
            out.append(step)
    return out


@styled
def target_figure(band: Band, gauge: str, units: Units = "metric"):
    """Cold ends of many parts on the target of a pointer.

    Parameters
    ----------
    band : Band
        Any.
    gauge : str
        Name of a pointer.
    units : {"metric", "us"}
        Of the axes.

    Returns
    -------
    matplotlib.figure.Figure
        As seen looking along the beam.
    """
    up, right = (Column(gauge, side, "mm") for side in ("up", "right"))
    at = [band.columns.index(c) for c in (right, up)]
    spots = 1e3 * band.ends[:, at]
    end = 1e3 * band.middle[at, -1]
    figure = new_figure(5.6, 5.4)
    axes = figure.add_axes((0.15, 0.12, 0.8, 0.76))
    axes.plot(*spots.T, ".", ms=3, color=SPOT, alpha=0.45, label=f"{len(spots)} parts")
    axes.plot(*end, "o", ms=7, color=INK, mec=WHITE, label="as the case says")
    low, high = np.percentile(spots, [5, 95], axis=0)
    axes.plot([low[0], high[0]], [end[1]] * 2, color=INK, lw=1.2)
    axes.plot([end[0]] * 2, [low[1], high[1]], color=INK, lw=1.2, label="nine of ten, each side")
    axes.plot(0.0, 0.0, "+", ms=14, mew=1.5, color=GOOD, label="where the spot began")
    axes.set_aspect("equal", adjustable="datalim")
    axes.axhline(0.0, color=GRID, zorder=0)
    axes.axvline(0.0, color=GRID, zorder=0)
    word = unit_word("mm", units)
    axes.set_xlabel(f"right, {word} on the target")
    axes.set_ylabel(f"up, {word} on the target")
    for axis in (axes.xaxis, axes.yaxis):
        show_units(axis, "mm", units)
    axes.set_title(f"Where the spot of {gauge} ends, cold")
    axes.legend(fontsize=8)
    return figure


@styled
def shares_figure(band: Band):
    """What explains the scatter of each gauge when cold.

    Parameters
    ----------
    band : Band
        Any.

    Returns
    -------
    matplotlib.figure.Figure
        One bar a gauge, parts named beside it.
    """
    readings = [r for r in shown(band) if r.moment == "cold" or r.column.unit == "degC"]
    names = _named(readings)
    colours = {**dict(zip(names, LINES, strict=False)), REST: GRID}
    high = 0.55 * len(readings) + 1.2
    figure = new_figure(9.0, high)
    axes = figure.add_axes((0.24, 0.5 / high, 0.73, 1.0 - 1.2 / high))
    for row, r in enumerate(reversed(readings)):
        begin = 0.0
        sums = dict(causes(r))
        for name in names:
            share = sums.get(name, 0.0)
            if name == REST:
                share = max(0.0, 1.0 - begin)
            axes.barh(row, share, left=begin, color=colours[name], height=0.62,
                      label=name if row == 0 else None)  # fmt: skip
            if share > 0.06:
                pale = name == REST
                axes.text(begin + share / 2, row, f"{100 * share:.0f}", ha="center", va="center",
                          color=INK if pale else WHITE, fontsize=9)  # fmt: skip
            begin += share
    gauges = [f"{r.column.gauge} {r.column.component}" for r in reversed(readings)]
    axes.set_yticks(range(len(readings)), gauges)
    axes.set_xlim(0.0, 1.0)
    axes.set_xticks(np.linspace(0.0, 1.0, 5), ["0", "25", "50", "75", "100 %"])
    axes.grid(False)
    axes.set_xlabel("share of the variance", fontsize=9)
    axes.legend(fontsize=8, ncols=3, loc="lower left", bbox_to_anchor=(-0.28, 1.0))
    return figure


def _named(readings: list[Reading]) -> list[str]:
    """Causes that get a colour: the largest over all gauges; the others are "the rest"."""
    most: dict[str, float] = {}
    for r in readings:
        for name, share in causes(r):
            most[name] = max(most.get(name, 0.0), share)
    ranked = sorted((n for n in most if most[n] > 0.03), key=lambda n: -most[n])
    kept = ranked[: MOST_CAUSES - 1]
    own = [n for n in kept if n not in (GRADE, BETWEEN)]
    return [*own, *(n for n in (GRADE, BETWEEN) if n in kept), REST]
