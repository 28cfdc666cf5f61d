"""Figures around pictures of the part: title, room for images and a colour bar, words below."""

from __future__ import annotations

import textwrap

from weldsim.plots.style import SCREEN_DPI, new_figure
from weldsim.system.palette import QUIET

HEAD = 0.45  # inch; words over an image
LINE = 100  # letters of small print on ten inches


def image_figure(stage, count: int, title: str, below: str, head: float = 0.0):
    """A figure with a title, room for `count` images of the stage's shape and for a colour bar.

    `head` is the height left free over each image for words of its own. [inch]
    """
    columns = count if stage.tall else 1
    rows = count // columns
    one = stage.size[0] / SCREEN_DPI, stage.size[1] / SCREEN_DPI + head
    width, total = columns * one[0], 0.75 + rows * one[1] + 0.85
    lines = textwrap.wrap(below, int(LINE * width / 10))
    total += 0.2 * (len(lines) - 1)
    figure = new_figure(width, total)
    figure.text(0.015, 1 - 0.16 / total, title, fontsize=14, va="top")
    figure.text(0.015, 1 - 0.46 / total, "\n".join(lines), fontsize=10, va="top", color=QUIET)
    out = []
    for number in range(count):
        row, column = divmod(number, columns)
        low = 0.85 + (rows - 1 - row) * one[1]
        axes = figure.add_axes(
            (column / columns, low / total, 1 / columns, (one[1] - head) / total)
        )
        axes.set_axis_off()
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        out.append(axes)
    return figure, out


def warp_words(stage) -> str:
    """The warp factor in words."""
    size = "drawn true to size" if stage.warp == 1 else f"exaggerated {stage.warp:g} times"
    return (
        f"movement {size}, melted metal drawn following its surroundings; "
        "grey lines: shape before welding"
    )
