"""The part before the run: mesh, welds in order with their travel, tacks, clamps, which way is up.

`draw_layout` needs the case only. The mesh is drawn off screen with PyVista; all text and lines are
set over it with matplotlib, so that no weld is lost behind the part: what lies behind is dashed.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from weldsim.errors import SetupError
from weldsim.geometry.part import vtk_cells
from weldsim.joints.build import build_part
from weldsim.plots.place_labels import (
    Label,
    best_place,
    draw_arrow,
    leader,
    outward,
    picture_size,
    place_labels,
)
from weldsim.plots.scene import add_edges, hidden_places, render
from weldsim.plots.stage import UPWARD, Stage, aim, axis_vector, best_view, fitting_size
from weldsim.plots.style import SCREEN_DPI, new_figure, styled, text_width
from weldsim.plots.vtk_grid import vtk_grid
from weldsim.plots.weld_paths import clamp_places, order_words, tack_lines, weld_paths
from weldsim.plots.welds import MOST_NAMED, along, colours_of, first_of_seams
from weldsim.system.files import whole_file
from weldsim.system.libraries import prepare_renderer
from weldsim.system.palette import BORDER, CLAMPED, FILLER, INK, MESH, PAPER, QUIET, STEEL, WHITE

FILLED = ("fill", "root", "bead")  # first words of the regions that arcs fill
ROUND = 0.27  # inch; the number of a weld with its ring
CLOSE = 0.42  # welds that span less of the part are drawn again from nearby
NEAR_SIZE = (1000, 950)  # pixel


def draw_layout(case, path, grade: str | None = None) -> Path:
    """Draw the part as meshed with its welds, tacks and clamps into a PNG file.

    Parameters
    ----------
    case : Case
        Any; nothing of it is computed.
    path : path
        File to write.
    grade : str, optional
        Of the mesh that is drawn; coarse when left out.

    Returns
    -------
    pathlib.Path
        Of the picture.

    Raises
    ------
    WeldsimError
        If nothing can be drawn on this machine, the part cannot be meshed, or the disk refuses.
    """

    missing = prepare_renderer()
    if missing:
        raise SetupError(missing)
    part = build_part(case, grade or "coarse")
    figure = layout_figure(case, part, grade or "coarse")
    path = Path(path)
    with whole_file(path) as beside:
        figure.savefig(beside, format="png", dpi=SCREEN_DPI)
    return path


@styled
def layout_figure(case, part, grade: str):
    """The picture as a matplotlib figure; see `draw_layout`.

    Parameters
    ----------
    part : weldsim.geometry.part.Part
        The mesh of the case's joint.
    """
    from matplotlib.patches import Rectangle

    paths, tacks = weld_paths(case), tack_lines(case)
    clamps = clamp_places(case, part)
    body, base = surfaces(case, part)
    stages = layout_stages(part, paths, axis_vector(getattr(case.part, "up", None) or "+z"))
    width = sum(s.size[0] for s in stages) / SCREEN_DPI
    height = stages[0].size[1] / SCREEN_DPI
    total = 0.75 + height + 0.75
    figure = new_figure(width, total)
    left = 0.0
    for number, stage in enumerate(stages):
        share = stage.size[0] / SCREEN_DPI / width
        axes = figure.add_axes((left, 0.75 / total, share, height / total))
        axes.set_axis_off()
        image = mesh_image(stage, body)
        axes.imshow(image, extent=(0, 1, 0, 1), aspect="auto")
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        whole = number == 0
        names = whole if len(stages) == 1 else not whole
        free = _draw_axes(axes, stage, image, getattr(case.part, "up", None)) if whole else None
        _draw_welds(axes, stage, base, paths, tacks, clamps if whole else [], names, case.welds,
                    free)  # fmt: skip
        if not whole:
            axes.add_patch(Rectangle((0, 0), 1, 1, fc="none", ec=QUIET, lw=1.0, zorder=11))
            axes.text(0.02, 0.975, "from nearby", fontsize=10, color=QUIET, va="top")
        left += share
    figure.text(0.015, 1 - 0.16 / total, case.title, fontsize=14, va="top")
    figure.text(0.015, 1 - 0.46 / total, f"as meshed at grade {grade}, before the first arc",
                fontsize=10, va="top", color=QUIET)  # fmt: skip
    _draw_key(figure, paths, tacks, bool(clamps))
    return figure


def surfaces(case, part):
    """Outer faces of the part, coloured by what they are, and those of the base metal alone.

    Returns
    -------
    (pyvista.PolyData, pyvista.PolyData)
        [m]; the first with `colour` (cells, 3) uint8. Filler hides no weld, base metal does.
    """
    from matplotlib.colors import to_rgb

    points, cells, _ = vtk_cells(part.mesh)
    grid = vtk_grid(points, cells)
    filler = np.zeros(len(cells), dtype=bool)
    for name, members in part.regions.items():
        if name.split()[0] in FILLED:
            filler[members] = True
    grid.cell_data["filler"] = filler
    body = grid.extract_surface(algorithm="dataset_surface", pass_pointid=True)
    base = grid.extract_cells(~filler).extract_surface(algorithm="dataset_surface")
    clamped = {
        tuple(corners)
        for face in {face for clamp in case.clamps for face in clamp.at}
        for corners in np.sort(part.mesh.facets[:, part.mesh.boundaries[face]].T, axis=1)
    }
    corners = np.sort(body["vtkOriginalPointIds"][body.regular_faces], axis=1)
    on_clamp = np.array([tuple(c) in clamped for c in corners])
    steel, metal, clamped_steel = (
        (255 * np.array(to_rgb(c))).round().astype(np.uint8) for c in (STEEL, FILLER, CLAMPED)
    )
    colour = np.where(body["filler"].astype(bool)[:, None], metal, steel)
    body.cell_data["colour"] = np.where(on_clamp[:, None], clamped_steel, colour).astype(np.uint8)
    return body, base


def layout_stages(part, paths, vertical=UPWARD) -> list:
    """Camera on the whole part, and one on its welds where those are small on it."""

    points = part.mesh.p.T
    view = best_view(paths, np.ptp(points, axis=0), vertical)
    stage = Stage(view, np.zeros(3), (1.0, 1.0), (1, 1), 1.0, 0.0, 1.0, 1.0, vertical=vertical)
    whole = aim(stage, points)
    whole = replace(
        whole, size=fitting_size(whole.reach), reach=tuple(1.12 * r for r in whole.reach)
    )
    places = np.concatenate([p.points for p in paths]) if paths else points
    near = aim(stage, places)
    # a seam that is a single line still wants the metal around it in sight
    reach = 1.7 * max(*near.reach, 2.5 * max((p.width for p in paths), default=0.0))
    if reach > CLOSE * max(whole.reach):
        return [whole]
    whole = replace(whole, size=(max(900, whole.size[0] * NEAR_SIZE[1] // whole.size[1] * 2 // 3),
                                 NEAR_SIZE[1]))  # fmt: skip
    return [whole, replace(near, reach=(reach, reach), size=NEAR_SIZE)]


def mesh_image(stage, body, fine: int = 2) -> np.ndarray:
    """The meshed part from the stage's camera, uint8 (height, width, 3)."""

    def add(plotter) -> None:
        """Faces by what they are, lines of the mesh, sharp edges."""
        plotter.add_mesh(
            body, scalars="colour", rgb=True, show_edges=True, edge_color=MESH,
            line_width=0.6 * fine, ambient=0.62, diffuse=0.42, specular=0.0,
        )  # fmt: skip
        add_edges(plotter, body, BORDER, 1.1 * fine)

    return render(stage, add, fine=fine)


