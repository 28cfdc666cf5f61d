"""Pictures of a run for print: one style, readable one column (85 mm) wide, as SVG, PDF or PNG.

Every function takes a run folder and gives a matplotlib figure; `draw` writes one by name. Maps on
sections are cut by VTK and drawn as vectors; pictures of the part are drawn off screen. Pictures
state the time, the unit and how many times movement is exaggerated.
"""

from __future__ import annotations

from functools import wraps
from pathlib import Path
from textwrap import wrap

import numpy as np

from weldsim.errors import SetupError, StoreError
from weldsim.plots.colour_bars import colour_map, movement_bar
from weldsim.plots.cuts import cut_frame, marked_temperatures, peak_temperature
from weldsim.plots.image_figure import warp_words
from weldsim.plots.pointer_plot import draw_path, path_on_target
from weldsim.plots.print_layout import (
    colour_bar,
    cut_outline,
    cut_panels,
    cut_shape,
    finish_cut,
    image_panels,
    line_key,
    small_bar,
    small_temperature_bar,
)
from weldsim.plots.print_scene import numbered_welds, part_image, plain_image
from weldsim.plots.stage import HIGHEST, make_stage, stage_frame
from weldsim.plots.style import INCH, PRINT, PRINT_DPI, SCREEN, new_figure, printed
from weldsim.plots.us_axes import show_units
from weldsim.plots.welds import arc_times, clock, first_arc_start, hot_time, is_tack, seam_of
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import RunRecord, read_run
from weldsim.runs.recorded_case import recorded_case, recorded_paths
from weldsim.system.files import whole_file
from weldsim.system.libraries import prepare_renderer
from weldsim.system.palette import GLOW, INK, QUIET, STRESS, WHITE
from weldsim.text.quantities import Units, in_m, quantity, unit_word

COLUMN = 85.0  # mm
KINDS = (".svg", ".pdf", ".png")
# pale to dark, lightness only falls, and no colour that people mix up
HEAT = GLOW[:-1]  # less the palest, that shows on white
LETTERS = 0.75  # of the smallest print in a mm
MOMENTS = 4  # of the temperature, one above the other
MOST_CUTS = 4


def of_folder(draw):
    """Let a drawing function of a `RunRecord` take a run folder, under the style of print."""

    @wraps(draw)
    def inside(run_folder, **options):
        """The picture of a run folder."""
        return printed(draw)(read_run(run_folder), **options)

    return inside


@of_folder
def sequence(record: RunRecord, width_mm: float = COLUMN, units: Units = "metric"):
    """The part before the first arc with its welds numbered in sequence and their travel; no
    number of it has a unit."""

    stage, built = _stage(record), _frame(record, 0)
    figure, (axes,) = image_panels(stage, 1, width_mm, below=0.16 * len(_orders(record)) / 2 + 0.1)
    axes.imshow(plain_image(stage, built), extent=(0, 1, 0, 1), aspect="auto")
    numbered_welds(record, stage, axes)
    figure.text(0.02, 0.02, "\n".join(_orders(record)), fontsize=6.5, va="bottom", linespacing=1.3)
    return figure


