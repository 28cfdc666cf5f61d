"""Pictures of a run, made from its folder alone: stills here, the animation in `movie`.

`show_run` writes pictures/: the part as meshed with its welds in order, temperature half-way along
each bead, the deformed shape hot and cold beside the part before welding, gauge histories, the path
of each light spot, and an animation.
Temperatures in degC, movements in mm, seconds since the first arc started.
"""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.plots import charts
from weldsim.plots.charts import INK, QUIET
from weldsim.plots.place_labels import name_places
from weldsim.plots.pointer_plot import spot_path
from weldsim.runs.folder import RunFolder
from weldsim.runs.reading import PICTURES, FrameFile, RunRecord, read_frame, read_run
from weldsim.system.files import whole_file

DPI = 150
BAR = 5.0  # inch; least length of a colour bar
PICTURED = 8  # arcs; with more, one temperature picture a seam
HEAD = 0.45  # inch; words over an image
LINE = 100  # letters of small print on ten inches


@dataclass(frozen=True)
class Shown:
    """Pictures that were made, and one line for each that could not be."""

    paths: tuple[Path, ...]
    notes: tuple[str, ...] = ()


def show_run(run_dir, report=None) -> Shown:
    """Draw all pictures of a run into its folder; older ones are replaced one by one.

    Parameters
    ----------
    run_dir : path
    report : callable(share, text), optional
        Told how far the work is, 0 to 1.

    Raises
    ------
    StoreError
        If the folder is no run, or has no readings yet.
    """
    from weldsim.system.libraries import prepare_renderer

    report = report or (lambda share, text: None)
    record = read_run(run_dir)
    folder = RunFolder.open(run_dir).path / PICTURES
    folder.mkdir(exist_ok=True)
    report(0.0, "plots")
    paths = draw_plots(record, folder)
    missing = prepare_renderer() if record.frames else "pictures of the part skipped: no frames yet"
    if missing:
        return Shown(tuple(paths), (missing,))
    report(0.02, "layout")
    laid_out, notes = draw_case(record, folder / "layout.png")
    paths += laid_out
    report(0.05, "pictures")
    from weldsim.plots.animation import write_movie
    from weldsim.plots.scene import make_stage

    stage = make_stage(record)
    paths += draw_parts(record, stage, folder)
    made, more = write_movie(record, stage, folder, lambda s: report(0.3 + 0.7 * s, "animation"))
    report(1.0, "done")
    return Shown(tuple(paths + made), (*notes, *more))


