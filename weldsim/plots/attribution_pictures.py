"""Pictures of why a gauge ends where it ends.

A bar chart of what each slice of each weld adds, warming and cooling apart, and the part painted
with what its locked-in strain adds for each volume. Where nothing can be drawn in three dimensions
the second is a map along and across each weld.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from weldsim.plots.colour_bars import bar_axes, colour_map, finish_bar
from weldsim.plots.image_figure import image_figure
from weldsim.plots.place_labels import name_places
from weldsim.plots.scene import add_edges, render
from weldsim.plots.stage import make_stage
from weldsim.plots.style import new_figure, save, slug, styled
from weldsim.plots.vtk_grid import vtk_grid
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import PICTURES, read_run
from weldsim.studies.attribution import Why, main_readings
from weldsim.system.libraries import prepare_renderer
from weldsim.system.palette import AGAINST, INK, LINES, PRESS, QUIET, WELD
from weldsim.text.quantities import quantity, unit_word

WARM, COOL, WHOLE = WELD, PRESS, INK
WORTH_SAYING = 0.005  # of the reading: smaller parts are left out of the small print
REACH = 99.5  # percentile of the density that ends the colour range


def draw_why(why: Why, run_folder) -> tuple[list[Path], list[str]]:
    """Charts and pictures of a run's largest readings; paths, and notes on what was skipped."""

    record = read_run(run_folder)
    folder = record.path / PICTURES
    folder.mkdir(exist_ok=True)
    paths = []
    for reading in main_readings(why):
        paths.append(
            save(parts_chart(why, reading), folder / f"why_{slug(reading.column.name)}.png")
        )
    missing = prepare_renderer() if record.frames else "no frames yet"
    for reading in main_readings(why):
        figure = seam_map(why, reading) if missing else part_picture(record, why, reading)
        paths.append(save(figure, folder / f"where_{slug(reading.column.name)}.png"))
    return paths, [f"{missing}; drawn as a map along the welds instead"] if missing else []


def _title(reading, plain) -> str:
    """A reading as a bench sees it in both units of length, of a pointer in mrad too."""
    size = quantity(reading.value, unit_word(reading.unit), "+.3g")
    if reading.unit != "mm":
        return f"Where it comes from: {reading.called} {size}"
    at = "" if plain.unit == "mm" else f" at the target ({plain.value:+.3g} mrad)"
    return f"Where it comes from: {reading.called} {size}, {size.text('us')}{at}"


@styled
def parts_chart(why: Why, reading):
    """What each slice along each weld adds, with warming and cooling apart where known."""
    plain, reading = reading.shown, why.shown(reading)
    welds = list(dict.fromkeys(r.weld for r in reading.rows))
    unit = unit_word(reading.unit)
    figure = new_figure(max(9.0, 1.2 + 1.5 * len(welds)), 5.2)
    axes = figure.add_axes((0.09, 0.2, 0.89, 0.62))
    at, ticks = 0.0, []
    for weld in welds:
        rows = [r for r in reading.rows if r.weld == weld]
        x = at + np.arange(len(rows))
        whole = np.array([r.value for r in rows])
        if rows[0].heating is not None:
            warm, cool = (np.array([getattr(r, k) for r in rows]) for k in ("heating", "cooling"))
            axes.bar(x - 0.2, warm, 0.38, color=WARM, label="while it warms")
            axes.bar(x + 0.2, cool, 0.38, color=COOL, label="while it cools")
            axes.plot(x, whole, "D", color=WHOLE, ms=4, ls="none", label="both together")
        else:
            axes.bar(x, whole, 0.7, color=LINES[0], label="adds to the reading")
        ticks.append((x.mean(), f"{weld}\n{whole.sum():+.3g} {unit}"))
        at = x[-1] + 2.5
    axes.axhline(0, color=QUIET, lw=0.8)
    axes.grid(axis="x", visible=False)
    axes.set_xticks([t for t, _ in ticks], [t for _, t in ticks])
    axes.tick_params(axis="x", length=0)
    axes.set_ylabel(f"adds to the reading, {unit}")
    axes.set_xlabel("slices of each weld in the direction of welding")
    handles, labels = axes.get_legend_handles_labels()
    some = dict(zip(labels, handles, strict=True))
    axes.legend(some.values(), some.keys(), loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3)
    figure.text(0.015, 0.975, _title(reading, plain), fontsize=14, va="top")
    figure.text(0.015, 0.02, small_print(why, reading, plain), fontsize=8.5, color=QUIET)
    return figure


def small_print(why: Why, reading, plain) -> str:
    """What is no weld's, how sure the reading is, and how it was taken apart."""
    unit = unit_word(reading.unit)
    error = why.errors.get(reading.column)
    scale = reading.value / plain.value if plain.value else 1.0
    shown = "" if error is None else f"{scale * reading.column.factor * error:.2g}"
    known = "no estimated error" if error is None else f"estimated error {shown} {unit}"
    parts = {"not from a weld": sum(reading.others.values()), "unexplained": reading.residual}
    least = WORTH_SAYING * max(abs(reading.value), *(abs(r.value) for r in reading.rows), 1e-12)
    seen = [f"{name} {value:+.2g} {unit}" for name, value in parts.items() if abs(value) > least]
    return "; ".join([*seen, f"the reading has {known}", f"split {why.how}"])


