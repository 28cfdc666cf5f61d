"""Path of a pointer's light spot on its target, with times marked along it."""

from __future__ import annotations

import numpy as np

from weldsim.plots.style import new_figure, styled
from weldsim.plots.us_axes import show_units
from weldsim.plots.welds import arc_times, clock, seam_of, weld_colour
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import recorded_case
from weldsim.studies.band.kept import KeptBand
from weldsim.system.palette import INK, PAPER, QUIET, SPOT, WELDS
from weldsim.text.quantities import Units, in_m, unit_word

LEGEND = 0.75  # inches kept below the plot for what the colours mean
LEGEND_ROWS = 3


@styled
def pointer_plot(
    record: RunRecord,
    gauge: dict,
    size: float = 7.0,
    units: Units = "metric",
    band: KeptBand | None = None,
):
    """Path of a pointer's light spot on its target, as seen looking along the aim.

    Parameters
    ----------
    record : RunRecord
        Of a run, finished or not.
    gauge : dict
        The pointer in the case: `name`, `aim`, `up`, `throw` [m].
    size : float
        Of the longer side of the path, about. [inch]
    units : {"metric", "us"}
        Of ticks and titles.
    band : KeptBand, optional
        Of the same job: where the spots of many parts end, as dots.

    Returns
    -------
    matplotlib.figure.Figure
        Under the house style.
    """
    right, up = path_on_target(record, gauge)
    ends = _ends(gauge, band)
    if ends is not None:
        right, up = np.append(right, ends[0]), np.append(up, ends[1])
    shape = float(np.clip(_reach(right) / max(_reach(up), 1e-9), 0.7, 1.5))
    figure = new_figure(size * min(shape, 1.0) + 0.6, size / max(shape, 1.0) + 0.7 + LEGEND)
    axes = figure.subplots()
    draw_path(record, gauge, axes, shape, units)
    if ends is not None:
        axes.plot(*ends, ".", ms=2.5, color=SPOT, alpha=0.35, mew=0, zorder=1,
                  label=f"ends of {len(ends[0])} parts, by the band")  # fmt: skip
        set_equal_limits(axes, right, up, shape)
    _draw_error(record, gauge, axes)
    figure.suptitle(f"Light spot of {gauge['name']} on its target", x=0.02, ha="left", fontsize=13)
    away = in_m(gauge["throw"]).text(units)
    axes.set_title(
        f"{away} away, as seen looking along {gauge['aim']}",
        color=QUIET,
        fontsize=9.5,
    )
    figure.tight_layout(rect=(0, LEGEND / figure.get_figheight(), 1, 0.99))
    axes.apply_aspect()  # labels are placed in pixels
    _mark_times(record, gauge, axes)
    return figure


def _ends(gauge: dict, band: KeptBand | None) -> np.ndarray | None:
    """Right and up of the cold ends of a band, (2, S); None where it has none. [mm]"""
    names = [f"{gauge['name']}_{side}_mm" for side in ("right", "up")]
    if band is None or any(n not in band.ends for n in names):
        return None
    return np.array([band.ends[n] for n in names])


def _reach(values) -> float:
    """From the lowest to the highest of some readings and zero."""
    return max(float(values.max()), 0.0) - min(float(values.min()), 0.0)


def _draw_error(record, gauge, axes) -> None:
    """The estimated error of the end of a path, as a cross of bars."""
    name = gauge["name"]
    sizes = [record.errors.get(f"{name}_{side}_mm") for side in ("right", "up")]
    if None not in sizes:
        right, up = path_on_target(record, gauge)
        axes.errorbar(
            right[-1], up[-1], xerr=sizes[0], yerr=sizes[1], color=INK, lw=1, capsize=3, zorder=6,
            label="estimated error of the end",
        )  # fmt: skip


