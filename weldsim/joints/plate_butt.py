"""Plate butt: two plates edge to edge, one butt weld between them.

x runs along the seam from the start end, y across it, z up toward the welded face; y = 0 amid the
gap and z = 0 amid the thickness. Left (+y) and right are as seen along the seam from
the start end. Seam: butt, along +x on the upper face.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import Assembly
from weldsim.joints.butt_section import (
    Groove,
    GrooveSection,
    add_butt,
    cuts,
    end_tacks,
    groove_faults,
    groove_of,
    groove_words,
    plates_area,
)
from weldsim.joints.kit import Pair, mm, named, near_seams, straight_seam
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("start end", "finish end", "left edge", "right edge")
CLAMPED = ()
POINTER = {"at": "left edge", "aim": "+y", "up": "+z"}
LABEL = "plate butt"
BOW = ("start end", "mid length", "finish end")
SEAM = "butt"


class Part(GrooveSection):
    length: Size
    width: Size
    thickness: Size


def _groove(part: Part) -> Groove:
    return groove_of(part, part.thickness)


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = groove_faults(part, part.thickness)
    if out:
        return out
    cap = _groove(part).cap_width
    for key, what in (("width", "narrow"), ("length", "short")):
        if getattr(part, key) < cap - 1e-9:
            out.append(
                (key, f"{mm(getattr(part, key))} is too {what} for the weld, allowed: from as much "
                 f"as the cap is wide, {mm(cap)}")
            )  # fmt: skip
    return out


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """The one seam, its points amid the upper face."""
    groove = _groove(part)
    line = straight_seam(
        SEAM, (0, 0, groove.top), (part.length, 0, groove.top), (0, 0, -1), {"+x": 1, "-x": -1},
        groove.cap_width, groove.depth, passes=groove.passes, offsets=groove.offsets,
        root=groove.fused,
    )  # fmt: skip
    return {SEAM: line}


def default_tacks(part: Part) -> tuple[Tack, ...]:
    return end_tacks(SEAM, part.length, _groove(part).fused / 2)


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,); of an end, amid the left plate. [m]"""
    half = _groove(part).gap / 2
    middle, edge = half + part.width / 2, half + part.width
    found = {
        "start end": (0, middle, 0),
        "finish end": (part.length, middle, 0),
        "right edge": (part.length / 2, -edge, 0),
        "left edge": (part.length / 2, edge, 0),
        "mid length": (part.length / 2, middle, 0),
    }
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, at the root: (on the right, on the left)."""
    if not part.root_gap and not part.penetration:
        return {}
    groove = _groove(part)
    spots = {"start end": 0.0, "mid length": part.length / 2, "finish end": part.length}
    y, z = groove.gap / 2, -groove.top
    return {k: ((x, -y, z), (x, y, z)) for k, x in spots.items()}


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of both plates and the weld."""
    part, groove = case.part, _groove(case.part)
    kit = Assembly(near_seams(seam_lines(part).values(), grade))
    add_butt(kit, groove, SEAM, cuts(part.length, case.tacks, SEAM), part.width, grade)
    edge = groove.gap / 2 + part.width
    kit.name("start end", lambda p: p[:, 0] < 1e-6)
    kit.name("finish end", lambda p: p[:, 0] > part.length - 1e-6)
    kit.name("right edge", lambda p: p[:, 1] < -edge + 1e-6)
    kit.name("left edge", lambda p: p[:, 1] > edge - 1e-6)
    return kit.finish({"part": plates_area(groove, part.width) * part.length})


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis across the seam, and how far points of the left plate lie from its edge. [m]"""
    return 1, points[:, 1] - _groove(case.part).gap / 2


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return (
        f"plate butt, two plates {mm(part.length)} x {mm(part.width)} x {mm(part.thickness)}; "
        f"{groove_words(part, _groove(part))}; seam along x, welded from +z"
    )


KIND = JointKind(
    label=LABEL,
    part_section=Part,
    words=words,
    faces=lambda part: FACES,
    place=place,
    seam_lines=seam_lines,
    blocks=blocks,
    check=check,
    pointer=POINTER,
    bow_places=BOW,
    default_tacks=default_tacks,
    gap_places=gap_places,
    free_height=free_height,
)
