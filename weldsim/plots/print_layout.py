"""How pictures for print are laid out: panels that fit what they show, bars, keys, axes of cuts."""

from __future__ import annotations

from weldsim.plots.colour_bars import colour_map, temperature_bar
from weldsim.plots.cuts import Cut
from weldsim.plots.style import INCH, new_figure
from weldsim.plots.us_axes import show_units
from weldsim.system.palette import INK
from weldsim.text.quantities import Units, unit_word


def image_panels(stage, count: int, width_mm: float, below: float, stacked: int = 0):
    """A figure with room for `count` pictures of the stage's shape; `below` [inch] for a bar.

    They stand in `stacked` columns, all beside each other for 0.
    """
    wide = width_mm / INCH
    columns = min(stacked or count, count)
    rows = -(-count // columns)
    each = wide / columns, wide / columns * stage.size[1] / stage.size[0]
    total = rows * each[1] + below
    figure = new_figure(wide, total)
    out = []
    for number in range(count):
        row, column = divmod(number, columns)
        low = (below + (rows - 1 - row) * each[1]) / total
        axes = figure.add_axes((column / columns, low, 1 / columns, each[1] / total))
        axes.set_axis_off()
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        out.append(axes)
    return figure, out


def small_temperature_bar(figure, stage, units: Units = "metric") -> None:
    """Colour bar of the temperature at the foot of a figure for print."""

    high = figure.get_figheight()
    bar = figure.add_axes((0.08, 0.53 / high, 0.84, 0.07 / high))
    temperature_bar(figure, stage, bar, units)
    small_bar(bar, f"temperature, {unit_word('degC', units)}")


def small_bar(bar, words: str) -> None:
    """Letters of a colour bar, by its axes, at the size of print."""
    bar.tick_params(labelsize=6, length=2, pad=1)
    bar.set_xlabel(words, fontsize=6.5, labelpad=1)


def colour_bar(figure, colours, low: float, high: float, words: str, place):
    """A bar of colours from a low to a high value at a place of the figure; its axes."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    axes = figure.add_axes(place)
    mappable = ScalarMappable(Normalize(low, high), colour_map(colours))
    bar = figure.colorbar(mappable, cax=axes, orientation="horizontal")
    bar.outline.set_visible(False)
    small_bar(axes, words)
    return axes


def line_key(figure, handles, place) -> None:
    """What the lines of a map mean; `handles` are (line style, words)."""
    from matplotlib.lines import Line2D

    lines = [Line2D([], [], color=INK, lw=0.9, ls=style) for style, _ in handles]
    if lines:
        figure.legend(lines, [w for _, w in handles], loc="lower left", bbox_to_anchor=place,
                      borderaxespad=0.3, handlelength=2.2)  # fmt: skip


def cut_shape(cut: Cut) -> float:
    """Height of the window of a cut over its width."""
    (x0, x1), (y0, y1) = cut.window
    return (y1 - y0) / (x1 - x0)


def cut_panels(width_mm: float, cuts, columns: int, below: float):
    """A figure with axes that fit the windows of some cuts, and room for a bar. [inch]"""
    wide, left, title, foot = width_mm / INCH, 0.64, 0.26, 0.36
    rows = [cuts[k : k + columns] for k in range(0, len(cuts), columns)]
    each = wide / columns - left - 0.12
    tall = [min(max(cut_shape(c) for c in row) * each, 2.4) for row in rows]
    total = below + sum(tall) + len(rows) * (title + foot)
    figure = new_figure(wide, total)
    out, top = [], total
    for row, high in zip(rows, tall, strict=True):
        top -= title + high + foot
        for column in range(len(row)):
            left_side = (column * wide / columns + left) / wide
            place = left_side, (top + foot) / total, each / wide, high / total
            out.append(figure.add_axes(place))
    return figure, out


def cut_outline(axes, cut: Cut) -> None:
    """Lines that bound the metal of a cut."""
    from matplotlib.collections import LineCollection

    axes.add_collection(LineCollection(1e3 * cut.border, colors=INK, linewidths=0.7))


def finish_cut(axes, cut: Cut, title: str, units: Units = "metric") -> None:
    """Window, title and names of the axes of a cut drawn in mm."""
    (x0, x1), (y0, y1) = cut.window
    axes.set_xlim(1e3 * x0, 1e3 * x1)
    axes.set_ylim(1e3 * y0, 1e3 * y1)
    axes.set_aspect("equal", "box")
    axes.set_title(title)
    axes.set_xlabel(f"{cut.across}, {unit_word('mm', units)}")
    axes.set_ylabel(f"{cut.upward}, {unit_word('mm', units)}")
    for axis in (axes.xaxis, axes.yaxis):
        show_units(axis, "mm", units, most=4)