@of_folder
def temperature_moments(
    record: RunRecord, width_mm: float = COLUMN, moments=None, units: Units = "metric"
):
    """Temperature at some moments, one above the other, under one colour bar.

    Parameters
    ----------
    moments : sequence of float, optional
        Seconds since the first arc started; frames nearest to them are drawn. Spread over the
        time from the first arc to 60 s after the last when left out.
    """

    stage = _stage(record)
    arcs = arc_times(record)
    if moments is None:
        ends = [a[1:] for a in arcs if not is_tack(record, a[0])] or [(0.0, 60.0)]
        halves = [(start + end) / 2 for start, end in ends]
        pick = np.unique(np.linspace(0, len(halves) - 1, MOMENTS - 1).round().astype(int))
        moments = [*(halves[i] for i in pick), ends[-1][1] + 60.0]
    figure, rows = image_panels(stage, len(moments), width_mm, below=0.67,
                           stacked=2 if stage.tall else 1)  # fmt: skip
    for axes, moment in zip(rows, moments, strict=True):
        file = _nearest(record, moment)
        axes.imshow(part_image(stage, stage_frame(stage, file), "temperature"), extent=(0, 1, 0, 1),
                    aspect="auto")  # fmt: skip
        axes.text(0.02, 0.93, _when(record, file.time), va="top", fontsize=7)
    small_temperature_bar(figure, stage, units)
    words = "\n".join(wrap(warp_words(stage).partition(";")[0], int(width_mm * LETTERS)))
    figure.text(0.02, 0.02 / figure.get_figheight(), words, fontsize=6, color=QUIET)
    return figure


@of_folder
def haz(
    record: RunRecord,
    width_mm: float = COLUMN,
    weld: str | None = None,
    units: Units = "metric",
):
    """Highest temperature on the section through the middle of a weld, with lines that matter.

    Lines: solidus and softening from the material file; 723 degC, where unalloyed steel begins
    to transform (the iron-carbon diagram's A1), for steels other than stainless.

    Parameters
    ----------
    weld : str, optional
        The first that is no tack when left out.
    """

    _need_frames(record)
    _need_paths(record)
    chosen = _chosen(record, weld)
    cut, peak = peak_temperature(record, chosen, reach=2.0)
    figure, (axes,) = cut_panels(width_mm, [cut], 1, below=0.62)
    top = min(float(peak.max()), HIGHEST)
    levels = np.linspace(float(peak.min()), top + 1e-3, 40)
    triangles = cut.triangulation()
    axes.tricontourf(triangles, np.clip(peak, levels[0], top), levels=levels,
                     cmap=colour_map(HEAT))  # fmt: skip
    handles = []
    for (name, value), style in zip(marked_temperatures(record), ("-", "--", ":", "-."),
                                    strict=False):  # fmt: skip
        if not peak.min() < value < peak.max():
            continue
        for colour, width in ((WHITE, 2.0), (INK, 0.9)):
            axes.tricontour(triangles, peak, levels=[value], colors=colour, linewidths=width,
                            linestyles=style if colour == INK else "-")  # fmt: skip
        handles.append((style, f"{name} {quantity(value, 'degC', '.0f').text(units)}"))
    cut_outline(axes, cut)
    finish_cut(axes, cut, f"weld {chosen}: highest of {len(record.frames)} stored frames", units)
    high = figure.get_figheight()
    words = f"highest temperature, {unit_word('degC', units)}"
    place = (0.05, 0.3 / high, 0.52, 0.07 / high)
    bar = colour_bar(figure, HEAT, levels[0], top, words, place)
    show_units(bar.xaxis, "degC", units, most=5)
    line_key(figure, handles, (0.6, 0.0))
    return figure


@of_folder
def residual_stress(record: RunRecord, width_mm: float = COLUMN, units: Units = "metric"):
    """Equivalent stress at the end, cell by cell, on a cut through the middle of each seam."""
    _need_frames(record)
    names = _first_of_seams(record)[:MOST_CUTS]
    _need_paths(record)
    frame = read_frame(record.frames[-1])
    cuts = [cut_frame(record, frame, name, reach=3.5) for name in names]
    top = max(float(c.stress.max()) for c in cuts) / 1e6 or 1.0
    flat = max(cut_shape(c) for c in cuts) < 0.3
    columns = 1 if flat and width_mm < 1.5 * COLUMN else 2 if flat else min(len(cuts), 2)
    if width_mm > 1.5 * COLUMN and not flat:
        columns = len(cuts)
    figure, panels = cut_panels(width_mm, cuts, min(columns, len(cuts)), below=0.5)
    high = figure.get_figheight()

    for axes, cut in zip(panels, cuts, strict=False):
        axes.tripcolor(cut.triangulation(), facecolors=cut.stress / 1e6, cmap=colour_map(STRESS),
                       vmin=0, vmax=top, edgecolors="none", rasterized=False)  # fmt: skip
        cut_outline(axes, cut)
        finish_cut(axes, cut, f"weld {cut.weld}", units)
    words = f"equivalent (von Mises) stress, {unit_word('MPa', units)}, {_end_words(record)}"
    place = (0.12, 0.3 / high, 0.76, 0.07 / high)
    bar = colour_bar(figure, STRESS, 0.0, top, words, place)
    show_units(bar.xaxis, "MPa", units)
    return figure


