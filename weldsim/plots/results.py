"""Pictures of a `Result` for notebooks: `weldsim.plot`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldsim.errors import CaseError
from weldsim.plots.colour_bars import colour_map
from weldsim.plots.gauge_plots import gauge_history
from weldsim.plots.pointer_plot import pointer_plot
from weldsim.plots.style import SCREEN
from weldsim.runs.result import Result
from weldsim.system.palette import ARC, GLOW, GRID, INK, LINES, PAPER, QUIET, WELDS

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = [
    "ARC",
    "GRID",
    "INK",
    "LINES",
    "PAPER",
    "QUIET",
    "WELDS",
    "gauges",
    "pointer",
    "use_style",
]


def gauges(result: Result, width: float = 10.0) -> Figure:
    """All gauges against time, one panel a unit, with bands while an arc burns.

    Parameters
    ----------
    result : Result
        Computed or read from a folder.
    width : float, optional
        Of the figure. [inch]

    Returns
    -------
    matplotlib.figure.Figure
        As `weldsim show` draws it.
    """
    figure: Figure = gauge_history(result.record, width)
    return figure


def pointer(result: Result, gauge: str | None = None, size: float = 7.0) -> Figure:
    """The way of a pointer's light spot over its target.

    Parameters
    ----------
    result : Result
    gauge : str, optional
        Name of the pointer; the first when left out.
    size : float, optional
        Of the figure. [inch]

    Returns
    -------
    matplotlib.figure.Figure

    Raises
    ------
    CaseError
        If the case has no such pointer.
    """
    found = {g["name"]: g for g in result.record.pointers}
    if not found or gauge not in (None, *found):
        known = ", ".join(found) or "none in this case"
        raise CaseError(f"gauge {gauge!r} is no pointer, allowed: {known}")
    figure: Figure = pointer_plot(result.record, found[gauge or next(iter(found))], size)
    return figure


def use_style() -> None:
    """Draw with colours and letters of weldsim's own pictures from here on.

    Lines take `LINES` in turn, and a map of colours is that of heat.
    """
    import matplotlib
    from cycler import cycler

    heat = colour_map(GLOW)
    matplotlib.colormaps.register(heat, force=True)
    own = {"axes.prop_cycle": cycler(color=LINES), "image.cmap": heat.name}
    style: Any = {**SCREEN, **own}  # its keys are matplotlib's own
    matplotlib.rcParams.update(style)
