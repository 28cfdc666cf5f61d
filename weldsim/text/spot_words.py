"""A filmed light spot in words."""

from __future__ import annotations

from collections import Counter

import numpy as np

from weldsim.measurements.spot_record import SpotRecord


def record_lines(record: SpotRecord) -> list[str]:
    """What was read from a clip.

    Parameters
    ----------
    record : SpotRecord
        From `read_clip`.

    Returns
    -------
    list of str
        One a line.
    """
    up, right, error = record.reading()
    out = [
        f"{int(record.used.sum())} of {len(record.times)} frames used over "
        f"{record.times[-1] - record.times[0]:.0f} s; the spot was told by: {record.signal}"
    ]
    left_out = Counter(f for f in record.flags if f)
    if left_out:
        out.append("left out: " + ", ".join(f"{n} {flag}" for flag, n in left_out.most_common()))
    arcs = [f"{a:.1f} to {b:.1f} s" for a, b in zip(*record.arc, strict=True)]
    out.append(f"arc on: {', '.join(arcs)} of the film" if arcs else "arc: not in view")
    if np.isfinite(record.error):
        out.append(
            f"a reading's standard deviation is {1e3 * record.error:.2f} mm, from its scatter; "
            f"a sheet printed too large or small is not in it"
        )
    out.append(
        f"at the end {1e3 * up:+.2f} mm up, {1e3 * right:+.2f} mm right (±{1e3 * error:.2f} mm) "
        f"from where it was at rest before"
    )
    return out