def draw_case(record: RunRecord, path: Path) -> tuple[list[Path], list[str]]:
    """Picture of the part before the run, from the case the folder keeps; a note where none is."""
    from weldsim.case.load import parse_case
    from weldsim.errors import WeldsimError
    from weldsim.plots.layout import draw_layout

    try:
        kept = RunFolder.open(record.path).read_json("case.json")
        case = parse_case(kept["source"], kept["source_file"], kept["overrides"])
        return [draw_layout(case, path, record.manifest.get("grade"))], []
    except (WeldsimError, OSError, LookupError, TypeError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        return [], [f"layout picture skipped: {why}"]


def draw_plots(record: RunRecord, folder: Path) -> list[Path]:
    """Gauge histories and the path of every light spot."""
    paths = [save(charts.gauge_history(record), folder / "gauges.png")]
    for gauge in record.pointers:
        figure = spot_path(record, gauge)
        paths.append(save(figure, folder / f"path_{slug(gauge['name'])}.png"))
    return paths


def draw_parts(record: RunRecord, stage, folder: Path) -> list[Path]:
    """Temperature half-way along each bead, and the shape hot and cold."""
    paths = []
    for name, start, stop in pictured_arcs(record):
        frame = nearest_frame(record, (start + stop) / 2 + charts.first_arc(record))
        figure = temperature_picture(record, stage, frame, name)
        paths.append(save(figure, folder / f"temperature_{slug(name)}.png"))
    paths.append(save(shape_picture(record, stage), folder / "shape.png"))
    return paths


def pictured_arcs(record: RunRecord) -> list[tuple[str, float, float]]:
    """Arcs to show the temperature of: all but tacks, and with many the first of each seam."""
    found = charts.arcs(record)
    found = [a for a in found if not charts.is_tack(record, a[0])] or found
    if len(found) <= PICTURED:
        return found
    first = {charts.seam_of(record, a[0]): a for a in reversed(found)}
    return sorted(first.values(), key=lambda a: a[1])


def save(figure, path: Path) -> Path:
    """Write a figure whole or not at all."""
    with whole_file(path) as beside:
        figure.savefig(beside, format="png", dpi=DPI)
    return path


def slug(name: str) -> str:
    """A name as part of a file name."""
    return re.sub(r"[^\w.-]+", "-", name)


def nearest_frame(record: RunRecord, time: float) -> FrameFile:
    """The frame nearest to a time of the run. [s]"""
    return min(record.frames, key=lambda f: abs(f.time - time))


def hot_time(record: RunRecord) -> float:
    """When the first gauge was farthest from where it began while an arc burned. [s]"""
    first = record.columns[0].name if record.columns else None
    if first is None:
        return record.frames[0].time
    times, values = record.gauges["time_s"], record.gauges[first]
    arcs = record.manifest.get("timetable", [])
    hot = np.zeros(times.size, dtype=bool)
    for arc in arcs:  # the cold end of a bar that keeps moving is no picture of the hot one
        end = times[-1] if arc["end"] is None else arc["end"]
        hot |= (times >= arc["start"]) & (times <= end)
    travel = np.where(hot if hot.any() else True, np.abs(values - values[0]), -1.0)
    return float(times[np.argmax(travel)])


@charts.styled
def temperature_picture(record: RunRecord, stage, file: FrameFile, weld: str):
    """Temperature on the moved part while a bead is half laid."""
    from weldsim.plots.scene import draw, stage_frame

    frame, built = stage_frame(stage, file), read_frame(record.frames[0])
    below = f"{_seconds(record, file)} after the first arc started; {warp_words(stage)}"
    figure, (axes,) = _image_figure(stage, 1, f"Temperature, weld {weld} half-way", below)
    axes.imshow(
        draw(stage, frame, "temperature", outline=built), extent=(0, 1, 0, 1), aspect="auto"
    )
    name_places(record, stage, frame, axes, built)
    temperature_bar(figure, stage, _bar_axes(figure))
    return figure


@charts.styled
def shape_picture(record: RunRecord, stage):
    """Where the part moved: hot above, cold below, each beside the part as built."""
    from weldsim.plots.scene import draw, stage_frame

    hot, cold = nearest_frame(record, hot_time(record)), record.frames[-1]
    below = f"{warp_words(stage)}; one colour range for both"
    figure, rows = _image_figure(stage, 2, "Shape, hot and at the end", below, HEAD)
    built = read_frame(record.frames[0])
    first = record.columns[0]
    for axes, file, words in (
        (rows[0], hot, f"hot: {first.gauge} {first.component} farthest out"),
        (
            rows[1],
            cold,
            "at the end of the run" if record.complete else "as far as the run has come",
        ),
    ):
        frame = stage_frame(stage, file)
        axes.imshow(
            draw(stage, frame, "movement", outline=built), extent=(0, 1, 0, 1), aspect="auto"
        )
        name_places(record, stage, frame, axes, built)
        left, inch = 0.15 * DPI / stage.size[0], DPI / stage.size[1]
        axes.text(
            left, 1 + 0.42 * inch, f"{_seconds(record, file)}, {words}", va="top", fontsize=11
        )
        warmest = float(frame.temperature[np.unique(frame.cells[frame.active])].max()) - 273.15
        axes.text(
            left,
            1 + 0.18 * inch,
            f"hottest spot {warmest:.0f} °C",
            va="top",
            color=QUIET,
            fontsize=10,
        )
    movement_bar(figure, stage, _bar_axes(figure))
    return figure


def _image_figure(stage, count: int, title: str, below: str, head: float = 0.0):
    """A figure with a title, room for `count` images of the stage's shape and for a colour bar.

    `head` is the height left free over each image for words of its own. [inch]
    """
    columns = count if stage.tall else 1
    rows = count // columns
    one = stage.size[0] / DPI, stage.size[1] / DPI + head
    width, total = columns * one[0], 0.75 + rows * one[1] + 0.85
    lines = textwrap.wrap(below, int(LINE * width / 10))
    total += 0.2 * (len(lines) - 1)
    figure = charts.new_figure(width, total)
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


def _bar_axes(figure):
    width, height = figure.get_figwidth(), figure.get_figheight()
    share = max(0.5, min(BAR / width, 0.9))
    return figure.add_axes(((1 - share) / 2, 0.52 / height, share, 0.14 / height))


def _seconds(record: RunRecord, file: FrameFile) -> str:
    return f"{file.time - charts.first_arc(record):.0f} s"


def warp_words(stage) -> str:
    """The warp factor in words."""
    size = "as large as it is" if stage.warp == 1 else f"{stage.warp:g} times too large"
    return (
        f"movement drawn {size}, metal that was soft carried by the rest; "
        "grey lines: before welding"
    )


def temperature_bar(figure, stage, axes) -> None:
    """Colour bar in degC."""
    from matplotlib.cm import ScalarMappable

    from weldsim.plots.scene import GLOW, HIGHEST, colour_map, temperature_scale

    norm, ticks = temperature_scale(stage)
    extend = "max" if stage.hottest >= HIGHEST else "neither"
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(GLOW)), cax=axes, orientation="horizontal", ticks=ticks,
        extend=extend, extendfrac=0.03,
    )  # fmt: skip
    _finish_bar(bar, [f"{t:g}" for t in ticks], "temperature, °C")


def movement_bar(figure, stage, axes) -> None:
    """Colour bar of the movement in mm, unscaled."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    from weldsim.plots.scene import MOVED, colour_map

    norm = Normalize(0, 1e3 * stage.farthest)
    bar = figure.colorbar(
        ScalarMappable(norm, colour_map(MOVED)), cax=axes, orientation="horizontal"
    )
    _finish_bar(bar, None, "movement since before welding, mm (true size)")


def _finish_bar(bar, labels, words: str) -> None:
    bar.outline.set_visible(False)
    bar.ax.grid(False)
    bar.ax.minorticks_off()
    bar.ax.tick_params(labelsize=9, length=3)
    if labels:
        bar.set_ticklabels(labels)
    bar.set_label(words, color=INK, fontsize=10)
