"""Round-tube butt: two round tubes end to end, one weld around.

Axis along x, x = 0 amid the gap; z up, 12 o'clock at +z. Seam: girth, once around from 12 o'clock,
counterclockwise as seen from the finish end (+x), so that 9 o'clock comes next, at -y. Laid out
flat, the way around comes first, then x, then the wall; wrapping it up closes it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.gmsh_reading import Move
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import Assembly
from weldsim.joints.butt_section import (
    TACK,
    Groove,
    GrooveSection,
    add_butt,
    cuts,
    groove_faults,
    groove_of,
    groove_words,
)
from weldsim.joints.kit import Pair, mm, named, near_seams
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("start end", "finish end")
CLAMPED = ("start end",)
POINTER = {"at": "finish end", "aim": "+x", "up": "+z"}
LABEL = "round-tube butt"
BOW = ("start end", "mid length", "finish end")
SEAM = "girth"
PIECES = 96  # straight pieces of the seam; its length is 0.02 % short of the circle's
TURN = np.pi / 12  # rad; largest turn of one cell: 24 around
CLOCK = {"12:00": 0.0, "9:00": 0.25, "6:00": 0.5, "3:00": 0.75}  # shares of the way around
TACK_SHARE = 1 / 16  # of the way around, at most, for a default tack


class Part(GrooveSection):
    diameter: Size
    wall: Size
    length: Size


def _groove(part: Part) -> Groove:
    return groove_of(part, part.wall)


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    if part.wall > part.diameter / 4 + 1e-9:
        return [
            ("wall", f"{mm(part.wall)} is not allowed: at most half of the radius, "
             f"{mm(part.diameter / 4)}")
        ]  # fmt: skip
    out = groove_faults(part, part.wall)
    if out:
        return out
    cap = _groove(part).cap_width
    if part.length < cap - 1e-9:
        out.append(
            ("length", f"{mm(part.length)} is too short for the weld, allowed: from as much as the "
             f"cap is wide, {mm(cap)}")
        )  # fmt: skip
    return out


def _around(part: Part) -> float:
    """Way around the outside. [m]"""
    return np.pi * part.diameter


def move_of(part: Part) -> Move:
    """Map of the flat layout (way, x, height in the wall) to the tube, (P, 3) -> (P, 3) [m]."""
    radius = part.diameter / 2

    def move(points: np.ndarray) -> np.ndarray:
        angle = points[:, 0] / radius
        r = radius - part.wall / 2 + points[:, 2]
        return np.column_stack([points[:, 1], -r * np.sin(angle), r * np.cos(angle)])

    return move


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """The one seam, its points on the outside and the last one the first."""
    groove = _groove(part)
    angle = 2 * np.pi * np.arange(PIECES + 1) / PIECES
    angle[-1] = 0.0
    out = np.column_stack([np.zeros_like(angle), -np.sin(angle), np.cos(angle)])
    return {
        SEAM: SeamLine(
            SEAM, part.diameter / 2 * out, -out, {"counterclockwise": 1, "clockwise": -1},
            groove.cap_width, groove.depth, True, groove.passes, groove.offsets, groove.fused,
        )
    }  # fmt: skip


def default_tacks(part: Part) -> tuple[Tack, ...]:
    """Tacks that begin at 12, 9, 6 and 3 o'clock."""
    way = seam_lines(part)[SEAM].length
    long, size = min(TACK, TACK_SHARE * way), _groove(part).fused / 2
    return tuple(Tack(SEAM, s * way, s * way + long, size) for s in CLOCK.values())


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,): amid the wall at 12 o'clock. [m]"""
    half, z = _groove(part).gap / 2, (part.diameter - part.wall) / 2
    found = {
        "start end": (-half - part.length, 0, z),
        "finish end": (half + part.length, 0, z),
        "mid length": (half + part.length / 2, 0, z),
    }
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, inside: (start side, finish side)."""
    if not part.root_gap and not part.penetration:
        return {}
    groove = _groove(part)
    out = {}
    for name, share in CLOCK.items():
        flat = [(share * _around(part), x, -groove.top) for x in (-groove.gap / 2, groove.gap / 2)]
        low, high = move_of(part)(np.array(flat))
        out[name] = (tuple(low.tolist()), tuple(high.tolist()))
    return out


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of both tubes and the weld."""
    part, groove, move = case.part, _groove(case.part), move_of(case.part)
    line = seam_lines(part)
    size = near_seams(line.values(), grade)
    way = line[SEAM].length
    to_arc = _around(part) / way  # tacks are measured along the straight pieces
    kit = Assembly(lambda flat: size(move(np.asarray(flat))))
    fine = float(size(line[SEAM].points[:1])[0])

    def count(begin: float, finish: float) -> int:
        turn = 2 * (finish - begin) / part.diameter
        return max(1, int(np.ceil(max((finish - begin) / fine, turn / TURN) - 0.05)))

    along = [(to_arc * a, to_arc * b) for a, b in cuts(way, case.tacks, SEAM)]
    add_butt(kit, groove, SEAM, along, part.length, grade, count)
    edge = groove.gap / 2 + part.length
    kit.name("start end", lambda p: p[:, 1] < -edge + 1e-6)
    kit.name("finish end", lambda p: p[:, 1] > edge - 1e-6)
    return kit.finish({"part": tubes_volume(part)}, move, tolerance=0.02)


def tubes_volume(part: Part) -> float:
    """Volume of both tubes [m3]: two hollow cylinders less what the bevels take off."""
    groove, radius = _groove(part), part.diameter / 2
    tube = np.pi * (radius**2 - (radius - part.wall) ** 2) * part.length
    centroid = radius - (groove.top - groove.kink) / 3  # of the triangle, its base outside
    return 2 * (tube - 2 * np.pi * centroid * groove.bevelled)


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis of the tube that may lean, and how far along it points lie from the joint. [m]"""
    return 0, points[:, 0] - _groove(case.part).gap / 2


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return (
        f"round-tube butt, two tubes {mm(part.diameter)} x {mm(part.wall)}, {mm(part.length)} "
        f"long; {groove_words(part, _groove(part))}; axis along x"
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
    clamped_faces=CLAMPED,
    pointer=POINTER,
    bow_places=BOW,
    default_tacks=default_tacks,
    gap_places=gap_places,
    free_height=free_height,
)
