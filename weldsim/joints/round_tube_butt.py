"""Round-tube butt: two tubes end to end with a girth weld, axis x, the weld at x = 0.

The seam `girth` runs once around from the top (+z); natural direction counterclockwise as seen
from the +x end.
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

FACES = ("start end", "finish end")
HELD = ("start end",)
POINTER = {"at": "finish end", "aim": "+x", "up": "+z"}
LABEL = "round-tube butt"
PIECES = 72  # of the seam's polyline
AROUND = 24  # least cells around
TACK = 4e-3  # m, at most


class Part(JointSection):
    diameter: Size
    wall: Size
    length: Size
    root_gap: Gap = 0.0
    bevel: quantity("angle", "not negative") = 0.0
    root_face: Gap = 0.0
    cap_height: Gap | None = None
    penetration: Size | None = None
    passes: int = 1


def check(part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = groove_faults(part, part.wall, "wall")
    if part.wall > part.diameter / 4 + 1e-9:
        out.append(
            ("wall", f"{mm(part.wall)} is not allowed: at most half of the tube's radius, "
             f"{mm(part.diameter / 4)}")
        )  # fmt: skip
    if not out:
        room = 2 * groove_of(part, part.wall).cap_half
        if part.length < room:
            out.append(("length", f"{mm(part.length)} is too short, allowed: from {mm(room)}"))
    return out


def _around(angle, radius):
    """Places at an angle counterclockwise from the top as seen from +x, (M, 3). [m]"""
    angle = np.asarray(angle, dtype=float)
    return np.stack(
        [np.zeros_like(angle), -radius * np.sin(angle), radius * np.cos(angle)], axis=-1
    )


def seam_lines(part) -> dict:
    from weldsim.path import SeamLine

    groove = groove_of(part, part.wall)
    angle = np.linspace(0.0, 2 * np.pi, PIECES + 1)
    points = _around(angle, part.diameter / 2)
    seam = SeamLine(
        "girth", points, -_around(angle, 1.0), {"counterclockwise": 1, "clockwise": -1},
        groove.face_width, groove.depth / groove.passes, True, groove.passes,
        groove_offsets(groove),
    )  # fmt: skip
    return {"girth": seam}


def default_tacks(part) -> tuple:
    """Tacks at 12, 3, 6 and 9 o'clock; that at 12 begins with the seam."""
    around = seam_lines(part)["girth"].length
    length = min(TACK, around / 16)
    middles = [length / 2, around / 4, around / 2, 3 * around / 4]
    return tuple(Tack("girth", m - length / 2, m + length / 2, part.wall / 2) for m in middles)


def place(part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    reach = part.root_gap / 2 + part.length
    found = {"start end": (-reach, 0, 0), "finish end": (reach, 0, 0)}
    if name not in found:
        raise CaseError(f"place {name} is unknown on a tube butt, allowed: {', '.join(found)}")
    return np.array(found[name], dtype=float)


def gap_places(part) -> dict:
    """Root edges of the two tubes at four clock positions."""
    half, radius = groove_of(part, part.wall).gap / 2, part.diameter / 2 - part.wall
    out = {}
    for name, angle in (("top", 0), ("left", np.pi / 2), ("bottom", np.pi), ("right", 1.5 * np.pi)):
        _, y, z = _around(angle, radius)
        out[name] = ((-half, y, z), (half, y, z))
    return out


def free_height(case, points):
    """Axis of the tube that may lean, and how far from the joint points lie. [m]"""
    return 0, points[:, 0]


def blocks(case, grade):
    """Blocks of both tubes and the weld, laid out flat and wrapped around x."""
    part = case.part
    groove, radius = groove_of(part, part.wall), part.diameter / 2
    seam = seam_lines(part)["girth"]
    around = 2 * np.pi * radius
    flat = straight_seam(
        "girth", (0, 0, part.wall), (around, 0, part.wall), (0, 0, -1), {}, seam.width, seam.depth
    )
    size = near_seams([flat], grade)
    kit = Assembly(size)
    wanted = around / float(size(np.array([[0.0, 0.0, part.wall]]))[0])
    cells = 4 * int(np.ceil(max(AROUND, wanted) / 4))
    scale = around / seam.length  # the seam is a chain of chords
    ends = [scale * e for t in case.tacks for e in (t.begin, t.finish)]
    quarters = [around * k / 4 for k in range(5)]
    along = spans(lines(*quarters, *ends, near=1e-5))
    reach = part.root_gap / 2 + part.length
    add_groove(
        kit, groove, "girth", along, (reach, reach), grade,
        lambda span: max(1, round((span[1] - span[0]) / around * cells)),
    )  # fmt: skip
    kit.name("start end", lambda p: p[:, 1] < -reach + 1e-7)
    kit.name("finish end", lambda p: p[:, 1] > reach - 1e-7)

    def wrap(points):
        out = np.empty_like(points)
        angle, r = points[:, 0] / radius, radius - part.wall + points[:, 2]
        out[:, 0], out[:, 1], out[:, 2] = points[:, 1], -r * np.sin(angle), r * np.cos(angle)
        return out

    tube = np.pi * (radius**2 - (radius - part.wall) ** 2)
    share = plate_area(groove, (reach, reach)) / part.wall
    return kit.finish({"part": tube * share}, wrap, tolerance=0.02)


def words(part) -> str:
    """One line for `weldsim check`."""
    groove = groove_of(part, part.wall)
    return (
        f"round-tube butt, two tubes {mm(part.diameter)} x {mm(part.wall)}, {mm(part.length)} long "
        f"each; {groove_words(groove)}; axis x, girth seam at x = 0"
    )
