"""Positions on a clock face, as a tube is marked around, seen from its free end.

The front (+y) is at 6 o'clock, nearest to one who stands before it, the back at 12; right is at 3.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np

HALF_DAY = 720  # minutes once around
LEAST_APART = 30  # minutes on the clock (15 degrees) from one position to the next


def minutes(text: str) -> int | None:
    """Minutes past 12 of a position such as "10:30", 0 to 719; None when it is none."""
    found = re.fullmatch(r"(\d{1,2}):(\d\d)", str(text))
    if not found or not 1 <= int(found[1]) <= 12 or int(found[2]) > 59:
        return None
    return int(found[1]) % 12 * 60 + int(found[2])


def clock_angles(clock: Any) -> tuple[float, ...]:
    """Angles of clock positions, clockwise from +y, which is at 6 o'clock [rad]."""
    past = ((minutes(text) or 0) + HALF_DAY // 2 for text in clock or ())
    return tuple(p % HALF_DAY * 2 * np.pi / HALF_DAY for p in past)


def clock_faults(clock: Any) -> list[tuple[str, str]]:
    """What is wrong with a list of clock positions, as (key, sentence)."""
    if not isinstance(clock, list | tuple):
        return []
    read = {text: minutes(text) for text in map(str, clock)}
    bad = [text for text in clock if read[str(text)] is None]
    if bad:
        return [("clock", f"{bad[0]!r} is not a clock position, allowed: 1:00 to 12:59")]
    if len(clock) < 2:
        return [("clock", f"{len(clock)} positions are not enough, allowed: from 2")]
    past = [past for text in clock if (past := read[str(text)]) is not None]
    if len(set(past)) < len(past):
        return [("clock", "a position is given twice, allowed: different positions")]
    steps = [(b - a) % HALF_DAY for a, b in zip(past, [*past[1:], past[0]], strict=True)]
    if sum(steps) != HALF_DAY:
        return [("clock", "the positions are not in order, allowed: once around, clockwise")]
    if min(steps) < LEAST_APART:
        return [
            ("clock", "two positions are too near each other, allowed: from half an hour apart")
        ]
    return []
