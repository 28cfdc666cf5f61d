"""Square-tube frame: posts in a row on one chord, each welded around its foot.

Chord axis x, posts along z; the chord's top face is z = 0, its middle x = y = 0, and the posts
stand at equal distances about it, counted along x. Seams of post N: postN-front (+y side) and
postN-back (-y side) along x; postN-left (+x side) and postN-right (-x side), as seen from the
front, along y. Corners of all tubes are sharp. Between the posts the cells grow as far as
the grade lets them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from weldsim.geometry.blocks import Blocks
from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints import square_stub
from weldsim.joints.assembly import Assembly, Cells, Span, lines
from weldsim.joints.kit import (
    Filler,
    FilletSection,
    Pair,
    land_height,
    land_words,
    mm,
    named,
    near_seams,
)
from weldsim.joints.protocol import JointKind
from weldsim.joints.square_stub import SquareStub
from weldsim.joints.square_tube_tee import CAP_SHARE, CLAMPED, add_chord, piece_faults
from weldsim.schema.quantities import Size
from weldsim.schema.records import Tack

POINTER = {"at": "post1 end", "aim": "+z", "up": "+x"}
LABEL = "square-tube frame"
MOST_POSTS = 8


class Part(FilletSection):
    post_width: Size
    post_wall: Size
    post_length: Size
    posts: int = 2
    spacing: Size  # of the posts, middle to middle
    chord_width: Size
    chord_wall: Size
    chord_length: Size


def _penetration(part: Part) -> float:
    return part.penetration or part.post_wall / 2


def middles(part: Part) -> list[float]:
    """Where the posts stand along the chord. [m]"""
    return [(i - (part.posts - 1) / 2) * part.spacing for i in range(part.posts)]


def _faces(part: Part) -> tuple[str, ...]:
    return (*(f"post{i + 1} end" for i in range(part.posts)), *CLAMPED)


def _post_of(seam: str) -> tuple[int, str]:
    """Number of the post, from 0, and side of a seam."""
    post, _, side = seam.partition("-")
    return int(post.removeprefix("post")) - 1, side


def _stub_of(part: Part, tacks: Sequence[Tack] = ()) -> SquareStub:
    """Any of the posts as a stub."""
    half = part.post_width / 2
    ends = {abs(v - half) for t in tacks for v in (t.begin, t.finish)}
    return SquareStub(
        half, part.post_wall, part.post_length, land_height(part), _penetration(part), part.leg,
        part.passes, abs(part.post_width - part.chord_width) < 1e-6,
        tuple(e for e in sorted(ends) if e < half - 1e-6), CAP_SHARE * part.leg,
    )  # fmt: skip


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    if not 1 <= part.posts <= MOST_POSTS:
        return [("posts", f"{part.posts} is not allowed: 1 to {MOST_POSTS}")]
    out = piece_faults(part, "post")
    foot = part.post_width + 2 * part.leg
    room = foot + part.leg
    if part.posts > 1 and part.spacing < room - 1e-9:
        out.append(
            ("spacing", f"{mm(part.spacing)} leaves no room between the welds of two posts, "
             f"allowed: from {mm(room)}")
        )  # fmt: skip
    whole = (part.posts - 1) * part.spacing + foot + 2 * part.chord_wall
    if part.chord_length < whole - 1e-9:
        out.append(
            ("chord_length", f"{mm(part.chord_length)} is too short for {part.posts} posts and "
             f"their welds, allowed: from {mm(whole)}")
        )  # fmt: skip
    return out


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """Four seams around each post."""
    around, out = square_stub.seam_lines(_stub_of(part)), {}
    for i, x in enumerate(middles(part)):
        for side, seam in around.items():
            name = f"post{i + 1}-{side}"
            out[name] = replace(seam, name=name, points=seam.points + (x, 0.0, 0.0))
    return out


def default_tacks(part: Part) -> tuple[Tack, ...]:
    """Tacks at the corners of each post."""
    corners = square_stub.default_tacks(_stub_of(part), 3e-3, part.leg / 2)
    return tuple(
        replace(tack, seam=f"post{i + 1}-{tack.seam}")
        for i in range(part.posts)
        for tack in corners
    )


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,). [m]"""
    half, deep = part.chord_length / 2, -part.chord_width / 2
    found = {f"post{i + 1} end": (x, 0, part.post_length) for i, x in enumerate(middles(part))}
    found |= {
        "chord start": (-half, 0, deep), "mid length": (0, 0, deep), "chord end": (half, 0, deep),
    }  # fmt: skip
    return named(found, name, LABEL)