@of_folder
def triptych(record: RunRecord, width_mm: float = 2 * COLUMN, units: Units = "metric"):
    """Before, hot and after, beside each other on a wide page, above each other on a column."""

    stage = _stage(record)
    hot = _nearest(record, hot_time(record) - first_arc_start(record))
    chosen = (record.frames[0], hot, record.frames[-1])
    words = ("before", "hot", "after" if record.complete else "so far")
    wide = width_mm > 1.5 * COLUMN
    figure, panels = image_panels(stage, 3, width_mm, below=0.55, stacked=0 if wide else 1)

    built = _frame(record, 0)
    for axes, file, word in zip(panels, chosen, words, strict=True):
        picture = part_image(stage, stage_frame(stage, file), "movement", built)
        axes.imshow(picture, extent=(0, 1, 0, 1), aspect="auto")
        axes.text(0.02, 0.97, f"{word}: {_when(record, file.time)}", va="top", fontsize=7)
    high = figure.get_figheight()
    bar = figure.add_axes((0.15, 0.36 / high, 0.7, 0.07 / high))
    movement_bar(figure, stage, bar, units)
    small_bar(bar, f"movement since before welding, {unit_word('mm', units)} (true size)")
    figure.text(0.02, 0.03 / high, warp_words(stage), fontsize=6, color=QUIET)
    return figure


@of_folder
def pointer_path(
    record: RunRecord,
    width_mm: float = COLUMN,
    gauge: str | None = None,
    units: Units = "metric",
):
    """Path of a pointer's light spot, thick in the weld's colour while its arc burns."""

    pointers = [g for g in record.pointers if gauge in (None, g["name"])]
    if not pointers:
        known = ", ".join(g["name"] for g in record.pointers) or "none in this run"
        raise StoreError(f"{record.path}: gauge {gauge or 'pointer'}: no such pointer: {known}")
    pointer = pointers[0]
    figure = new_figure(width_mm / INCH, 0.95 * width_mm / INCH)
    axes = figure.add_axes((0.16, 0.27, 0.8, 0.64))
    draw_path(record, pointer, axes, 1.19, units)
    axes.grid(True, lw=0.4)
    right, up = path_on_target(record, pointer)
    axes.plot(right[0], up[0], "o", ms=3.5, mfc=WHITE, mec=INK, zorder=6)
    errors = [record.errors.get(f"{pointer['name']}_{side}_mm") for side in ("right", "up")]
    if None not in errors:
        axes.errorbar(right[-1], up[-1], xerr=errors[0], yerr=errors[1], color=INK, lw=0.8,
                      capsize=2, zorder=5)  # fmt: skip
    axes.plot(right[-1], up[-1], "o", ms=4.5, color=INK, zorder=6)
    end = float(clock(record)[-1])
    axes.annotate(f"end, {end:.0f} s", (right[-1], up[-1]), xytext=(6, 5),
                  textcoords="offset points", fontsize=6.5)  # fmt: skip
    away = in_m(pointer["throw"]).text(units)
    axes.set_title(f"light spot {away} away, looking along {pointer['aim']}")
    handles = axes.get_legend_handles_labels()
    if handles[0]:
        figure.legend(*handles, loc="lower left", bbox_to_anchor=(0.02, 0.0), ncols=3,
                      columnspacing=1.0, handlelength=1.4)  # fmt: skip
    return figure


