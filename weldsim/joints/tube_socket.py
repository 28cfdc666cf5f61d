"""Tube socket: a square or round tube standing on a flat plate, welded around its foot.

Plate top face z = 0, tube axis z, plate width along x and depth along y, all centred. Seams of a
square tube: front (+y side) and back along x, left (+x side) and right, as seen from the front,
along y. Seams of a round tube: the same names for quarters around 6, 12, 9 and 3 o'clock as seen
from the tube's free end, or s1, s2, ... from one given clock position clockwise to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal, TypeVar

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.gmsh_reading import Move
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints import round_kit, round_stub, square_stub
from weldsim.joints.assembly import Assembly, lines, spans
from weldsim.joints.clock_positions import clock_angles, clock_faults
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
from weldsim.joints.round_layout import Rings
from weldsim.joints.round_stub import RoundStub
from weldsim.joints.square_stub import SquareStub
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("tube end", "plate left", "plate right", "plate front", "plate back")
CLAMPED = ("plate left", "plate right")
POINTER = {"at": "tube end", "aim": "+z", "up": "+x"}
LABEL = "tube socket"
TACK = 3e-3  # m; length of a default tack
Stub = TypeVar("Stub", SquareStub, RoundStub)
ROOM = 2  # legs of plate beyond the tube, at least: the fillet and as much again


class Part(FilletSection):
    shape: Literal["square", "round"]
    tube_width: Size
    tube_wall: Size
    tube_length: Size
    plate_width: Size
    plate_depth: Size
    plate_thickness: Size
    clock: list[str] | None = None


def _penetration(part: Part) -> float:
    return part.penetration or part.tube_wall / 2


def square_of(part: Part, tacks: Sequence[Tack] = ()) -> SquareStub:
    """The square tube as a stub."""
    half = part.tube_width / 2
    ends = {abs(v - half) for t in tacks for v in (t.begin, t.finish)}
    return SquareStub(
        half, part.tube_wall, part.tube_length, land_height(part), _penetration(part),
        part.leg, part.passes, tack_ends=tuple(e for e in sorted(ends) if e < half - 1e-6),
    )  # fmt: skip


def round_of(part: Part) -> RoundStub:
    """The round tube as a stub."""
    return RoundStub(
        part.tube_width / 2, part.tube_wall, part.tube_length, land_height(part),
        _penetration(part), part.leg, part.passes, clock_angles(part.clock),
    )  # fmt: skip


def _rings(part: Part) -> Rings:
    return round_stub.plate_rings(round_of(part), part.plate_width / 2, part.plate_depth / 2)


def _move(part: Part) -> Move:
    return round_stub.plate_move(round_of(part), _rings(part))


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = []
    if part.tube_wall > part.tube_width / 4 + 1e-9:
        of = "half of the radius" if part.shape == "round" else "a quarter of the width"
        out.append(
            ("tube_wall", f"{mm(part.tube_wall)} is not allowed: at most {of}, "
             f"{mm(part.tube_width / 4)}")
        )  # fmt: skip
    out += fillet_faults(part, "tube", part.tube_wall, part.plate_thickness)
    room = part.tube_width + 2 * ROOM * part.leg
    for key in ("plate_width", "plate_depth"):
        if getattr(part, key) < room - 1e-9:
            out.append(
                (key, f"{mm(getattr(part, key))} is too small for the tube and its welds, "
                 f"allowed: from {mm(room)}")
            )  # fmt: skip
    if part.shape == "square" and isinstance(part.clock, list):
        out.append(("clock", "a square tube has no clock positions, allowed: with a round tube"))
    elif part.shape == "round":
        out += clock_faults(part.clock)
    return out


def seam_lines(part: Part) -> dict[str, SeamLine]:
    if part.shape == "square":
        return square_stub.seam_lines(square_of(part))
    return round_stub.seam_lines(round_of(part), _move(part))


def default_tacks(part: Part) -> tuple[Tack, ...]:
    if part.shape == "square":
        return square_stub.default_tacks(square_of(part), TACK, part.leg / 2)
    return round_stub.default_tacks(round_of(part), _move(part), TACK, part.leg / 2)


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    x, y, z = part.plate_width / 2, part.plate_depth / 2, -part.plate_thickness / 2
    found = {
        "tube end": (0, 0, part.tube_length), "plate right": (-x, 0, z), "plate left": (x, 0, z),
        "plate front": (0, y, z), "plate back": (0, -y, z),
    }  # fmt: skip
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, one a seam: (on the plate, on the tube)."""
    if part.shape == "round":
        return round_stub.gap_places(round_of(part), _move(part))
    return square_stub.gap_places(square_of(part))


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of plate, tube, land and fillets."""
    part = case.part
    if part.shape == "square":
        return _square(part, case.tacks, grade)
    stub, rings, move = _graded(round_of(part), grade), _rings(part), _move(part)
    seams = round_stub.seam_lines(stub, move)
    kit = round_kit.RoundKit(near_seams(seams.values(), grade), move, stub, grade)
    cut = round_stub.cuts(stub, move, case.tacks)
    round_kit.add_base(kit, stub, grade, cut, rings, -part.plate_thickness)
    round_kit.add_tube(kit, stub, grade, cut)
    round_kit.add_welds(kit, stub, cut)
    edge = rings[-1][0]
    _name(kit, edge, edge, part.tube_length)
    tube = np.pi * (stub.radius**2 - stub.inner**2) * (part.tube_length - stub.gap)
    return kit.finish({"part": _plate(part) + tube}, move, tolerance=0.02)


def _graded(stub: Stub, grade: Grade) -> Stub:
    return replace(stub, fine=grade.through_cells > 1)


def fused(part: Part, seam: str, points: np.ndarray) -> np.ndarray:
    """Which places in the land (P, 3) a seam fuses."""
    stub = square_of(part) if part.shape == "square" else round_of(part)
    return stub.fused(seam, points)


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis of the piece that may lean, and how far along it points lie from the joint. [m]"""
    return 2, points[:, 2] - land_height(case.part)


