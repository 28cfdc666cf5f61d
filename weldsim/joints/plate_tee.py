"""Plate tee: a stem standing on a base plate, a fillet on one side or on both.

x along the seams from the start end, y across, z up from the base's top face. The stem does not
touch the base: a thin layer is left, fused from each welded side to the penetration.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from weldsim.case_keys import Size
from weldsim.errors import CaseError
from weldsim.joints.assembly import (
    Assembly,
    add_fillet,
    fillet_offsets,
    fillet_pass,
    fillet_shares,
    lines,
    spans,
)
from weldsim.joints.common import (
    LEAST_GAP,
    Gap,
    JointSection,
    Tack,
    fill,
    mm,
    near_seams,
    root,
    straight_seam,
    through,
)

FACES = ("start end", "finish end", "stem top", "base front edge", "base back edge")
HELD = ("base back edge",)
POINTER = {"at": "stem top", "aim": "+z", "up": "+y"}
LABEL = "plate tee"
BOW = ("start end", "middle", "finish end")
SIGN = {"front": 1, "back": -1}


class Part(JointSection):
    length: Size
    base_width: Size
    base_thickness: Size
    stem_height: Size
    stem_thickness: Size
    leg: Size
    root_gap: Gap = 0.0
    penetration: Size | None = None
    sides: Literal["both", "front", "back"] = "both"
    passes: int = 1


def _gap(part) -> float:
    return max(part.root_gap, LEAST_GAP)


def _penetration(part) -> float:
    return part.penetration or part.stem_thickness / 4


def _sides(part) -> tuple[str, ...]:
    return ("front", "back") if part.sides == "both" else (part.sides,)


def check(part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    out = []
    thin = min(part.base_thickness, part.stem_thickness)
    if part.leg > 1.5 * thin + 1e-9:
        out.append(
            ("leg", f"{mm(part.leg)} is larger than the plates allow: up to one and a half of the "
             f"thinner one, {mm(1.5 * thin)}")
        )  # fmt: skip
    room = part.stem_thickness + 4 * part.leg
    if part.base_width < room:
        out.append(
            ("base_width", f"{mm(part.base_width)} is too narrow for stem and fillets, allowed: "
             f"from {mm(room)}")
        )  # fmt: skip
    if part.stem_height < 3 * part.leg:
        out.append(
            ("stem_height", f"{mm(part.stem_height)} is not allowed: from three legs, "
             f"{mm(3 * part.leg)}")
        )  # fmt: skip
    most = part.stem_thickness / 2 if part.sides == "both" else 0.9 * part.stem_thickness
    if part.penetration is not None and part.penetration > most + 1e-9:
        out.append(
            ("penetration", f"{mm(part.penetration)} is not allowed: at most {mm(most)}")
        )
    if part.root_gap > part.stem_thickness:
        out.append(
            ("root_gap", f"{mm(part.root_gap)} is not allowed: at most the stem's thickness, "
             f"{mm(part.stem_thickness)}")
        )  # fmt: skip
    if not 1 <= part.passes <= 3:
        out.append(("passes", f"{part.passes} is not allowed: 1, 2 or 3"))
    return out


def seam_lines(part) -> dict:
    out, half, gap = {}, part.stem_thickness / 2, _gap(part)
    for name in _sides(part):
        sign = SIGN[name]
        y, z = sign * (half + part.leg / 2), gap + part.leg / 2
        # across is inward x travel, away from the foot on the front
        offsets = tuple((-sign * a, o) for a, o in fillet_offsets(part.leg, part.passes))
        out[name] = straight_seam(
            name, (0, y, z), (part.length, y, z), (0, -sign, -1), {"+x": 1, "-x": -1},
            np.sqrt(2) * part.leg, part.leg / np.sqrt(2) + _penetration(part) / 2,
            passes=part.passes, offsets=offsets,
        )  # fmt: skip
    return out


def default_tacks(part) -> tuple:
    """Tacks at both ends of each seam."""
    length = min(10e-3, part.length / 5)
    return tuple(
        Tack(seam, begin, begin + length, part.leg / 2)
        for seam in _sides(part)
        for begin in (0.0, part.length - length)
    )


def place(part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    low, half = -part.base_thickness / 2, part.base_width / 2
    found = {
        "start end": (0, 0, low), "middle": (part.length / 2, 0, low),
        "finish end": (part.length, 0, low), "stem top": (part.length / 2, 0, part.stem_height),
        "base front edge": (part.length / 2, half, low),
        "base back edge": (part.length / 2, -half, low),
    }  # fmt: skip
    if name not in found:
        raise CaseError(f"place {name} is unknown on a plate tee, allowed: {', '.join(found)}")
    return np.array(found[name], dtype=float)


def gap_places(part) -> dict:
    """Pairs of places under the middle of the stem at the ends and the middle of the seams."""
    at = {"start": 0.0, "middle": part.length / 2, "finish": part.length}
    return {k: ((x, 0.0, 0.0), (x, 0.0, _gap(part))) for k, x in at.items()}


def fused(part, seam: str, points) -> np.ndarray:
    """Which places in the land (P, 3) a seam fuses."""
    return SIGN[seam] * points[:, 1] > part.stem_thickness / 2 - _penetration(part)


def free_height(case, points):
    """Axis of the piece that may lean, and how far along it points lie from the joint. [m]"""
    return 2, points[:, 2] - _gap(case.part)


def blocks(case, grade):
    """Blocks of base, stem, land and fillets."""
    part = case.part
    seams, gap, leg = seam_lines(part), _gap(part), part.leg
    kit = Assembly(near_seams(seams.values(), grade))
    half, fine = part.stem_thickness / 2, grade.through_cells > 1
    halves = fine or part.passes > 1
    shares = fillet_shares(gap, leg, halves=halves)
    foot = [half + s * leg for s in shares[0]]
    edge = half - _penetration(part)
    inside = [half, edge] if fine and edge > 1e-6 else [half]
    ring = lines(0.0, *inside, *(-v for v in inside))
    ys = lines(*ring, *foot, *(-f for f in foot), -part.base_width / 2, part.base_width / 2)
    ends = [e for t in case.tacks for e in (t.begin, t.finish)]
    along = spans(lines(0.0, part.length, *ends))
    up = lines(gap, *([gap + leg / 2] if halves else []), gap + leg, part.stem_height)
    layers = through(grade)
    for x in along:
        for y in spans(ys):
            kit.box(x, y, (-part.base_thickness, 0.0), "part", (None, None, layers))
        for y in spans(ring):
            kit.box(x, y, (0.0, gap), root(*_sides(part)), (None, 1, 1))
            for z in spans(up):
                kit.box(x, y, z, "part", (None, 1, None))
    for name in seams:
        sign = SIGN[name]

        def at(t, a, b, sign=sign):
            return np.array([t, sign * (half + a), b])

        add_fillet(
            kit, along, at, gap, leg, shares,
            lambda u, v, name=name: fill(fillet_pass(u, v, part.passes), name),
        )  # fmt: skip
    width, top = part.base_width / 2, part.stem_height
    kit.name("start end", lambda p: p[:, 0] < 1e-7)
    kit.name("finish end", lambda p: p[:, 0] > part.length - 1e-7)
    kit.name("stem top", lambda p: p[:, 2] > top - 1e-7)
    kit.name("base front edge", lambda p: p[:, 1] > width - 1e-7)
    kit.name("base back edge", lambda p: p[:, 1] < -width + 1e-7)
    base = part.base_width * part.base_thickness
    stem = part.stem_thickness * (part.stem_height - gap)
    return kit.finish({"part": (base + stem) * part.length})


def words(part) -> str:
    """One line for `weldsim check`."""
    gap = f"a root gap of {mm(part.root_gap)}" if part.root_gap else "the land touching"
    sides = "both sides" if part.sides == "both" else f"the {part.sides}"
    return (
        f"plate tee, stem {mm(part.stem_height)} x {mm(part.stem_thickness)} on base "
        f"{mm(part.base_width)} x {mm(part.base_thickness)}, {mm(part.length)} long; {gap}, fused "
        f"{mm(_penetration(part))} deep; fillets with leg {mm(part.leg)} on {sides}; seams along x"
    )