FIGURES = {
    "sequence": sequence,
    "temperatures": temperature_moments,
    "peak-temperature": haz,
    "stress": residual_stress,
    "before-hot-after": triptych,
    "spot": pointer_path,
}


def draw(name: str, run_folder, out, **options) -> Path:
    """Draw a picture of a run into a file.

    Parameters
    ----------
    name : str
        One of `FIGURES`.
    out : path
        The ending chooses the format: .svg, .pdf or .png (300 dots an inch).
    **options : object
        `width_mm`, and what the picture's function knows besides.

    Raises
    ------
    StoreError
        For an unknown name, ending or option, a folder that is no run, or a full disk.
    SetupError
        If the part cannot be drawn on this machine.
    """
    out = Path(out)
    if name not in FIGURES:
        raise StoreError(f"figure: {name!r} is not known, allowed: {', '.join(FIGURES)}")
    if out.suffix.lower() not in KINDS:
        raise StoreError(f"{out}: ending {out.suffix!r} is not known, allowed: {', '.join(KINDS)}")
    allowed = _options(FIGURES[name])
    for option in options:
        if option not in allowed:
            raise StoreError(
                f"figure {name}: {option}: no such option, allowed: {', '.join(allowed)}"
            )
    from matplotlib import rc_context

    figure = FIGURES[name](run_folder, **options)
    with rc_context({**SCREEN, **PRINT}), whole_file(out) as beside:
        figure.savefig(beside, format=out.suffix[1:].lower(), dpi=PRINT_DPI)
    return out


def _options(function) -> list[str]:
    from inspect import signature

    return [p for p in signature(function).parameters if p != "record"]


def _need_frames(record: RunRecord) -> None:
    if not record.frames:
        raise StoreError(f"{record.path}: the run has no frames yet: resume it or wait")


def _need_paths(record: RunRecord) -> None:
    if not recorded_paths(record):
        raise StoreError(f"{record.path}: run.json does not tell where the welds lie: run it anew")


def _stage(record: RunRecord):
    """Camera and ranges; refuses where nothing can be drawn."""

    _need_frames(record)
    missing = prepare_renderer()
    if missing:
        raise SetupError(missing)
    return make_stage(record)


def _frame(record: RunRecord, number: int):
    return read_frame(record.frames[number])


def _nearest(record: RunRecord, moment: float):
    """Frame nearest to a time since the first arc. [s]"""
    time = moment + first_arc_start(record)
    return min(record.frames, key=lambda f: abs(f.time - time))


def _when(record: RunRecord, time: float) -> str:
    return f"{time - first_arc_start(record):.0f} s"


def _end_words(record: RunRecord) -> str:
    """When the last frame is; cold only where the run was to go on until it is."""
    if not record.complete:
        return "as far as the run has come"
    cold = recorded_case(record).end == "cold"
    return f"at the end, {'cold' if cold else _when(record, record.frames[-1].time)}"


def _first_of_seams(record: RunRecord) -> list[str]:
    """Name of the first weld of each seam that is no tack, in order."""
    names = [p.name for p in recorded_paths(record)]
    real = [n for n in names if not is_tack(record, n)] or names
    first = {}
    for name in real:
        first.setdefault(seam_of(record, name), name)
    return list(first.values())


def _chosen(record: RunRecord, weld: str | None) -> str:
    names = [p.name for p in recorded_paths(record)]
    if weld is not None and weld not in names:
        raise StoreError(f"{record.path}: weld {weld!r} is not known, allowed: {', '.join(names)}")
    return weld or _first_of_seams(record)[0]


def _orders(record: RunRecord) -> list[str]:
    """Order of welding as short lines: `1 A, 2 B`."""
    names = [p.name for p in recorded_paths(record)]
    return wrap(", ".join(f"{i} {n}" for i, n in enumerate(names, 1)), 62)