@styled
def part_picture(record, why: Why, reading):
    """The active metal painted with what its locked-in strain adds for each volume."""
    plain, reading = reading.shown, why.shown(reading)
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    stage = make_stage(record)
    frame = read_frame(record.frames[-1])
    unit = unit_word(reading.unit)
    below = (
        f"what the locked-in strain of each place adds to the reading, {unit} per cubic centimetre;"
        " drawn in the shape before welding, from outside: metal below the surface adds too"
    )
    figure, (axes,) = image_figure(stage, 1, _title(reading, plain), below)
    share, most = _shares(reading.density)
    share = np.repeat(share, len(frame.cells) // len(share))  # children of a cell follow each other
    axes.imshow(_painted(stage, frame, share), extent=(0, 1, 0, 1), aspect="auto")
    name_places(record, stage, frame, axes, frame)
    bar = figure.colorbar(
        ScalarMappable(Normalize(-most, most), colour_map(AGAINST)), cax=bar_axes(figure),
        orientation="horizontal", extend="both", extendfrac=0.03,
    )  # fmt: skip
    finish_bar(bar, None, f"adds to {reading.called}, {unit} per cm³")
    return figure


def _shares(density) -> tuple[np.ndarray, float]:
    """Density (C,) as shares 0 to 1 of a range that is equal on both sides, and its end per cm3."""
    per_cm3 = 1e-6 * density
    most = float(np.percentile(np.abs(per_cm3), REACH)) or 1e-12
    return np.clip(0.5 + 0.5 * per_cm3 / most, 0.0, 1.0), most


def _painted(stage, frame, share):
    """Image of the active metal with a colour for each cell, uint8 (height, width, 3)."""
    grid = vtk_grid(frame.points, frame.cells[frame.active])
    grid.cell_data["share"] = share[frame.active]
    surface = grid.extract_surface(algorithm="dataset_surface")

    def add(plotter) -> None:
        """Painted cells and sharp edges."""
        plotter.add_mesh(
            surface, scalars="share", cmap=colour_map(AGAINST), clim=(0.0, 1.0),
            show_scalar_bar=False, n_colors=512, ambient=0.8, diffuse=0.25, specular=0.0,
        )  # fmt: skip
        add_edges(plotter, surface, INK, 2.5)

    return render(stage, add)


@styled
def seam_map(why: Why, reading):
    """What each slice adds for each length of weld, one strip a weld."""
    plain, reading = reading.shown, why.shown(reading)
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    welds = list(dict.fromkeys(r.weld for r in reading.rows))
    unit = unit_word(reading.unit)
    figure = new_figure(9.0, 2.6 + 0.45 * len(welds))
    axes = figure.add_axes((0.16, 0.45, 0.8, 0.35))
    per_mm = [r.value / (1e3 * (r.finish - r.begin)) for r in reading.rows]
    most = max(np.abs(per_mm).max(), 1e-12)
    norm, colours = Normalize(-most, most), colour_map(AGAINST)
    for row, value in zip(reading.rows, per_mm, strict=True):
        axes.barh(
            welds.index(row.weld), 1e3 * (row.finish - row.begin), 0.8, 1e3 * row.begin,
            color=colours(norm(value)),
        )  # fmt: skip
    axes.set_yticks(range(len(welds)), welds)
    axes.invert_yaxis()
    axes.set_xlabel("along the weld in the direction of welding, mm")
    figure.text(0.015, 0.97, _title(reading, plain), fontsize=14, va="top")
    bar = figure.colorbar(
        ScalarMappable(norm, colours), cax=figure.add_axes((0.25, 0.16, 0.5, 0.05)),
        orientation="horizontal",
    )  # fmt: skip
    finish_bar(bar, None, f"adds to {reading.called}, {unit} per mm of weld")
    return figure


@styled
def crossover_chart(found):
    """Tilt along the travel and toward the bead over heat for each thickness squared."""
    good = [p for p in found.points if p.along is not None]
    figure = new_figure(9.0, 5.2)
    axes = figure.add_axes((0.09, 0.17, 0.88, 0.67))
    x = [1e-9 * p.density for p in good]
    for name, marker, colour in (("along", "o", WARM), ("toward", "s", COOL)):
        words = {"along": "along the travel", "toward": "toward the bead"}[name]
        values = [1e3 * getattr(p, name) for p in good]
        axes.plot(x, values, marker=marker, color=colour, label=words)
    axes.axhline(0, color=QUIET, lw=0.8)
    if found.at is not None:
        axes.axvline(1e-9 * found.at, color=INK, lw=1, ls="--", label="equal in size")
    axes.set_xlabel("heat taken up per length over thickness squared, J/mm per mm²")
    axes.set_ylabel("tilt when cold, mrad")
    axes.legend(loc="lower left", bbox_to_anchor=(0, 1.0), ncols=3)
    figure.text(0.015, 0.975, f"{found.title}: tilt against heat", fontsize=14, va="top")
    words = f"grade {found.grade}; straight between runs; readings without an estimated error"
    figure.text(0.015, 0.02, words, fontsize=8.5, color=QUIET)
    return figure
