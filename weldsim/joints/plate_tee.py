"""Plate tee: a stem plate standing on a base plate, fillets along its foot.

x runs along the seams from the start end, y across, z up the stem; the base's upper face is z = 0
and the stem's middle y = 0. The stem's height is counted from the base. Seams along +x: front on
the +y side, back on the -y side.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.assembly import (
    Assembly,
    add_fillet,
    fillet_area,
    fillet_offsets,
    fillet_pass,
    fillet_shares,
    lines,
    spans,
)
from weldsim.joints.butt_section import cuts, end_tacks
from weldsim.joints.kit import (
    FilletSection,
    Pair,
    fill,
    land_height,
    land_words,
    mm,
    named,
    near_seams,
    straight_seam,
    through,
)
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

FACES = ("start end", "finish end", "stem top", "base front edge", "base back edge")
CLAMPED = ()
POINTER = {"at": "stem top", "aim": "+z", "up": "+y"}
LABEL = "plate tee"
BOW = ("start end", "mid length", "finish end")
SIDES = {"both": {"front": 1, "back": -1}, "front": {"front": 1}, "back": {"back": -1}}
DEEPEST = {"both": 0.45, "front": 0.9, "back": 0.9}  # of the stem: some open land is left
USUAL = 0.25  # of the stem's thickness: how deep the land is fused, where it is not stated
ROOM = 2  # legs of base beyond the stem, at least: the fillet and as much again


class Part(FilletSection):
    length: Size
    base_width: Size
    base_thickness: Size
    stem_height: Size
    stem_thickness: Size
    sides: Literal["both", "front", "back"] = "both"


def _penetration(part: Part) -> float:
    return part.penetration or USUAL * part.stem_thickness


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = []
    thin = min(part.base_thickness, part.stem_thickness)
    if part.leg > 1.5 * thin + 1e-9:
        out.append(
            ("leg", f"{mm(part.leg)} is larger than the plates allow: up to one and a half of the "
             f"thinner one, {mm(1.5 * thin)}")
        )  # fmt: skip
    deepest = DEEPEST[part.sides] * part.stem_thickness
    if part.penetration is not None and part.penetration > deepest + 1e-9:
        sides = "welded from both sides" if part.sides == "both" else "welded from one side"
        out.append(
            ("penetration", f"{mm(part.penetration)} is not allowed: at most "
             f"{DEEPEST[part.sides]:g} of a stem {sides}, {mm(deepest)}")
        )  # fmt: skip
    if part.root_gap > part.stem_thickness + 1e-9:
        out.append(
            ("root_gap", f"{mm(part.root_gap)} is not allowed: at most the stem's thickness, "
             f"{mm(part.stem_thickness)}")
        )  # fmt: skip
    room = part.stem_thickness + 2 * ROOM * part.leg
    if part.base_width < room - 1e-9:
        out.append(
            ("base_width", f"{mm(part.base_width)} is too narrow for the stem and its welds, "
             f"allowed: from {mm(room)}")
        )  # fmt: skip
    for key in ("stem_height", "length"):
        least = 3 * part.leg + (land_height(part) if key == "stem_height" else 0.0)
        if getattr(part, key) < least - 1e-9:
            more = " and the gap" if key == "stem_height" else ""
            out.append(
                (key, f"{mm(getattr(part, key))} is not allowed: from three legs{more}, "
                 f"{mm(least)}")
            )  # fmt: skip
    if not 1 <= part.passes <= 3:
        out.append(("passes", f"{part.passes} is not allowed: 1, 2 or 3"))
    return out


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """The seams of the welded sides, their points amid the faces of the fillets."""
    half, leg = part.stem_thickness / 2, part.leg
    out = {}
    for name, side in SIDES[part.sides].items():
        y, z = side * (half + leg / 2), land_height(part) + leg / 2
        # across = inward x travel points to the stem in front and behind, away from the foot
        offsets = tuple((-side * a, o) for a, o in fillet_offsets(leg, part.passes))
        out[name] = straight_seam(
            name, (0, y, z), (part.length, y, z), (0, -side, -1), {"+x": 1, "-x": -1},
            np.sqrt(2) * leg, leg / np.sqrt(2) + _penetration(part) / 2, passes=part.passes,
            offsets=offsets,
        )  # fmt: skip
    return out


def default_tacks(part: Part) -> tuple[Tack, ...]:
    """Tacks at both ends of each seam."""
    sides = SIDES[part.sides]
    return tuple(t for s in sides for t in end_tacks(s, part.length, part.leg / 2))


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,); of an end, amid the base. [m]"""
    middle, deep, edge = part.length / 2, -part.base_thickness / 2, part.base_width / 2
    found = {
        "start end": (0, 0, deep),
        "finish end": (part.length, 0, deep),
        "stem top": (middle, 0, part.stem_height),
        "base front edge": (middle, edge, deep),
        "base back edge": (middle, -edge, deep),
        "mid length": (middle, 0, deep),
    }
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap, amid each seam: (on the base, on the stem).

    They lie where the land stays open: where the fused strip ends, or on the side not welded.
    """
    x, half, gap = part.length / 2, part.stem_thickness / 2, land_height(part)
    y = half - _penetration(part) if part.sides == "both" else -half
    sides = SIDES[part.sides]
    return {k: ((x, side * y, 0.0), (x, side * y, gap)) for k, side in sides.items()}


def _stem_lines(part: Part) -> list[float]:
    """Grid lines through the stem: its faces and where the fused strips end."""
    half, deep = part.stem_thickness / 2, _penetration(part)
    return lines(-half, half, *(s * (half - deep) for s in SIDES[part.sides].values()))


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of base, stem, land and fillets."""
    part, leg, gap = case.part, case.part.leg, land_height(case.part)
    half, edge, seams = part.stem_thickness / 2, part.base_width / 2, seam_lines(case.part)
    kit = Assembly(near_seams(seams.values(), grade))
    tacked = [v for s in seams for pair in cuts(part.length, case.tacks, s) for v in pair]
    along = spans(lines(0.0, part.length, *tacked))
    halves = grade.through_cells > 1 or part.passes > 1
    shares = fillet_shares(gap, leg, halves=halves)
    sides, inner = SIDES[part.sides], _stem_lines(part)
    feet = [side * (half + s * leg) for side in sides.values() for s in shares[0]]
    heights = [s * (gap + leg) for s in shares[1] if s > 0] + [part.stem_height]
    layers, columns = through(grade), through(grade, split=True)
    for x in along:
        for y in spans(lines(-edge, edge, *inner, *feet)):
            under = columns if abs(sum(y)) < 2 * half else None
            kit.box(x, y, (-part.base_thickness, 0.0), "part", (None, under, layers))
        for y in spans(inner):
            kit.box(x, y, (0.0, gap), _land(part, sum(y) / 2), (None, columns, 1))
            for z in spans(heights):
                kit.box(x, y, z, "part", (None, columns, None))
    for name, side in sides.items():

        def at(t: float, a: float, b: float, side: int = side) -> tuple[float, float, float]:
            return (t, side * (half + a), b)

        add_fillet(
            kit, along, at, gap, leg, shares,
            lambda u, v, name=name: fill(fillet_pass(u, v, part.passes), name),
        )  # fmt: skip
    kit.name("start end", lambda p: p[:, 0] < 1e-6)
    kit.name("finish end", lambda p: p[:, 0] > part.length - 1e-6)
    kit.name("stem top", lambda p: p[:, 2] > part.stem_height - 1e-6)
    kit.name("base front edge", lambda p: p[:, 1] > edge - 1e-6)
    kit.name("base back edge", lambda p: p[:, 1] < -edge + 1e-6)
    area = part.base_width * part.base_thickness + part.stem_thickness * (part.stem_height - gap)
    volumes = {"part": area * part.length}
    if part.passes == 1:
        deep = _penetration(part) * gap
        volumes |= {fill(1, s): (fillet_area(gap, leg) + deep) * part.length for s in sides}
    return kit.finish(volumes)


def _land(part: Part, y: float) -> str:
    """Region of the layer under the stem: of the seam that fuses it, or the open land."""
    edge = part.stem_thickness / 2 - _penetration(part)
    for name, side in SIDES[part.sides].items():
        if side * y > edge:
            return fill(1, name)
    return "land"


def free_height(case: Any, points: np.ndarray) -> tuple[int, np.ndarray]:
    """Axis of the stem, which may lean, and how far along it points lie from the joint. [m]"""
    return 2, points[:, 2] - land_height(case.part)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    sides = "both sides" if part.sides == "both" else f"the {part.sides} only"
    return (
        f"plate tee, stem {mm(part.stem_height)} x {mm(part.stem_thickness)} on base "
        f"{mm(part.base_width)} x {mm(part.base_thickness)}, {mm(part.length)} long; "
        f"{land_words(part, _penetration(part))} on {sides}; seams along x, stem along z"
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