def draw_path(
    record: RunRecord, gauge: dict, axes, shape: float = 1.0, units: Units = "metric"
) -> None:
    """The path on equal axes: thick in the weld's colour while its arc burns, thin in between."""
    right, up = path_on_target(record, gauge)
    axes.plot(right, up, color=QUIET, lw=1.2, zorder=2)
    for name, start, stop in arc_times(record):
        t = np.linspace(start, stop, 100)
        axes.plot(
            np.interp(t, clock(record), right), np.interp(t, clock(record), up),
            color=weld_colour(record, name), lw=3, zorder=3, label=_legend_text(record, name),
        )  # fmt: skip
    axes.axhline(0, color=QUIET, lw=0.6, zorder=1)
    axes.axvline(0, color=QUIET, lw=0.6, zorder=1)
    set_equal_limits(axes, right, up, shape)
    bar = recorded_case(record).seams_of_welds
    right_end, up_end = (_side(gauge), "") if bar else _directions(gauge)
    unit = unit_word("mm", units)
    axes.set_xlabel(f"right, {unit}{right_end}")
    axes.set_ylabel(f"up, {unit}{up_end}")
    for axis in (axes.xaxis, axes.yaxis):
        show_units(axis, "mm", units)


def _legend_text(record: RunRecord, name: str) -> str:
    """What a colour means; where welds of a seam share one, the first of them says it."""
    found = [a[0] for a in arc_times(record)]
    if len(found) <= len(WELDS):
        return f"arc {name} on"
    seam = seam_of(record, name)
    first = next(n for n in found if seam_of(record, n) == seam)
    return f"arc on {seam}" if name == first else "_"


def path_on_target(record: RunRecord, gauge: dict) -> tuple[np.ndarray, np.ndarray]:
    """Right and up of a pointer's spot, each (N,). [mm]"""
    name = gauge["name"]
    return record.gauges[f"{name}_right_mm"], record.gauges[f"{name}_up_mm"]


def set_equal_limits(axes, x, y, shape: float, margin: float = 0.16) -> None:
    """Limits around a path and the origin with one scale; `shape` is width over height."""
    low = np.array([min(x.min(), 0), min(y.min(), 0)])
    high = np.array([max(x.max(), 0), max(y.max(), 0)])
    size = max((high - low)[0] / shape, (high - low)[1], 1e-3) * (1 + 2 * margin)
    middle = (low + high) / 2
    axes.set_xlim(middle[0] - size * shape / 2, middle[0] + size * shape / 2)
    axes.set_ylim(middle[1] - size / 2, middle[1] + size / 2)
    axes.set_aspect("equal", "box")


def _directions(gauge: dict) -> tuple[str, str]:
    """Axes of the part that right and up on the target point along, as ends of the labels."""
    aim, up = (_axis(gauge[k]) for k in ("aim", "up"))
    right = np.cross(aim, up)
    axis = int(np.argmax(np.abs(right)))
    toward = ("+" if right[axis] > 0 else "-") + "xyz"[axis]
    return f" (toward {toward})", f" (toward {gauge['up']})"


def _axis(word: str) -> np.ndarray:
    """Unit vector of an axis written like "+x"."""
    return np.eye(3)["xyz".index(word[-1])] * (-1 if word[0] == "-" else 1)


def _side(gauge: dict) -> str:
    """Which way the bar's front face (+y) looks on the target, where it looks left or right."""
    aim, up = (_axis(gauge[k]) for k in ("aim", "up"))
    toward = float(np.cross(aim, up)[1])
    return "" if toward == 0 else f"   (front face: {'right' if toward > 0 else 'left'})"


