"""Welds of a run as all pictures show them: when each arc burned, its seam, its colour.

Clock on all pictures: seconds since the first arc started.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from weldsim.runs.frame_files import FrameFile
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedPath, recorded_case, recorded_paths
from weldsim.system.palette import WELDS

MOST_NAMED = 8  # welds; with more, the first of each seam is named
STEPS = 25  # places of a path looked at


def arc_times(record: RunRecord) -> list[tuple[str, float, float]]:
    """Name, start and end of each arc on the pictures' clock; one still burning ends now. [s]"""
    zero, now = first_arc_start(record), float(record.gauges["time_s"][-1])
    table = record.manifest.get("timetable", [])
    return [
        (e["name"], e["start"] - zero, (now if e["end"] is None else e["end"]) - zero)
        for e in table
    ]


def first_arc_start(record: RunRecord) -> float:
    """When the first arc started, 0 without one. [s]"""
    return min((e["start"] for e in record.manifest.get("timetable", [])), default=0.0)


def clock(record: RunRecord) -> np.ndarray:
    """Times of the readings since the first arc start, shape (N,). [s]"""
    return record.gauges["time_s"] - first_arc_start(record)


def axis_cut(record: RunRecord) -> float:
    """Where the time axis changes scale: the slowest gauge settled, at most 3 min past the arc."""
    last = max((stop for _, _, stop in arc_times(record)), default=0.0)
    end = float(clock(record)[-1])
    slowest = [v.get("settled_after_arc_s") or 0 for v in record.summary.get("gauges", {}).values()]
    cut = last + float(np.clip(1.3 * max(slowest, default=60.0), 45.0, 180.0))
    return cut if cut < 0.7 * end else end


def pauses_between(found) -> list[tuple[float, float]]:
    """Start and end of what lies between arcs, in order. [s]"""
    ordered = sorted(found, key=lambda a: a[1])
    ends = np.maximum.accumulate([stop for *_, stop in ordered]) if ordered else []
    return [
        (float(end), float(start))
        for end, (_, start, _) in zip(ends, ordered[1:], strict=False)
        if start - end > 1e-6
    ]


def weld_colour(record: RunRecord, name: str) -> str:
    """The colour of a weld, the same on every picture."""
    welds = recorded_case(record).welds
    return colours_of([(w.name, w.group) for w in welds]).get(name, WELDS[0])


def colours_of(welds: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Name -> colour of welds given as (name, seam): one each; one a seam where they run out.

    By name, not by place in the sequence: a seam keeps its colour when the sequence changes.
    """
    keys = [seam if len(welds) > len(WELDS) else name for name, seam in welds]
    order = sorted(set(keys))
    names = (name for name, _ in welds)
    return {n: WELDS[order.index(k) % len(WELDS)] for n, k in zip(names, keys, strict=True)}


def seam_of(record: RunRecord, name: str) -> str:
    """Seam that a weld lies on; the weld itself on a bar."""
    return recorded_case(record).weld(name).group


def is_tack(record: RunRecord, name: str) -> bool:
    """Whether an arc lays a tack."""
    return recorded_case(record).weld(name).is_tack


def first_of_seams(welds: Sequence[tuple[str, str]]) -> set[str]:
    """Names to write of welds given as (name, seam): with many, the first of each seam."""
    if len(welds) <= MOST_NAMED:
        return {name for name, _ in welds}
    return set({seam: name for name, seam in reversed(welds)}.values())


def paths_of(record: RunRecord) -> list[RecordedPath]:
    """Paths of the welds, each with `STEPS` places at equal steps. [m]"""
    shares = np.linspace(0, 1, STEPS)
    return [replace(p, points=along(p.points, shares)) for p in recorded_paths(record)]


def along(flat: np.ndarray, shares) -> np.ndarray:
    """Places (K, 2) at shares of the length of a line of places (M, 2)."""
    length = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(flat, axis=0), axis=1)))
    if length[-1] < 1e-12:
        return np.repeat(flat[:1], len(shares), axis=0)
    at = np.asarray(shares) * length[-1]
    return np.column_stack([np.interp(at, length, flat[:, i]) for i in range(flat.shape[1])])


def pictured_arcs(record: RunRecord) -> list[tuple[str, float, float]]:
    """Arcs to show the temperature of: all but tacks, and with many the first of each seam."""
    found = arc_times(record)
    found = [a for a in found if not is_tack(record, a[0])] or found
    if len(found) <= MOST_NAMED:
        return found
    first = {seam_of(record, a[0]): a for a in reversed(found)}
    return sorted(first.values(), key=lambda a: a[1])


def hot_time(record: RunRecord) -> float:
    """When the first gauge was farthest from where it began while an arc burned. [s]"""
    first = record.columns[0].name if record.columns else None
    if first is None:
        return record.frames[0].time
    times, values = record.gauges["time_s"], record.gauges[first]
    zero = first_arc_start(record)
    hot = np.zeros(times.size, dtype=bool)
    # the cold end of a bar that keeps moving is no picture of the hot one
    for _, start, end in arc_times(record):
        hot |= (times >= start + zero) & (times <= end + zero)
    travel = np.where(hot if hot.any() else True, np.abs(values - values[0]), -1.0)
    return float(times[np.argmax(travel)])


def nearest_frame(record: RunRecord, time: float) -> FrameFile:
    """The frame nearest to a time of the run. [s]"""
    return min(record.frames, key=lambda f: abs(f.time - time))