def gap_places(part: Part) -> dict[str, Pair]:
    """Pairs of places whose distance is the open gap: (on the chord, on the post)."""
    around = square_stub.gap_places(_stub_of(part))
    return {
        f"post{i + 1}-{side}": (_moved(on_chord, x), _moved(on_post, x))
        for i, x in enumerate(middles(part))
        for side, (on_chord, on_post) in around.items()
    }


def _moved(point: Sequence[float], x: float) -> tuple[float, float, float]:
    return (point[0] + x, point[1], point[2])


class _AtPost(Assembly):
    """The kit as one post sees it: its own middle, its own seams."""

    def __init__(self, kit: Assembly, post: int, middle: float) -> None:
        self._kit, self._post, self._middle = kit, post, middle

    def block(self, corners: Any, region: str, cells: Cells = (None, None, None)) -> None:
        there = np.asarray(corners, dtype=float) + (self._middle, 0.0, 0.0)
        filler = Filler.of(region)
        for seam in filler.seams if filler else ():
            region = region.replace(f" {seam}", f" post{self._post + 1}-{seam}")
        self._kit.block(there, region, cells)

    def box(
        self, x: Span, y: Span, z: Span, region: str, cells: Cells = (None, None, None)
    ) -> None:
        super().box(x, y, z, region, cells)


def blocks(case: Any, grade: Grade) -> Blocks:
    """Blocks of chord, posts, lands and fillets."""
    part = case.part
    stub = replace(_stub_of(part, case.tacks), fine=grade.through_cells > 1)
    kit = Assembly(near_seams(seam_lines(part).values(), grade))
    half, inner = part.chord_length / 2, part.chord_width / 2 - part.chord_wall
    foot = [*stub.ring, *stub.toes(False)]
    # cells grow one way in a block, so a block between two posts ends half-way
    between = [(a + b) / 2 for a, b in pairwise(middles(part))]
    xs = lines(-half, half, *between, *(x + v for x in middles(part) for v in foot))
    add_chord(kit, part, stub, xs, grade)
    for i, x in enumerate(middles(part)):
        post = _AtPost(kit, i, x)
        square_stub.add_tube(post, stub, grade)
        square_stub.add_welds(post, stub, (inner, -inner), part.chord_wall)
    kit.name("chord start", lambda p: p[:, 0] < -half + 1e-6)
    kit.name("chord end", lambda p: p[:, 0] > half - 1e-6)
    for i, x in enumerate(middles(part)):
        kit.name(f"post{i + 1} end", _end_of(part, x))
    tube = part.post_width**2 - (part.post_width - 2 * part.post_wall) ** 2
    chord = part.chord_width**2 - (part.chord_width - 2 * part.chord_wall) ** 2
    posts = part.posts * tube * (part.post_length - stub.gap)
    return kit.finish({"part": chord * part.chord_length + posts})


def _end_of(part: Part, middle: float) -> Any:
    half = part.post_width / 2 + 1e-6
    top = part.post_length - 1e-6
    return lambda p: (p[:, 2] > top) & (np.abs(p[:, 0] - middle) < half)


def fused(part: Part, seam: str, points: np.ndarray) -> np.ndarray:
    """Which places in the lands (P, 3) a seam fuses."""
    post, side = _post_of(seam)
    middle = middles(part)[post]
    there = points - (middle, 0.0, 0.0)
    near = np.abs(there[:, 0]) < part.post_width / 2 + 1e-6
    return near & _stub_of(part).fused(side, there)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    posts = "one post" if part.posts == 1 else f"{part.posts} posts {mm(part.spacing)} apart"
    return (
        f"square-tube frame, {posts}, {mm(part.post_width)} x {mm(part.post_wall)}, "
        f"{mm(part.post_length)} long, on chord {mm(part.chord_width)} x {mm(part.chord_wall)}, "
        f"{mm(part.chord_length)} long; {land_words(part, _penetration(part))}; "
        "chord along x, posts along z"
    )


KIND = JointKind(
    label=LABEL,
    part_section=Part,
    words=words,
    faces=_faces,
    place=place,
    seam_lines=seam_lines,
    blocks=blocks,
    check=check,
    clamped_faces=CLAMPED,
    pointer=POINTER,
    bow_places=("chord start", "mid length", "chord end"),
    default_tacks=default_tacks,
    gap_places=gap_places,
    fused=fused,
)