def _draw_welds(axes, stage, base, paths, tacks, clamps, named, welds, used=None) -> None:
    """Paths with arrows and labels, tacks, and names of the clamps; `used` (K, 2) stays free."""

    size = picture_size(axes)
    colours = colours_of([(w.name, w.seam or w.name) for w in welds])
    taken, labels = [np.zeros((0, 2)) if used is None else used], []
    width = max((p.width for p in paths), default=0.0)
    for line in tacks:
        flat = stage.to_picture(line)
        behind = hidden_places(base, line[2:3], stage.view, 0.5 * width)[0]
        axes.plot(*flat.T, color=INK, lw=5.0, zorder=5, solid_capstyle="butt",
                  alpha=0.45 if behind else 1.0)  # fmt: skip
    middles = []
    for path in paths:
        flat = stage.to_picture(path.points) * size
        behind = hidden_places(base, path.points, stage.view, 0.5 * path.width)
        colour = colours[path.name]
        _draw_path(axes, flat / size, behind, colour)
        at, dull = best_place(behind)
        foot = along(flat, [at])[0]
        away = outward(stage, path.inward, flat, foot, size)
        axes.plot(*(flat[0] / size), "o", ms=6, color=colour, mec=PAPER, mew=0.8, zorder=6.2)
        if named:
            taken.append(draw_arrow(axes, flat, away, colour, size, dull, at))
        taken.append(flat)
        middles.append((path, foot, away, colour, dull))
    if not named:  # the other picture names the welds
        middles = []
    with_name = first_of_seams([(p.name, p.seam) for p in paths])
    for path, middle, away, colour, dull in middles:
        text = path.name if path.name in with_name else ""
        text += " (behind)" if dull and text else ""
        labels.append((Label(text, middle, away, 12.0, ROUND), colour, path.number))
    for text, place in clamps:
        here = stage.to_picture(place)[0] * size
        axes.plot(*(here / size), "s", ms=5, color=INK, zorder=6)
        labels.append((Label(text, here, here - size / 2, 10.0), INK, None))
    _write(axes, labels, np.concatenate(taken), size)


