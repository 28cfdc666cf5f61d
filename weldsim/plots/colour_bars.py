"""Colours of temperature and movement on the part, and the bars that say what they mean."""

from __future__ import annotations

from weldsim.plots.stage import HIGHEST, Stage
from weldsim.plots.us_axes import show_units
from weldsim.system.palette import GLOW, INK, MOVED
from weldsim.text.quantities import Units, quantity, unit_word, us_scale

BAR = 5.0  # inch; least length of a colour bar


def colour_map(colours):
    """A smooth matplotlib colour map through a few colours."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("weldsim", colours, N=512)


# where the bar is numbered, in the unit that it names
TICKS: dict[Units, tuple[int, ...]] = {
    "metric": (20, 100, 200, 400, 600, 800, 1000, 1250, 1500),
    "us": (70, 200, 400, 800, 1200, 1600, 2200, 2800),
}


def temperature_scale(stage: Stage, units: Units = "metric"):
    """Norm, places and numbers of the temperature bar: square-root spaced, so that warm metal
    shows too. [degC, and the unit asked for]"""
    from matplotlib.colors import PowerNorm

    factor, offset = us_scale("degC") if units == "us" else (1.0, 0.0)
    ticks = [((t - offset) / factor, t) for t in TICKS[units]]
    ticks = [(place, t) for place, t in ticks if stage.coldest - 1 <= place <= stage.hottest]
    return PowerNorm(0.5, stage.coldest, stage.hottest), ticks


def temperature_bar(figure, stage, axes, units: Units = "metric") -> None:
    """Colour bar of the temperature."""
    from matplotlib.cm import ScalarMappable

    norm, ticks = temperature_scale(stage, units)
    extend = "max" if stage.hottest >= HIGHEST else "neither"
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(GLOW)), cax=axes, orientation="horizontal",
        ticks=[place for place, _ in ticks], extend=extend, extendfrac=0.03,
    )  # fmt: skip
    highest = quantity(HIGHEST, "degC", "g", named=False).text(units)
    above = f" (lightest: {highest} and above)" if extend == "max" else ""
    words = f"temperature, {unit_word('degC', units)}{above}"
    finish_bar(bar, [f"{t:g}" for _, t in ticks], words)


def movement_bar(figure, stage, axes, units: Units = "metric") -> None:
    """Colour bar of the movement, unscaled."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    norm = Normalize(0, 1e3 * stage.farthest)
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(MOVED)), cax=axes, orientation="horizontal"
    )
    finish_bar(bar, None, f"movement since before welding, {unit_word('mm', units)} (true size)")
    show_units(bar.ax.xaxis, "mm", units)


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
