"""Round-tube saddle: a branch coped to fit on a chord at a right angle, welded around its foot.

Chord axis along x, branch axis z, the chord's crown at z = 0; the chord's wall is not cut open
under the branch. The branch is cut along its axis, and the leg on it is measured that way; the leg
on the chord is measured on its surface, square to the line where both surfaces meet. Where they
come close to one plane (the flanks of equal diameters) the fillet is a bead on the outside.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints import round_kit, round_stub
from weldsim.joints.assembly import lines, spans
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
from weldsim.joints.round_stub import RoundStub
from weldsim.joints.saddle_map import SaddleMap
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("branch end", "chord start", "chord end")
CLAMPED = ("chord start", "chord end")
POINTER = {"at": "branch end", "aim": "+z", "up": "+x"}
LABEL = "round-tube saddle"
TACK = 3e-3  # m; length of a default tack
ROOM = 2  # legs of chord beyond the branch, at least: the fillet and as much again
FLANKS = (0.0, np.pi)  # rad on the clock; where the line both surfaces meet on may bend sharply
PATCH = 1.25  # of the toe: half size of the patch of the chord around the branch
SHARE_BELOW = 0.15  # of the way from the toe to the chord's underside, at most, for the patch


class Part(FilletSection):
    branch_diameter: Size
    branch_wall: Size
    branch_length: Size
    chord_diameter: Size
    chord_wall: Size
    chord_length: Size
    clock: list[str] | None = None


def _penetration(part: Part) -> float:
    return part.penetration or part.branch_wall / 2


def stub_of(part: Part) -> RoundStub:
    """The branch as a stub."""
    return RoundStub(
        part.branch_diameter / 2, part.branch_wall, part.branch_length,
        land_height(part), _penetration(part), part.leg, part.passes,
        clock_angles(part.clock),
    )  # fmt: skip


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = []
    for tube in ("branch", "chord"):
        diameter, wall = getattr(part, f"{tube}_diameter"), getattr(part, f"{tube}_wall")
        if wall > diameter / 4 + 1e-9:
            out.append(
                (f"{tube}_wall", f"{mm(wall)} is not allowed: at most half of the radius, "
                 f"{mm(diameter / 4)}")
            )  # fmt: skip
    if part.branch_diameter > part.chord_diameter + 1e-9:
        out.append(
            ("branch_diameter", f"{mm(part.branch_diameter)} is wider than the chord, allowed: "
             f"up to {mm(part.chord_diameter)}")
        )  # fmt: skip
    out += fillet_faults(part, "branch", part.branch_wall, part.chord_wall)
    room = part.branch_diameter + 2 * ROOM * part.leg
    if part.chord_length < room - 1e-9:
        out.append(
            ("chord_length", f"{mm(part.chord_length)} is too short for the branch and its welds, "
             f"allowed: from {mm(room)}")
        )  # fmt: skip
    return out + clock_faults(part.clock)


def _layout(part: Part) -> tuple[list, float, float]:
    """Rings of the patch (see `round_layout.widen`) and flat half sizes of the whole chord. [m]"""
    stub, radius, half = stub_of(part), part.chord_diameter / 2, part.chord_length / 2
    patch_x = PATCH * stub.toe
    if patch_x > half - stub.leg:  # no sliver at the end
        patch_x = half
    toe = radius * np.arcsin(min(stub.radius / radius, 1.0)) + stub.leg
    under = np.pi * radius
    patch_s = min(PATCH * toe, toe + SHARE_BELOW * (under - toe))
    edge = PATCH * stub.toe
    rings = [(stub.toe, None), (edge, (patch_x, patch_s))]
    return rings, edge + half - patch_x, edge + under - patch_s


def move_of(part: Part, whole: bool = False) -> SaddleMap:
    """Map of the flat layout to the part, points (P, 3) -> (P, 3). [m]

    Parameters
    ----------
    part : Part
    whole : bool
        The fillet is not cut in the middle of its sides.
    """
    rings, _, _ = _layout(part)
    return SaddleMap(stub_of(part), part.chord_diameter / 2, part.chord_wall, rings, whole)


def seam_lines(part: Part) -> dict[str, SeamLine]:
    return round_stub.seam_lines(stub_of(part), move_of(part))


def default_tacks(part: Part) -> tuple[Tack, ...]:
    return round_stub.default_tacks(stub_of(part), move_of(part), TACK, part.leg / 2)


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    found = {
        "branch end": (0, 0, part.branch_length),
        "chord start": (-part.chord_length / 2, 0, -part.chord_diameter / 2),
        "chord end": (part.chord_length / 2, 0, -part.chord_diameter / 2),
    }
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, one a seam: (on the chord, on the branch)."""
    return round_stub.gap_places(stub_of(part), move_of(part))


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of chord, branch, land and fillet."""
    part = case.part
    stub = replace(stub_of(part), fine=grade.through_cells > 1)
    move = move_of(part, whole=not stub.halves)
    rings, end, under = _layout(part)
    seams = round_stub.seam_lines(stub, move)
    kit = round_kit.RoundKit(near_seams(seams.values(), grade), move, stub, grade)
    cut = round_stub.cuts(stub, move, case.tacks, FLANKS)
    low = -part.chord_wall
    round_kit.add_base(kit, stub, grade, cut, rings, low)
    edge = rings[-1][0]
    patch_x, patch_y = ([edge * v for v in cut[k]] for k in (0, 3))
    for x in spans(lines(-end, *patch_x, end)):
        for y in spans(lines(-under, *patch_y, under)):
            if max(abs(sum(x)), abs(sum(y))) > 2 * edge:
                kit.box(x, y, (low, 0.0), "part", (None, None, through(grade)))
    round_kit.add_tube(kit, stub, grade, cut)
    round_kit.add_welds(kit, stub, cut)
    kit.name("chord start", lambda p: p[:, 0] < -end + 1e-6)
    kit.name("chord end", lambda p: p[:, 0] > end - 1e-6)
    kit.name("branch end", lambda p: p[:, 2] > part.branch_length - 1e-6)
    return kit.finish({"part": _chord(part) + branch_volume(part)}, move, tolerance=0.02)


def fused(part: Part, seam: str, points: np.ndarray) -> np.ndarray:
    """Which places in the land (P, 3) a seam fuses."""
    return stub_of(part).fused(seam, points)


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis of the piece that may lean, and how far along it points lie from the joint. [m]"""
    return 2, points[:, 2] - land_height(case.part)


def _chord(part: Part) -> float:
    radius = part.chord_diameter / 2
    return np.pi * (radius**2 - (radius - part.chord_wall) ** 2) * part.chord_length


def branch_volume(part: Part) -> float:
    """Volume of the coped branch [m3]: up to its end from the chord's surface and the gap."""
    stub, radius = stub_of(part), part.chord_diameter / 2
    nodes, weights = np.polynomial.legendre.leggauss(40)
    rho = stub.inner + (nodes + 1) / 2 * stub.wall
    angle = 2 * np.pi * (np.arange(720) + 0.5) / 720
    across = rho[:, None] * np.sin(angle)
    height = stub.length - stub.gap + radius - np.sqrt(radius**2 - across**2)
    return float(weights @ (rho * height.mean(axis=1)) * stub.wall / 2 * 2 * np.pi)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    return (
        f"round-tube saddle, branch {mm(part.branch_diameter)} x {mm(part.branch_wall)}, "
        f"{mm(part.branch_length)} long, on chord {mm(part.chord_diameter)} x "
        f"{mm(part.chord_wall)}, {mm(part.chord_length)} long; "
        f"{land_words(part, _penetration(part))}; chord along x, branch along z"
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
