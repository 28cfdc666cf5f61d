"""Plate butt: two plates edge to edge, one seam `butt` along x, welded from +z.

x along the seam from the start end, y across it from the middle of the groove, z = 0 at half
thickness.
"""

from __future__ import annotations

import numpy as np

from weldsim.case_keys import Size, quantity
from weldsim.errors import CaseError
from weldsim.joints.assembly import Assembly, lines, spans
from weldsim.joints.common import Gap, JointSection, Tack, mm, near_seams, straight_seam
from weldsim.joints.section import (
    add_groove,
    groove_faults,
    groove_of,
    groove_offsets,
    groove_words,
    plate_area,
)

FACES = ("start end", "finish end", "left edge", "right edge")
HELD = ("left edge",)
POINTER = {"at": "right edge", "aim": "+y", "up": "+z"}
LABEL = "plate butt"
BOW = ("start end", "middle", "finish end")


class Part(JointSection):
    length: Size
    width: Size
    thickness: Size
    root_gap: Gap = 0.0
    bevel: quantity("angle", "not negative") = 0.0
    root_face: Gap = 0.0
    cap_height: Gap | None = None
    penetration: Size | None = None
    passes: int = 1


def check(part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = groove_faults(part, part.thickness, "thickness")
    if not out:
        room = 2 * groove_of(part, part.thickness).cap_half
        if part.width < room:
            out.append(("width", f"{mm(part.width)} is too narrow, allowed: from {mm(room)}"))
    return out


def seam_lines(part) -> dict:
    groove = groove_of(part, part.thickness)
    top = part.thickness / 2
    seam = straight_seam(
        "butt", (0, 0, top), (part.length, 0, top), (0, 0, -1), {"+x": 1, "-x": -1},
        groove.face_width, groove.depth / groove.passes, passes=groove.passes,
        offsets=groove_offsets(groove),
    )  # fmt: skip
    return {"butt": seam}


def default_tacks(part) -> tuple:
    length = min(10e-3, part.length / 5)
    return tuple(
        Tack("butt", begin, begin + length, part.thickness / 2)
        for begin in (0.0, part.length - length)
    )


def place(part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    half = part.root_gap / 2 + part.width
    found = {
        "start end": (0, -half / 2, 0), "middle": (part.length / 2, -half / 2, 0),
        "finish end": (part.length, -half / 2, 0), "left edge": (part.length / 2, -half, 0),
        "right edge": (part.length / 2, half, 0),
    }  # fmt: skip
    if name not in found:
        raise CaseError(f"place {name} is unknown on a plate butt, allowed: {', '.join(found)}")
    return np.array(found[name], dtype=float)


def gap_places(part) -> dict:
    """Root edges of the two plates at the ends and the middle of the seam."""
    half, low = groove_of(part, part.thickness).gap / 2, -part.thickness / 2
    at = {"start": 0.0, "middle": part.length / 2, "finish": part.length}
    return {k: ((x, -half, low), (x, half, low)) for k, x in at.items()}


def free_height(case, points):
    """Axis of the plate that may lean, and how far from the joint points lie. [m]"""
    return 1, points[:, 1]


def blocks(case, grade):
    """Blocks of plates and weld."""
    part = case.part
    groove = groove_of(part, part.thickness)
    low = -part.thickness / 2
    kit = Lifted(near_seams(seam_lines(part).values(), grade), low)
    ends = [e for t in case.tacks for e in (t.begin, t.finish)]
    along = spans(lines(0.0, part.length, *ends))
    reach = part.root_gap / 2 + part.width
    add_groove(kit, groove, "butt", along, (reach, reach), grade, lambda span: None)
    kit.name("start end", lambda p: p[:, 0] < 1e-7)
    kit.name("finish end", lambda p: p[:, 0] > part.length - 1e-7)
    kit.name("left edge", lambda p: p[:, 1] < -reach + 1e-7)
    kit.name("right edge", lambda p: p[:, 1] > reach - 1e-7)
    return kit.finish({"part": plate_area(groove, (reach, reach)) * part.length})


class Lifted(Assembly):
    """Assembly that shifts what it is given along z."""

    def __init__(self, size, low: float):
        super().__init__(size)
        self.low = low

    def point(self, place) -> int:
        return super().point(np.asarray(place) + np.array([0.0, 0.0, self.low]))


def words(part) -> str:
    """One line for `weldsim check`."""
    groove = groove_of(part, part.thickness)
    return (
        f"plate butt, two plates {mm(part.length)} x {mm(part.width)} x {mm(part.thickness)}; "
        f"{groove_words(groove)}; seam along x, welded from +z"
    )
