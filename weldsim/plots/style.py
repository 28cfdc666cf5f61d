"""One style of all pictures, on the screen and in print: letters, lines, sizes."""

from __future__ import annotations

import io
import re
from functools import wraps
from pathlib import Path

from weldsim.system.files import whole_file
from weldsim.system.palette import FAINT, GRID, INK, PAPER, WHITE

SCREEN = {
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER,
    "text.color": INK, "axes.edgecolor": FAINT, "axes.labelcolor": INK, "axes.linewidth": 0.8,
    "xtick.color": FAINT, "ytick.color": FAINT, "xtick.labelcolor": INK, "ytick.labelcolor": INK,
    "axes.grid": True, "grid.color": GRID, "grid.linewidth": 0.8, "axes.axisbelow": True,
    "axes.spines.top": False, "axes.spines.right": False, "font.family": "sans-serif",
    "font.size": 10, "axes.titlesize": 11, "axes.labelsize": 10, "axes.titlelocation": "left",
    "lines.linewidth": 1.8, "lines.solid_capstyle": "round", "legend.frameon": False,
    "svg.fonttype": "path", "svg.hashsalt": "weldsim",
    "text.parse_math": False,  # names and titles are as they were written, a $ is a dollar
}  # fmt: skip
# readable on one column of a journal, 85 mm wide; put on top of SCREEN
PRINT = {
    "font.size": 7, "axes.titlesize": 7.5, "axes.labelsize": 7, "xtick.labelsize": 6.5,
    "ytick.labelsize": 6.5, "legend.fontsize": 6.5, "lines.linewidth": 1.2, "axes.linewidth": 0.6,
    "figure.facecolor": WHITE, "axes.facecolor": WHITE, "savefig.facecolor": WHITE,
    "axes.grid": False, "pdf.fonttype": 42,
}  # fmt: skip
LETTER = 0.0085  # inch; width of a letter for each point of its size, about
INCH = 25.4  # mm
SCREEN_DPI, PRINT_DPI = 150, 300


def styled(draw):
    """Run a drawing function under the house style."""

    @wraps(draw)
    def inside(*args, **options):
        """The drawing, under the style."""
        from matplotlib import rc_context

        with rc_context(SCREEN):
            return draw(*args, **options)

    return inside


def printed(draw):
    """Run a drawing function under the house style at the size of print."""

    @wraps(draw)
    def inside(*args, **options):
        """The drawing, under the style."""
        from matplotlib import rc_context

        with rc_context({**SCREEN, **PRINT}):
            return draw(*args, **options)

    return inside


def new_figure(width: float, height: float, dpi: int = 110):
    """A figure of our own, apart from pyplot's global ones. [inch]"""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), dpi=dpi)


def text_width(text: str, size: float) -> float:
    """About how wide a line of text is. [inch]"""
    return LETTER * size * len(text)


@styled
def inline_svg(figure, label: str) -> str:
    """A figure as SVG to stand inside an HTML page, with nothing that points outside it."""
    out = io.StringIO()
    figure.savefig(out, format="svg")
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", text)
    text = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", text, count=1)
    return text.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)


def save(figure, path: Path) -> Path:
    """Write a figure whole or not at all."""
    with whole_file(path) as beside:
        figure.savefig(beside, format="png", dpi=SCREEN_DPI)
    return path


def slug(name: str) -> str:
    """A name as part of a file name."""
    return re.sub(r"[^\w.-]+", "-", name)