def _mark_times(record, gauge, axes) -> None:
    """Dots with times along the path: arc starts and stops, round times in between, the end."""
    right, up = path_on_target(record, gauge)
    times = clock(record)
    marks = _path_marks(record, times)
    taken = _error_boxes(record, gauge, axes)
    for t, text, big in marks:
        place = np.array([np.interp(t, times, right), np.interp(t, times, up)])
        axes.plot(*place, "o", ms=7 if big else 4, color=INK, mfc=PAPER if big else INK, zorder=5)
        crowded = len(arc_times(record)) > len(WELDS)
        _place_label(axes, place, text, taken, right, up, big, crowded)
    axes.plot(right[-1], up[-1], "o", ms=9, color=INK, zorder=6)
    handles = axes.get_legend_handles_labels()
    if handles[0]:
        # below the plot: inside it would cover part of the path, whichever corner it took
        axes.figure.legend(
            *handles, loc="lower left", bbox_to_anchor=(0.02, 0.0), fontsize=9, frameon=False,
            ncols=-(-len(handles[0]) // LEGEND_ROWS), columnspacing=1.2,
        )  # fmt: skip


def _error_boxes(record, gauge, axes) -> list:
    """Where the bars of the estimated error and the axes through zero lie, as pixel boxes."""
    right, up = path_on_target(record, gauge)
    half = [record.errors.get(f"{gauge['name']}_{side}_mm", 0.0) for side in ("right", "up")]
    end = np.array([right[-1], up[-1]])
    to_pixel = axes.transData.transform
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    bars = [
        (end - [half[0], 0], end + [half[0], 0]), (end - [0, half[1]], end + [0, half[1]]),
        ((x0, 0), (x1, 0)), ((0, y0), (0, y1)),
    ]  # fmt: skip
    return [(to_pixel(a) - 4, to_pixel(b) + 4) for a, b in bars]


def _path_marks(record, times) -> list[tuple[float, str, bool]]:
    """Time, label and weight of the marks on a path, the important ones first."""
    marks = [(float(times[-1]), f"end, {times[-1]:.0f} s", True)]
    seen = arc_times(record)
    crowded, seams = len(seen) > len(WELDS), set()
    for name, start, stop in seen:
        if crowded and seam_of(record, name) in seams:
            continue
        seams.add(seam_of(record, name))
        marks.append((start, f"{name} starts, {start:.0f} s", True))
        if not crowded:
            marks.append((stop, f"{name} stops, {stop:.0f} s", True))
    if crowded:
        name, _, stop = max(seen, key=lambda a: a[2])
        marks.append((stop, f"{name} stops, {stop:.0f} s", True))
    last = max((stop for *_, stop in seen), default=0.0)
    between = [t for a in seen for t in np.arange(a[1] + 10, a[2] - 4, 10)]
    after = [last + s for s in (10, 30, 60, 120) if last + s < times[-1]]
    return marks + [(float(t), f"{t:.0f} s", False) for t in between + after]


def _place_label(axes, place, text, taken, x, y, big, crowded=False) -> None:
    """Write a label beside a mark, on the side where it covers neither labels nor the path."""
    to_pixel = axes.transData.transform
    here, path = to_pixel(place), _dense(to_pixel(np.column_stack([x, y])))
    scale = axes.figure.dpi / 72
    size = np.array([0.62 * len(text), 1.5]) * (9.5 if big else 8) * scale
    best = None
    for reach in (8, 20, 34) if big else (7,):
        for angle in np.deg2rad(np.arange(0, 360, 30)):
            direction = np.array([np.cos(angle), np.sin(angle)])
            centre = here + direction * (reach * scale + size / 2 * np.abs(direction))
            box = (centre - size / 2, centre + size / 2)
            cost = reach / 100 + _overlap(box, taken) + _inside(box, path) + _outside(box, axes)
            if best is None or cost < best[0]:
                best = (cost, centre, box)
    if best[0] > (0.5 if not big else 9.0 if crowded else np.inf):
        return  # a small mark may go unnamed, and one where many marks meet
    taken.append(best[2])
    axes.annotate(
        text, place, (best[1] - here) / scale, textcoords="offset points", ha="center",
        va="center", fontsize=9.5 if big else 8, color=INK if big else QUIET, zorder=7,
        arrowprops={"arrowstyle": "-", "color": QUIET, "lw": 0.6, "shrinkA": 0, "shrinkB": 4},
    )  # fmt: skip


def _dense(path: np.ndarray, step: float = 6.0) -> np.ndarray:
    """Points at most about `step` pixels apart along a path of pixels."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    at = np.linspace(0.0, along[-1], int(along[-1] / step) + 2)
    return np.column_stack([np.interp(at, along, path[:, k]) for k in (0, 1)])


def _overlap(box, taken) -> float:
    return 10.0 * sum(
        bool(np.all(box[0] < other[1]) and np.all(box[1] > other[0])) for other in taken
    )


def _inside(box, path) -> float:
    return float(np.sum(np.all((path > box[0] - 2) & (path < box[1] + 2), axis=1)))


def _outside(box, axes) -> float:
    low, high = axes.get_window_extent().get_points()
    return 20.0 * bool(np.any(box[0] < low) or np.any(box[1] > high))
