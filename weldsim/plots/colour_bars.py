"""Colours of temperature and movement on the part, and the bars that say what they mean."""

from __future__ import annotations

from weldsim.plots.stage import HIGHEST, Stage
from weldsim.system.palette import GLOW, INK, MOVED

BAR = 5.0  # inch; least length of a colour bar


def colour_map(colours):
    """A smooth matplotlib colour map through a few colours."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("weldsim", colours, N=512)


def temperature_scale(stage: Stage):
    """Norm and ticks of the temperature bar: square-root spaced, so that warm metal shows too."""
    from matplotlib.colors import PowerNorm

    ticks = [t for t in (20, 100, 200, 400, 600, 800, 1000, 1250, 1500) if t <= stage.hottest]
    ticks = [t for t in ticks if t >= stage.coldest - 1]
    return PowerNorm(0.5, stage.coldest, stage.hottest), ticks


def temperature_bar(figure, stage, axes) -> None:
    """Colour bar in degC."""
    from matplotlib.cm import ScalarMappable

    norm, ticks = temperature_scale(stage)
    extend = "max" if stage.hottest >= HIGHEST else "neither"
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(GLOW)), cax=axes, orientation="horizontal", ticks=ticks,
        extend=extend, extendfrac=0.03,
    )  # fmt: skip
    above = f" (lightest: {HIGHEST:g} and above)" if extend == "max" else ""
    finish_bar(bar, [f"{t:g}" for t in ticks], f"temperature, °C{above}")


def movement_bar(figure, stage, axes) -> None:
    """Colour bar of the movement in mm, unscaled."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    norm = Normalize(0, 1e3 * stage.farthest)
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(MOVED)), cax=axes, orientation="horizontal"
    )
    finish_bar(bar, None, "movement since before welding, mm (true size)")


def finish_bar(bar, labels, words: str) -> None:
    """Letters and words of a colour bar; `labels` None keeps the numbers it has."""
    bar.outline.set_visible(False)
    bar.ax.grid(False)
    bar.ax.minorticks_off()
    bar.ax.tick_params(labelsize=9, length=3)
    if labels:
        bar.set_ticklabels(labels)
    bar.set_label(words, color=INK, fontsize=10)


def bar_axes(figure):
    """Axes for a colour bar at the foot of a figure."""
    width, height = figure.get_figwidth(), figure.get_figheight()
    share = max(0.5, min(BAR / width, 0.9))
    return figure.add_axes(((1 - share) / 2, 0.52 / height, share, 0.14 / height))
