"""Square-tube tee: a branch standing on a chord, four seams around its foot.

Chord axis x, branch axis z; the chord's top face is z = 0 and its middle x = y = 0. Corners of
both tubes are sharp. Seams: front (+y side) and back (-y side) along x; left (+x side) and right
(-x side), as seen from the front, along y. With a branch as wide as the chord, front and
back are beads over flush walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints import square_stub
from weldsim.joints.assembly import Assembly, lines, spans
from weldsim.joints.kit import (
    FilletSection,
    Pair,
    fillet_faults,
    land_height,
    land_words,
    mm,
    named,
    near_seams,
    through,
)
from weldsim.joints.protocol import JointKind
from weldsim.joints.square_stub import SquareStub
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("branch end", "chord start", "chord end")
CLAMPED = ("chord start", "chord end")
POINTER = {"at": "branch end", "aim": "+z", "up": "+x"}
LABEL = "square-tube tee"
CAP_SHARE = 0.3  # height of a flush bead over its leg


class Part(FilletSection):
    branch_width: Size
    branch_wall: Size
    branch_length: Size
    chord_width: Size
    chord_wall: Size
    chord_length: Size


def _penetration(part: Part) -> float:
    return part.penetration or part.branch_wall / 2


def stub_of(part: Part, tacks: Sequence[Tack] = ()) -> SquareStub:
    """The branch as a stub."""
    half = part.branch_width / 2
    ends = {abs(v - half) for t in tacks for v in (t.begin, t.finish)}
    flush = abs(part.branch_width - part.chord_width) < 1e-6
    return SquareStub(
        half, part.branch_wall, part.branch_length, land_height(part),
        _penetration(part), part.leg, part.passes, flush,
        tuple(e for e in sorted(ends) if e < half - 1e-6), CAP_SHARE * part.leg,
    )  # fmt: skip


def piece_faults(part: Any, piece: str) -> list[tuple[str, str]]:
    """What does not fit where a square tube stands on a chord, as (key, sentence).

    Parameters
    ----------
    part : FilletSection
        With width and wall of the chord and of what stands there.
    piece : str
        What stands there, as in the part's keys: branch or post.
    """
    out = []
    for tube in (piece, "chord"):
        width, wall = getattr(part, f"{tube}_width"), getattr(part, f"{tube}_wall")
        if wall > width / 4:
            out.append(
                (f"{tube}_wall", f"{mm(wall)} is not allowed: at most a quarter of the width, "
                 f"{mm(width / 4)}")
            )  # fmt: skip
    width = getattr(part, f"{piece}_width")
    shoulder = (part.chord_width - width) / 2
    if shoulder < -1e-9:
        out.append(
            (f"{piece}_width", f"{mm(width)} is wider than the chord, allowed: up to "
             f"{mm(part.chord_width)}")
        )  # fmt: skip
    elif 1e-6 < shoulder < part.leg - 1e-9:
        out.append(
            ("leg", f"{mm(part.leg)} does not fit on the chord beside the {piece}, allowed: up to "
             f"{mm(shoulder)}, or a {piece} as wide as the chord")
        )  # fmt: skip
    return out + fillet_faults(part, piece, getattr(part, f"{piece}_wall"), part.chord_wall)


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = piece_faults(part, "branch")
    room = part.branch_width + 2 * part.leg + 2 * part.chord_wall
    if part.chord_length < room:
        out.append(
            ("chord_length", f"{mm(part.chord_length)} is too short for the branch and its welds, "
             f"allowed: from {mm(room)}")
        )  # fmt: skip
    return out


def seam_lines(part: Part) -> dict[str, SeamLine]:
    return square_stub.seam_lines(stub_of(part))


def default_tacks(part: Part) -> tuple[Tack, ...]:
    return square_stub.default_tacks(stub_of(part), 3e-3, part.leg / 2)


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    found = {
        "branch end": (0, 0, part.branch_length),
        "chord start": (-part.chord_length / 2, 0, -part.chord_width / 2),
        "chord end": (part.chord_length / 2, 0, -part.chord_width / 2),
    }
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, one a side: (on the base, on the branch)."""
    return square_stub.gap_places(stub_of(part))


def add_chord(
    kit: Assembly, part: Any, stub: SquareStub, xs: Sequence[float], grade: Grade
) -> None:
    """Blocks of a chord under what stands on it.

    Parameters
    ----------
    kit : Assembly
        Where they go.
    part : record with `chord_width` and `chord_wall`
        The chord. [m]
    stub : SquareStub
        What stands there, everywhere alike.
    xs : sequence of float
        Grid lines along the chord. [m]
    grade : Grade
        How fine.
    """
    c, wall = part.chord_width / 2, part.chord_wall
    inner = c - wall
    own = (inner, -inner)
    ys = lines(*stub.ring, *stub.toes(stub.flush, own), -c, -inner, inner, c)
    layers = through(grade)
    top = lines(-wall, 0.0, *([-stub.leg] if stub.flush and stub.leg < wall else []))
    for x in spans(xs):
        for y in spans(ys):
            for z in spans(top):
                kit.box(x, y, z, "part", (None, None, layers if len(top) == 2 else 1))
    low = -part.chord_width
    sides = lines(low, low + wall, -wall, *([-stub.leg] if stub.flush and stub.leg > wall else []))
    for x in spans(xs):
        for y in spans([v for v in ys if abs(v) >= inner - 1e-9]):
            if y[0] < 0 < y[1]:
                kit.box(x, y, (low, low + wall), "part", (None, None, layers))
                continue
            for z in spans(sides):
                kit.box(x, y, z, "part", (None, None, layers if z[0] == low else None))


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of chord, branch, land and fillets."""
    part = case.part
    stub = replace(stub_of(part, case.tacks), fine=grade.through_cells > 1)
    seams = seam_lines(part)
    kit = Assembly(near_seams(seams.values(), grade))
    wall = part.chord_wall
    inner = part.chord_width / 2 - wall
    half = part.chord_length / 2
    add_chord(kit, part, stub, lines(*stub.ring, *stub.toes(False), -half, half), grade)
    square_stub.add_tube(kit, stub, grade)
    square_stub.add_welds(kit, stub, (inner, -inner), wall)
    kit.name("chord start", lambda p: p[:, 0] < -half + 1e-6)
    kit.name("chord end", lambda p: p[:, 0] > half - 1e-6)
    kit.name("branch end", lambda p: p[:, 2] > part.branch_length - 1e-6)
    tube = part.branch_width**2 - (part.branch_width - 2 * part.branch_wall) ** 2
    chord = part.chord_width**2 - (part.chord_width - 2 * wall) ** 2
    volume = chord * part.chord_length + tube * (part.branch_length - stub.gap)
    return kit.finish({"part": volume})


def fused(part: Part, seam: str, points: np.ndarray) -> np.ndarray:
    """Which places in the land (P, 3) a seam fuses."""
    return stub_of(part).fused(seam, points)


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis of the piece that may lean, and how far along it points lie from the joint. [m]"""
    return 2, points[:, 2] - stub_of(case.part).gap


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return (
        f"square-tube tee, branch {mm(part.branch_width)} x {mm(part.branch_wall)}, "
        f"{mm(part.branch_length)} long, on chord {mm(part.chord_width)} x {mm(part.chord_wall)}, "
        f"{mm(part.chord_length)} long; {land_words(part, _penetration(part))}; "
        "chord along x, branch along z"
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
    default_tacks=default_tacks,
    gap_places=gap_places,
    free_height=free_height,
    fused=fused,
)
