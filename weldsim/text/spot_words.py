"""A filmed light spot in words."""

from __future__ import annotations

from collections import Counter

import numpy as np

from weldsim.measurements.spot_record import SpotRecord
from weldsim.text.quantities import Quantity, Words, quantity, words


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
            words(
                "a reading's standard deviation is {}, from its scatter; a sheet printed too large "
                "or small is not in it",
                _mm(record.error, ".2f"),
            )
        )
    out.append(words("at the end {} from where it was at rest before", moved(up, right, error)))
    if record.still_moving:
        pattern = "Warning: the spot still moved by {} in the last 2 s: film until it rests"
        out.append(words(pattern, _mm(record.still_moving, ".2f")))
    return out


def moved(up: float, right: float, error: float) -> Words:
    """Where a spot went on its target, with the standard deviation. [m]"""
    sides = (_mm(up, "+.2f"), _mm(right, "+.2f"), _mm(error, ".2f"))
    return words("{} up, {} right (±{})", *sides)


def _mm(metres: float, form: str) -> Quantity:
    return quantity(1e3 * metres, "mm", form)
