"""Axes of a plot in US units: the curves stay metric, ticks stand at round US numbers."""

from __future__ import annotations

from weldsim.text.quantities import Units, us_scale


def show_units(axis, unit: str, units: Units, most: int = 6) -> None:
    """Number an axis in the units asked for, once its limits stand.

    Parameters
    ----------
    axis : matplotlib.axis.Axis
        With its limits.
    unit : str
        Metric unit of its data.
    units : {"metric", "us"}
    most : int
        Ticks at most, about.
    """
    from matplotlib.ticker import FixedFormatter, FixedLocator, MaxNLocator

    factor, offset = us_scale(unit)
    if units == "metric" or factor == 1.0:
        return
    low, high = (factor * v + offset for v in sorted(axis.get_view_interval()))
    ticks = [t for t in MaxNLocator(most).tick_values(low, high) if low <= t <= high]
    axis.set_major_locator(FixedLocator([(t - offset) / factor for t in ticks]))
    texts = [f"{t:.4g}".replace("-", "\N{MINUS SIGN}") for t in ticks]
    axis.set_major_formatter(FixedFormatter(texts))
