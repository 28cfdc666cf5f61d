"""Pictures of a run, made from its folder alone: stills here, the animation in `animation`.

`show_run` writes pictures/: the part as meshed with its welds in sequence, temperature half-way
along each bead, the part hot and cold beside its shape before welding, gauge histories, the path of
each light spot, and an animation.
Temperatures in degC, movements in mm, seconds since the first arc started.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.case.load import parse_case
from weldsim.errors import WeldsimError
from weldsim.plots.animation import write_movie
from weldsim.plots.colour_bars import bar_axes, movement_bar, temperature_bar
from weldsim.plots.gauge_plots import gauge_history
from weldsim.plots.image_figure import HEAD, image_figure, warp_words
from weldsim.plots.layout import draw_layout
from weldsim.plots.place_labels import name_places
from weldsim.plots.pointer_plot import pointer_plot
from weldsim.plots.scene import draw
from weldsim.plots.stage import make_stage, stage_frame
from weldsim.plots.style import SCREEN_DPI, save, slug, styled
from weldsim.plots.welds import first_arc_start, hot_time, nearest_frame, pictured_arcs
from weldsim.runs.folder import RunFolder
from weldsim.runs.frame_files import FrameFile, read_frame
from weldsim.runs.reading import PICTURES, RunRecord, read_run
from weldsim.system.libraries import prepare_renderer
from weldsim.system.palette import QUIET


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
        Run folder.
    report : callable(share, text), optional
        Told how far the work is, 0 to 1.

    Raises
    ------
    StoreError
        If the folder is no run, or has no readings yet.
    """

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

    stage = make_stage(record)
    paths += draw_parts(record, stage, folder)
    made, more = write_movie(record, stage, folder, lambda s: report(0.3 + 0.7 * s, "animation"))
    report(1.0, "done")
    return Shown(tuple(paths + made), (*notes, *more))


def draw_case(record: RunRecord, path: Path) -> tuple[list[Path], list[str]]:
    """Picture of the part before the run, from the case the folder keeps; a note where none is."""

    try:
        kept = RunFolder.open(record.path).read_json("case.json")
        case = parse_case(kept["source"], kept["source_file"], kept["overrides"])
        return [draw_layout(case, path, record.manifest.get("grade"))], []
    except (WeldsimError, OSError, LookupError, TypeError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        return [], [f"layout picture skipped: {why}"]


def draw_plots(record: RunRecord, folder: Path) -> list[Path]:
    """Gauge histories and the path of every light spot."""
    paths = [save(gauge_history(record), folder / "gauges.png")]
    for gauge in record.pointers:
        figure = pointer_plot(record, gauge)
        paths.append(save(figure, folder / f"path_{slug(gauge['name'])}.png"))
    return paths


def draw_parts(record: RunRecord, stage, folder: Path) -> list[Path]:
    """Temperature half-way along each bead, and the shape hot and cold."""
    paths = []
    for name, start, stop in pictured_arcs(record):
        frame = nearest_frame(record, (start + stop) / 2 + first_arc_start(record))
        figure = temperature_picture(record, stage, frame, name)
        paths.append(save(figure, folder / f"temperature_{slug(name)}.png"))
    paths.append(save(shape_picture(record, stage), folder / "shape.png"))
    return paths


@styled
def temperature_picture(record: RunRecord, stage, file: FrameFile, weld: str):
    """Temperature on the moved part while a bead is half laid."""

    frame, built = stage_frame(stage, file), read_frame(record.frames[0])
    below = f"{_seconds(record, file)} after the first arc started; {warp_words(stage)}"
    figure, (axes,) = image_figure(stage, 1, f"Temperature, weld {weld} half-way", below)
    axes.imshow(
        draw(stage, frame, "temperature", outline=built), extent=(0, 1, 0, 1), aspect="auto"
    )
    name_places(record, stage, frame, axes, built)
    temperature_bar(figure, stage, bar_axes(figure))
    return figure


@styled
def shape_picture(record: RunRecord, stage):
    """Where the part moved: hot above, cold below, each beside its shape before welding."""

    hot, cold = nearest_frame(record, hot_time(record)), record.frames[-1]
    below = f"{warp_words(stage)}; one colour range for both"
    figure, rows = image_figure(stage, 2, "Shape, hot and at the end", below, HEAD)
    built = read_frame(record.frames[0])
    first = record.columns[0]
    for axes, file, words in (
        (rows[0], hot, f"hot: {first.gauge} {first.component} farthest out while an arc burned"),
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
        left, inch = 0.15 * SCREEN_DPI / stage.size[0], SCREEN_DPI / stage.size[1]
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
    movement_bar(figure, stage, bar_axes(figure))
    return figure


def _seconds(record: RunRecord, file: FrameFile) -> str:
    return f"{file.time - first_arc_start(record):.0f} s"
