"""Pictures of the part for print: shaded grey with numbered welds, and painted fields on white."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from weldsim.plots.scene import add_edges, draw, hidden_places, render
from weldsim.plots.vtk_grid import surface_of
from weldsim.plots.welds import along, weld_colour
from weldsim.runs.frame_files import read_frame
from weldsim.runs.recorded_case import recorded_case, recorded_paths
from weldsim.system.palette import INK, PAPER, STEEL, WHITE

FINE = 3  # drawn so many times larger, for print
PLACES = 21  # along a weld, looked at for what hides them
STEP = 0.09  # inch from a weld to the middle of its number


def part_image(stage, frame, paint: str, outline=None) -> np.ndarray:
    """`scene.draw` on white paper and fine enough for print."""

    large = replace(stage, size=tuple(int(1.3 * n) for n in stage.size))
    return _on_white(draw(large, frame, paint, outline=outline, fine=2))


def plain_image(stage, frame) -> np.ndarray:
    """The active metal of a frame as built, in grey with its sharp edges, uint8 (h, w, 3)."""

    def add(plotter) -> None:
        """Grey metal and its sharp edges."""
        surface = surface_of(frame)
        plotter.add_mesh(surface, color=STEEL, ambient=0.62, diffuse=0.42, specular=0.0)
        add_edges(plotter, surface, INK, 1.6 * FINE)

    return render(stage, add, background=WHITE, fine=FINE)


def _on_white(image: np.ndarray) -> np.ndarray:
    """The paper of screen pictures made white."""
    paper = np.array([int(PAPER[i : i + 2], 16) for i in (1, 3, 5)])
    out = image.copy()
    out[np.all(image == paper, axis=2)] = 255
    return out


def numbered_welds(record, stage, axes) -> None:
    """Paths with a head in the direction of travel and a number; dashed where they lie behind."""

    base = surface_of(read_frame(record.frames[0]))
    size = np.array([axes.figure.get_figwidth() * axes.get_position().width,
                     axes.figure.get_figheight() * axes.get_position().height])  # fmt: skip
    case = recorded_case(record)
    taken: list[np.ndarray] = []
    for number, path in enumerate(recorded_paths(record), 1):
        places = along(path.points, np.linspace(0, 1, PLACES))
        behind = hidden_places(base, places, stage.view, 0.5 * case.weld(path.name).bead_width)
        flat = stage.to_picture(places) * size
        colour = weld_colour(record, path.name)
        style = (0, (2.0, 1.4)) if behind.mean() > 0.5 else "-"
        axes.plot(*(flat / size).T, color=colour, lw=1.4, ls=style, zorder=5)
        k = (2 * PLACES) // 3
        if np.linalg.norm(flat[-1] - flat[0]) > 0.12 or np.ptp(flat, axis=0).max() > 0.12:
            axes.annotate("", flat[k] / size, flat[k - 1] / size, zorder=6, arrowprops={
                "arrowstyle": "-|>,head_width=0.14,head_length=0.3", "color": colour, "lw": 1.2,
                "shrinkA": 0, "shrinkB": 0})  # fmt: skip
        foot = flat[PLACES // 2]
        away = -np.array([np.dot(path.inward, stage.right), np.dot(path.inward, stage.up)])
        away = away / max(np.linalg.norm(away), 1e-9)
        at = _free(foot, away, taken, size)
        taken.append(at)
        axes.plot(*(np.array([foot, at]) / size).T, color=colour, lw=0.6, zorder=6)
        axes.text(*(at / size), str(number), ha="center", va="center", fontsize=6.5, zorder=8,
                  color=WHITE, fontweight="bold",
                  bbox={"boxstyle": "circle,pad=0.22", "fc": colour, "ec": WHITE,
                        "lw": 0.5})  # fmt: skip


def _free(foot, away, taken, size) -> np.ndarray:
    """A place near `foot`, first in the direction `away`, where no other number stands. [inch]"""
    start = np.arctan2(away[1], away[0])
    for reach in (2, 3, 4):
        for turn in (0.0, 0.7, -0.7, 1.4, -1.4, 2.2, -2.2):
            direction = np.array([np.cos(start + turn), np.sin(start + turn)])
            at = foot + reach * STEP * direction
            inside = np.all(at > 0.08) and np.all(at < size - 0.08)
            if inside and all(np.linalg.norm(at - t) > 0.17 for t in taken):
                return at
    return foot + 2 * STEP * away
