"""The target as a sheet to print at true size: four marks, a grid, what a swing means."""

from __future__ import annotations

from pathlib import Path

from weldsim.measurements.target_sheet import DISC, RING_INSIDE, Paper
from weldsim.plots.style import INCH, new_figure, printed
from weldsim.system.files import whole_file
from weldsim.system.palette import EDGE, INK, OUTLINE, WHITE

GRID_STEP = 10.0  # mm
MARK_ROOM = 12.0  # mm from the centres of the marks to what is written above them
RULE = 100.0  # mm, to be measured after printing
SAFETY = (
    "Never look into the beam or a mirror image of it; class 1 or 2 lasers only (IEC 60825-1); "
    "end the beam on this sheet.",
    "Arc light, hot metal and local rules: see the cautions of your report.",
)


@printed
def print_target(path: Path, paper: Paper, throw: float | None = None) -> Path:
    """Write the sheet.

    Parameters
    ----------
    path : Path
        A PDF, written whole or not at all.
    paper : Paper
        Its size and marks.
    throw : float, optional
        From the part to the target, for what 10 mm mean. [m]

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
    _grid(axes, w, h, 1e3 * paper.sheet.mark)
    _marks(axes, paper)
    _words(axes, w, h, throw)
    with whole_file(Path(path)) as beside:
        figure.savefig(beside, format="pdf", facecolor=WHITE)
    return Path(path)


def _grid(axes, w: float, h: float, mark: float) -> None:
    inner_w, inner_h = w / 2 - mark, h / 2 - mark
    for k in range(-int(inner_w // GRID_STEP), int(inner_w // GRID_STEP) + 1):
        axes.plot([GRID_STEP * k] * 2, [-inner_h, inner_h], color=OUTLINE, lw=0.25, zorder=1)
        if k and k % 2 == 0:
            axes.text(GRID_STEP * k, -1.0, f"{GRID_STEP * k:g}", fontsize=6, color=EDGE,
                      ha="center", va="top")  # fmt: skip
    for k in range(-int(inner_h // GRID_STEP), int(inner_h // GRID_STEP) + 1):
        axes.plot([-inner_w, inner_w], [GRID_STEP * k] * 2, color=OUTLINE, lw=0.25, zorder=1)
        if k and k % 2 == 0:
            axes.text(-1.0, GRID_STEP * k, f"{GRID_STEP * k:g}", fontsize=6, color=EDGE,
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


def _words(axes, w: float, h: float, throw: float | None) -> None:
    foot = -h / 2
    said = f"marks {w:g} mm apart across, {h:g} mm up; grid {GRID_STEP:g} mm; this edge up"
    if throw:
        per = GRID_STEP / throw
        said += f"; at {throw:g} m, {GRID_STEP:g} mm are {per:.3g} mrad ({per:.3g} mm/m)"
    axes.text(0.0, h / 2 + MARK_ROOM, said, fontsize=7, color=INK, ha="center", va="bottom")
    note = "print at 100 %, not fitted to the page"
    axes.text(0.0, h / 2 + MARK_ROOM + 4.5, note, fontsize=7, color=EDGE,
              ha="center", va="bottom")  # fmt: skip
    axes.plot([-RULE / 2, RULE / 2], [foot] * 2, color=INK, lw=0.8, zorder=3)
    for x in (-RULE / 2, RULE / 2):
        axes.plot([x, x], [foot - 2, foot + 2], color=INK, lw=0.8, zorder=3)
    axes.text(0.0, foot + 1.5, f"measure: {RULE:g} mm", fontsize=7, color=INK, ha="center")
    for k, line in enumerate(SAFETY):
        axes.text(0.0, foot - 13.5 - 3.2 * k, line, fontsize=5.4, color=INK, ha="center", va="top")