def _square(part: Part, tacks: Sequence[Tack], grade: Grade) -> Blocks:
    stub = _graded(square_of(part, tacks), grade)
    kit = Assembly(near_seams(square_stub.seam_lines(stub).values(), grade))
    x, y = part.plate_width / 2, part.plate_depth / 2
    inside = [*stub.ring, *stub.toes(False)]
    for across in spans(lines(*inside, -x, x)):
        for along in spans(lines(*inside, -y, y)):
            low = (-part.plate_thickness, 0.0)
            kit.box(across, along, low, "part", (None, None, through(grade)))
    square_stub.add_tube(kit, stub, grade)
    square_stub.add_welds(kit, stub)
    _name(kit, x, y, part.tube_length)
    tube = part.tube_width**2 - (part.tube_width - 2 * part.tube_wall) ** 2
    return kit.finish({"part": _plate(part) + tube * (part.tube_length - stub.gap)})


def _plate(part: Part) -> float:
    return part.plate_width * part.plate_depth * part.plate_thickness


def _name(kit: Assembly, x: float, y: float, top: float) -> None:
    """Name the end faces: plate edges at x and y, both ways, and the tube's end."""
    kit.name("plate right", lambda p: p[:, 0] < -x + 1e-6)
    kit.name("plate left", lambda p: p[:, 0] > x - 1e-6)
    kit.name("plate back", lambda p: p[:, 1] < -y + 1e-6)
    kit.name("plate front", lambda p: p[:, 1] > y - 1e-6)
    kit.name("tube end", lambda p: p[:, 2] > top - 1e-6)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return (
        f"tube socket, {part.shape} tube {mm(part.tube_width)} x {mm(part.tube_wall)}, "
        f"{mm(part.tube_length)} long, on a plate {mm(part.plate_width)} x "
        f"{mm(part.plate_depth)} x {mm(part.plate_thickness)}; "
        f"{land_words(part, _penetration(part))}; tube along z"
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
