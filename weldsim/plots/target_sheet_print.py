"""The target as a sheet to print at true size: four marks, a grid, what a swing means."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from weldsim.measurements.target_sheet import DISC, RING_INSIDE, Paper
from weldsim.plots.style import INCH, new_figure, printed
from weldsim.system.files import whole_file
from weldsim.system.palette import EDGE, INK, OUTLINE, WHITE
from weldsim.text.quantities import Units

FOOT = 0.3048  # m
MARK_ROOM = 12.0  # mm from the centres of the marks to what is written above them
SAFETY = (
    "Never look into the beam or a mirror image of it; class 1 or 2 lasers only (IEC 60825-1); "
    "end the beam on this sheet.",
    "Arc light, hot metal and local rules: see the cautions of your report.",
)


@dataclass(frozen=True)
class Scale:
    """What the sheet is ruled in.

    Attributes
    ----------
    unit : str
        Of what is written on it.
    size : float
        Of that unit. [mm]
    step : float
        Of the grid. [unit]
    rule : float
        Length at the foot, to be measured after printing. [unit]
    """

    unit: str
    size: float
    step: float
    rule: float

    def length(self, metres: float) -> str:
        """A length as it is written on the sheet. [m]"""
        return f"{1e3 * metres / self.size:.4g} {self.unit}"


SCALES: dict[Units, Scale] = {
    "metric": Scale("mm", 1.0, 10.0, 100.0),
    "us": Scale("in", INCH, 0.5, 4.0),
}


@printed
def print_target(
    path: Path, paper: Paper, throw: float | None = None, units: Units = "metric"
) -> Path:
    """Write the sheet.

    Parameters
    ----------
    path : Path
        A PDF, written whole or not at all.
    paper : Paper
        Its size and marks.
    throw : float, optional
        From the part to the target, for what a step of the grid means. [m]
    units : {"metric", "us"}
        Of the grid and the rule at its foot; the marks stay where they are.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StoreError
        If the disk refuses.
    """
    wide, high = 1e3 * paper.width, 1e3 * paper.height
    figure = new_figure(wide / INCH, high / INCH)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(-wide / 2, wide / 2)
    axes.set_ylim(-high / 2, high / 2)
    axes.set_axis_off()
    w, h = 1e3 * paper.sheet.width, 1e3 * paper.sheet.height
    scale = SCALES[units]
    _grid(axes, w, h, 1e3 * paper.sheet.mark, scale)
    _marks(axes, paper)
    _words(axes, paper, throw, scale)
    _rule(axes, h, scale)
    with whole_file(Path(path)) as beside:
        figure.savefig(beside, format="pdf", facecolor=WHITE)
    return Path(path)


def _grid(axes, w: float, h: float, mark: float, scale: Scale) -> None:
    step = scale.step * scale.size  # mm
    across, up = (int((side / 2 - mark) // step) for side in (w, h))
    inner_w, inner_h = step * across, step * up
    for k in range(-across, across + 1):
        axes.plot([step * k] * 2, [-inner_h, inner_h], color=OUTLINE, lw=0.25, zorder=1)
        if k and k % 2 == 0:
            axes.text(step * k, -1.0, f"{scale.step * k:g}", fontsize=6, color=EDGE,
                      ha="center", va="top")  # fmt: skip
    for k in range(-up, up + 1):
        axes.plot([-inner_w, inner_w], [step * k] * 2, color=OUTLINE, lw=0.25, zorder=1)
        if k and k % 2 == 0:
            axes.text(-1.0, step * k, f"{scale.step * k:g}", fontsize=6, color=EDGE,
                      ha="right", va="center")  # fmt: skip
    axes.plot([-inner_w, inner_w], [0, 0], color=EDGE, lw=0.6, zorder=2)
    axes.plot([0, 0], [-inner_h, inner_h], color=EDGE, lw=0.6, zorder=2)


def _marks(axes, paper: Paper) -> None:
    from matplotlib.patches import Circle

    for x, y in 1e3 * paper.sheet.marks:
        for share, colour in ((1.0, INK), (RING_INSIDE, WHITE), (DISC, INK)):
            axes.add_patch(
                Circle((x, y), share * 1e3 * paper.sheet.mark / 2, fc=colour, ec="none", zorder=3)
            )


def _words(axes, paper: Paper, throw: float | None, scale: Scale) -> None:
    top = 500 * paper.sheet.height + MARK_ROOM
    across, up = (scale.length(side) for side in (paper.sheet.width, paper.sheet.height))
    step = f"{scale.step:g} {scale.unit}"
    said = f"marks {across} apart across, {up} up; grid {step}; this edge up"
    if throw:
        tilt = 1e-3 * scale.step * scale.size / throw  # rad
        away, slope = f"{throw:g} m", f"{1e3 * tilt:.3g} mm/m"
        if scale.unit == "in":
            away, slope = f"{throw / FOOT:.4g} ft", f"{12 * tilt:.3g} in/ft"
        said += f"; at {away}, {step} are {1e3 * tilt:.3g} mrad ({slope})"
    axes.text(0.0, top, said, fontsize=7, color=INK, ha="center", va="bottom")
    note = "print at 100 %, not fitted to the page"
    axes.text(0.0, top + 4.5, note, fontsize=7, color=EDGE, ha="center", va="bottom")


def _rule(axes, h: float, scale: Scale) -> None:
    """What to measure after printing, and the cautions below it."""
    foot, half = -h / 2, scale.rule * scale.size / 2
    axes.plot([-half, half], [foot] * 2, color=INK, lw=0.8, zorder=3)
    for x in (-half, half):
        axes.plot([x, x], [foot - 2, foot + 2], color=INK, lw=0.8, zorder=3)
    said = f"measure: {scale.rule:g} {scale.unit}"
    axes.text(0.0, foot + 1.5, said, fontsize=7, color=INK, ha="center")
    for k, line in enumerate(SAFETY):
        axes.text(0.0, foot - 13.5 - 3.2 * k, line, fontsize=5.4, color=INK, ha="center", va="top")
