"""Pictures of a fit: measured over computed with residuals, and what became of each unknown."""

from __future__ import annotations

import numpy as np

from weldsim.plots.style import new_figure, styled
from weldsim.studies.fit.records import Fit
from weldsim.studies.spreads import value_name
from weldsim.system.palette import GRID, INK, LINES, QUIET, SPOT
from weldsim.text.fit_words import column_name, figures
from weldsim.text.quantities import unit_word


@styled
def curves_figure(found: Fit):
    """Measured readings over the computed curves, residuals below.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.

    Returns
    -------
    matplotlib.figure.Figure
        One column of panels a curve, two beside each other.
    """
    curves = [c for c in found.curves if not c.observed.cold]
    rows = max(1, -(-len(curves) // 2))
    high = 4.2 * rows
    figure = new_figure(10.0, high)
    for k, c in enumerate(curves):
        row, side = divmod(k, 2)
        left, top = 0.08 + 0.49 * side, 1.0 - (row + 1) * 4.2 / high
        upper = figure.add_axes((left, top + 1.75 / high, 0.4, 2.0 / high))
        lower = figure.add_axes((left, top + 0.55 / high, 0.4, 0.95 / high), sharex=upper)
        column, o = c.observed.column, c.observed
        shown = [column.to_display(v) for v in (o.values, c.computed, c.low, c.high)]
        upper.fill_between(o.times, shown[2], shown[3], color=LINES[0], alpha=0.25, lw=0,
                           label="computed, 90 %")  # fmt: skip
        upper.plot(o.times, shown[1], color=LINES[0], label="computed, likeliest")
        upper.plot(o.times, shown[0], ".", ms=3, color=SPOT, label="measured")
        upper.set_title(f"{column_name(column)}, {unit_word(column.unit)}", fontsize=10)
        upper.tick_params(labelbottom=False)
        if k == 0:
            upper.legend(fontsize=8)
        lower.axhline(0.0, color=GRID)
        lower.plot(o.times, column.factor * c.residual, ".", ms=2.5, color=SPOT)
        lower.plot(o.times, column.factor * c.unmended, color=INK, lw=1.0,
                   label="not to be mended")  # fmt: skip
        lower.set_xlabel("time on the clock of the bench, s")
        lower.set_ylabel(f"measured less\ncomputed, {unit_word(column.unit)}", fontsize=8)
        if k == 0:
            lower.legend(fontsize=8)
    if not curves:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.text(0.5, 0.5, "readings of the cold part alone", ha="center")
    return figure


@styled
def slopes_figure(found: Fit):
    """How each curve changes with each unknown, along the whole of it.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.

    Returns
    -------
    matplotlib.figure.Figure
        Two panels beside each other; curves of one shape cannot be told apart.
    """
    along = [a for a in found.learnable.along if np.isfinite(a.times).all()]
    rows = max(1, -(-len(along) // 2))
    high = 2.5 * rows + 0.5
    figure = new_figure(10.0, high)
    for k, a in enumerate(along):
        row, side = divmod(k, 2)
        bottom = (high - 0.5 - (row + 1) * 2.5 + 0.55) / high
        axes = figure.add_axes((0.08 + 0.49 * side, bottom, 0.4, 1.6 / high))
        axes.axhline(0.0, color=GRID)
        for j, u in enumerate(found.unknowns):
            style = ("-", "--", ":")[j // len(LINES) % 3]
            axes.plot(a.times, a.column.factor * a.change[j], color=LINES[j % len(LINES)], ls=style,
                      label=value_name(u.key))  # fmt: skip
        axes.set_title(
            f"{a.column.gauge} {a.column.component}: change from lowest to highest bound, "
            f"{a.column.unit}", fontsize=10,
        )  # fmt: skip
        axes.set_xlabel("time on the clock of the bench, s", fontsize=8)
    if along:
        handles = figure.axes[0].get_legend_handles_labels()
        figure.legend(*handles, loc="upper left", ncols=4, fontsize=8, frameon=False)
    else:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        axes.text(0.5, 0.5, "readings of the cold part alone", ha="center")
    return figure


@styled
def unknowns_figure(found: Fit):
    """Each unknown between its bounds: believed before, and after the measurements.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.

    Returns
    -------
    matplotlib.figure.Figure
        One row an unknown.
    """
    count = len(found.unknowns)
    high = 0.75 * count + 0.7
    figure = new_figure(7.5, high)
    axes = figure.add_axes((0.38, 0.5 / high, 0.58, 1.0 - 0.6 / high))
    for k, u in enumerate(found.unknowns):
        y = count - 1 - k
        axes.plot([0, 1], [y, y], color=GRID, lw=6, solid_capstyle="butt")
        places = [u.share(float(v)) for v in (found.low[k], found.best[k], found.high[k])]
        kept = k in found.learnable.frozen
        axes.plot(places[::2], [y, y], color=QUIET if kept else LINES[0], lw=6,
                  solid_capstyle="butt")  # fmt: skip
        axes.plot(places[1], y, "o", color=INK, ms=5)
        for x, v in ((0.0, u.low), (1.0, u.high)):
            axes.text(x, y - 0.36, figures(u, v), fontsize=7, color=QUIET,
                      ha="left" if x == 0 else "right", va="center")  # fmt: skip
    axes.set_yticks(range(count), [value_name(u.key) for u in reversed(found.unknowns)], fontsize=8)
    axes.set_xlim(-0.02, 1.02)
    axes.set_ylim(-0.6, count - 0.4)
    axes.set_xticks([])
    axes.grid(False)
    axes.set_xlabel("between the bounds; coloured: 90 % after the measurements", fontsize=8)
    return figure