def _draw_path(axes, flat, behind, colour: str) -> None:
    """A path, dashed where it lies behind the part."""
    change = np.flatnonzero(np.diff(behind.astype(int))) + 1
    for piece in np.split(np.arange(len(flat)), change):
        to = min(piece[-1] + 1, len(flat) - 1)
        line = flat[piece[0] : to + 1]
        style = (0, (2.2, 1.6)) if behind[piece[0]] else "-"
        axes.plot(*line.T, color=colour, lw=2.6, ls=style, zorder=6, solid_capstyle="round")


def _write(axes, labels, taken, size) -> None:
    """Numbers in rings with names beside them, and names alone."""
    from matplotlib.patheffects import withStroke

    places = place_labels([label for label, *_ in labels], taken, size)
    for (label, colour, number), place in zip(labels, places, strict=True):
        leader(axes, label, place, colour, size)
        left = place[0] - label.box[0] / 2
        if number is not None:
            axes.text((left + ROUND / 2) / size[0], place[1] / size[1], str(number), ha="center",
                      va="center", fontsize=13 if number < 10 else 11, fontweight="bold",
                      color=WHITE, zorder=10,
                      bbox={"boxstyle": "circle,pad=0.22", "fc": colour, "ec": PAPER})  # fmt: skip
        if label.text:
            axes.text((left + label.extra + 0.06 * bool(label.extra)) / size[0],
                      place[1] / size[1], label.text, ha="left", va="center",
                      fontsize=label.size, fontweight="bold", color=colour, zorder=10,
                      path_effects=[withStroke(linewidth=3, foreground=PAPER)])  # fmt: skip


def _draw_axes(axes, stage, image, up: str | None) -> np.ndarray:
    """Directions of x, y and z in the emptiest corner, the word up at its axis; places used."""
    size = picture_size(axes)
    foot, length = emptiest_corner(image, size, 0.8), 0.45
    arrows = [(np.eye(3)[i], "xyz"[i]) for i in range(3)]
    if up and up[0] == "-":
        arrows.append((-np.eye(3)["xyz".index(up[1])], "up"))
    for direction, name in arrows:
        flat = np.array([direction @ stage.right, direction @ stage.up])
        tip = foot + length * flat
        is_up = name == "up" or up == f"+{name}"
        axes.annotate("", tip / size, foot / size, zorder=9, arrowprops={
            "arrowstyle": "-|>,head_width=0.2,head_length=0.4", "color": INK,
            "lw": 2.2 if is_up else 1.2, "shrinkA": 0, "shrinkB": 0})  # fmt: skip
        word = f"{name}, up" if is_up and name != "up" else name
        reach = flat / max(np.linalg.norm(flat), 1e-9)
        end = tip + reach * (0.08 + 0.5 * text_width(word, 10) * abs(reach[0]) + 0.04)
        axes.text(*(end / size), word, ha="center", va="center", fontsize=10, zorder=9,
                  fontweight="bold" if is_up else "normal")  # fmt: skip
    return foot + 0.25 * (np.array(list(np.ndindex(5, 5))) - 2.0)


def emptiest_corner(image, size, half: float) -> np.ndarray:
    """Middle (2,) of the square of half side `half` in that corner which shows least. [inch]"""
    rows, columns = image.shape[:2]
    high, wide = (int(2 * half * n / s) for n, s in zip((rows, columns), size[::-1], strict=True))
    drawn = np.any(np.abs(image.astype(int) - image[0, 0]) > 4, axis=2)
    best = None
    for top in (0, 1):
        for right in (0, 1):
            low = slice(0, high) if top else slice(rows - high, rows)
            side = slice(columns - wide, columns) if right else slice(0, wide)
            share = drawn[low, side].mean()
            if best is None or share < best[0] - 0.01:
                place = np.where([right, top], size - half, half)
                best = (share, place)
    return best[1]


def _draw_key(figure, paths, tacks, clamped: bool) -> None:
    """What the marks mean, and the order where not every weld is named."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks = [
        (Line2D([], [], color=QUIET, lw=2.6), "weld, numbered in sequence"),
        (Line2D([], [], color=QUIET, lw=2.6, ls=(0, (2.2, 1.6))), "behind"),
        (Line2D([], [], color=QUIET, marker="o", ms=5, ls=""), "its start"),
    ]
    if tacks:
        marks.append((Line2D([], [], color=INK, lw=5), "tack"))
    marks.append((Patch(fc=FILLER, ec=MESH), "filler"))
    if clamped:
        marks.append((Patch(fc=CLAMPED, ec=MESH), "clamped"))
    total = figure.get_figheight()
    figure.legend(
        [m for m, _ in marks], [w for _, w in marks], loc="lower left", ncols=len(marks),
        bbox_to_anchor=(0.012, 0.36 / total), fontsize=9, borderaxespad=0, columnspacing=1.2,
        handlelength=1.5,
    )  # fmt: skip
    if len(paths) > MOST_NAMED:
        figure.text(0.015, 0.2 / total, order_words(paths), fontsize=9, va="center")
