"""A filmed light spot: its path on the target, and up and right over time."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from weldsim.measurements.spot_record import SpotRecord
from weldsim.plots.style import new_figure, save, styled
from weldsim.system.palette import ARC, LINES, QUIET, SPOT


@styled
def plot_spot(path: Path, record: SpotRecord, title: str) -> Path:
    """Draw what was read from a clip.

    Parameters
    ----------
    path : Path
        A PNG, written whole or not at all.
    record : SpotRecord
        From `read_clip`.
    title : str
        Name of the clip.

    Returns
    -------
    Path
        The file.
    """
    figure = new_figure(10.0, 4.6)
    path_axes = figure.add_axes((0.07, 0.13, 0.36, 0.76))
    time_axes = figure.add_axes((0.52, 0.13, 0.46, 0.76))
    used = record.used
    up, right = 1e3 * record.up[used], 1e3 * record.right[used]
    path_axes.plot(right, up, color=LINES[0], lw=1.2)
    path_axes.plot(right[0], up[0], "o", color=QUIET, label="first seen")
    path_axes.plot(right[-1], up[-1], "o", color=SPOT, label="last seen")
    path_axes.set_aspect("equal", adjustable="datalim")
    path_axes.set_xlabel("right, mm on the target")
    path_axes.set_ylabel("up, mm on the target")
    path_axes.set_title(title)
    path_axes.legend()
    times = record.times - record.zero_time
    for on, off in zip(*record.arc, strict=True):
        time_axes.axvspan(on - record.zero_time, off - record.zero_time, color=ARC, lw=0, zorder=0)
    for values, name, colour in ((record.up, "up", LINES[0]), (record.right, "right", LINES[1])):
        time_axes.plot(times, 1e3 * values, color=colour, label=name)  # gaps where flagged
    lost = times[~used]
    low = time_axes.get_ylim()[0]
    if lost.size:
        time_axes.plot(lost, np.full(len(lost), low), "|", color=QUIET, ms=5,
                       label=f"{len(lost)} of {len(times)} frames left out")  # fmt: skip
    since = "s since the first arc" if record.arc.on.size else "s since the first frame"
    time_axes.set_xlabel(f"time, {since}")
    time_axes.set_ylabel("mm on the target")
    error = f"{1e3 * record.error:.2f} mm" if np.isfinite(record.error) else "unknown"
    time_axes.set_title(f"standard deviation of a reading {error}")
    time_axes.legend()
    return save(figure, path)
