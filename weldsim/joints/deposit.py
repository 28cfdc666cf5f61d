"""Deposit: beads side by side and in layers on a plate, as of a build-up or hard facing.

x runs along the plate from the start end, y across it, z up; the origin is at the start end, mid
width, on the welded face, so that the plate lies under z = 0 and layer n between (n - 1) and n bead
heights. Left (+y) and right are as seen along x. A bead is a block as wide as it is apart from its
neighbour; its rounded shape and the links of a zigzag are left out. One seam a bead, "L2B3" for the
third of layer 2; with `at_once` a seam is a row of beads.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import Field

from weldsim.geometry.grades import Grade
from weldsim.geometry.path import SeamLine
from weldsim.joints.cell_limit import MOST_CELLS, too_many_cells
from weldsim.joints.deposit_mesh import (
    MOST_PLACES,
    bead_box,
    bead_edges,
    grid_lines,
    grid_mesh,
    owners,
)
from weldsim.joints.deposit_path import SLACK, Lines, Places, Row, read_path, rows_of_lines
from weldsim.joints.kit import JointSection, fill, mm, named, straight_seam
from weldsim.joints.own_parts.keys import file_stamp
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.protocol import JointKind
from weldsim.schema.quantities import Size
from weldsim.schema.sections import JointWeldSection
from weldsim.system.files import absolute

LABEL = "deposit of beads"
POINTER = {"at": "finish end", "aim": "+x", "up": "+z"}
BOW = ("start end", "mid length", "finish end")
ENDS = ("start end", "finish end", "right edge", "left edge", "underside")
WORDS = ({"+x": 1, "-x": -1}, {"+y": 1, "-y": -1})  # of travel along x and along y


class Part(JointSection):
    """Keys of a deposit."""

    length: Size
    width: Size
    thickness: Size
    bead_width: Size
    bead_height: Size
    lines: Lines | None = None
    path: str | None = None
    at_once: Annotated[int, Field(strict=True, ge=0, le=100)] = 0
    side_toes: Places = ()
    start_toes: Places = ()
    finish_toes: Places = ()
    toe_width: Size | None = None
    toe_reach: Size | None = None


# the beads
def rows_of(part: Part) -> tuple[Row, ...]:
    """Beads of a part as they are laid; `NotAllowed` where they cannot be."""
    if (part.lines is None) == (part.path is None):
        text = "write either lines, one for each bead, or path, a CSV file beside the case"
        raise NotAllowed("lines", text)
    stamp = None if part.path is None else _stamp(part.path)
    return _rows(part.path, stamp, part.lines, part.at_once, part.bead_width)


def _stamp(path: str) -> tuple[int, int]:
    try:
        return file_stamp(path)
    except NotAllowed as error:
        raise NotAllowed("path", error.sentence) from None


@lru_cache(maxsize=8)
def _rows(path: Any, stamp: Any, lines: Any, at_once: int, bead_width: float) -> tuple[Row, ...]:
    return rows_of_lines(read_path(Path(path)) if path else lines, at_once, bead_width)


def beside_case(part: Part, folder: Path) -> Part:
    """The part with the absolute path of its CSV file, which is looked for beside the case."""
    if part.path is None:
        return part
    return part.model_copy(update={"path": str(absolute(Path(folder) / part.path))})


def check(part: Part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    try:
        found = rows_of(part)
    except NotAllowed as error:
        return [(error.key, error.sentence)]
    key = "lines" if part.path is None else "path"
    faults = _line_faults(part, found) or _layer_faults(part, found)
    return [(key, text) for text in faults[:1]] or _toe_faults(part, found)


def _line_faults(part: Part, found: tuple[Row, ...]) -> list[str]:
    """Beads that are askew, too short or off the plate."""
    out = []
    half = part.width / 2
    for row in found:
        line, (x, y) = row.first, bead_box(row, part.bead_width)
        skew = abs(line.begin[1 - line.axis] - line.finish[1 - line.axis])
        if skew > SLACK:
            out.append(f"bead {row.name} runs askew, allowed: along x or along y")
        elif line.length < part.bead_width - SLACK:
            out.append(
                f"bead {row.name} is {mm(line.length)} long, allowed: from its width on, "
                f"{mm(part.bead_width)}"
            )
        elif x[0] < -SLACK or x[1] > part.length + SLACK:
            out.append(
                f"bead {row.name} covers x = {mm(x[0])} to {mm(x[1])}, allowed: 0 to "
                f"{mm(part.length)}, on the plate"
            )
        elif y[0] < -half - SLACK or y[1] > half + SLACK:
            out.append(
                f"bead {row.name} covers y = {mm(y[0])} to {mm(y[1])}, allowed: {mm(-half)} to "
                f"{mm(half)}, on the plate"
            )
    return out


def _layer_faults(part: Part, found: tuple[Row, ...]) -> list[str]:
    """Layers out of order, beads that overlap in a layer or hang in the air."""
    layers = [row.first.layer for row in found]
    known = sorted(set(layers))
    if layers != sorted(layers) or known != list(range(1, len(known) + 1)):
        return ["layers are out of order, allowed: 1, 2, 3 ... from the plate up, none left out"]
    xs, ys = bead_edges(found, part.bead_width)
    if xs.size * ys.size * len(known) > MOST_PLACES:
        return [f"{len(found)} beads at so many different places are not allowed: in rows"]
    owner = owners(found, part.bead_width)[2]
    out = []
    for layer in known:
        if (owner[layer] == -2).any():
            out.append(
                f"beads of layer {layer} overlap, allowed: side by side, as wide as they are apart "
                f"or less (bead_width {mm(part.bead_width)})"
            )
        hangs = (owner[layer] >= 0) & (owner.get(layer - 1, owner[layer]) == -1)
        if hangs.any():
            name = found[int(owner[layer][hangs][0])].name
            out.append(f"bead {name} lies beyond the layer below, allowed: on metal")
    return out


def _toe_faults(part: Part, found: tuple[Row, ...]) -> list[tuple[str, str]]:
    """Toe clamps without a size, off the plate, or on the beads."""
    if not any((part.side_toes, part.start_toes, part.finish_toes)):
        return []
    for key in ("toe_width", "toe_reach"):
        if getattr(part, key) is None:
            return [(key, 'missing key for toe clamps, such as "30 mm"')]
    boxes = np.array([np.ravel(bead_box(row, part.bead_width)) for row in found])
    low, high = boxes[:, [0, 2]].min(axis=0), boxes[:, [1, 3]].max(axis=0)
    for key, rectangles in toe_patches(part).items():
        for x0, x1, y0, y1 in rectangles:
            off = x0 < -SLACK or x1 > part.length + SLACK or y0 < -part.width / 2 - SLACK
            if off or y1 > part.width / 2 + SLACK:
                return [(key, "a toe lies beyond the plate, allowed: with its whole width on it")]
            if x0 < high[0] - SLACK and x1 > low[0] + SLACK:
                if y0 < high[1] - SLACK and y1 > low[1] + SLACK:
                    return [("toe_reach", f"{mm(part.toe_reach)} puts a toe onto the beads")]
    return []


def toe_patches(part: Part) -> dict[str, list[tuple[float, float, float, float]]]:
    """Rectangles under toe clamps by key of the part, (x0, x1, y0, y1). [m]"""
    if part.toe_width is None or part.toe_reach is None:
        return {}
    half, reach, edge = part.toe_width / 2, part.toe_reach, part.width / 2
    out = {
        "side_toes": [
            (x - half, x + half, *y)
            for x in part.side_toes
            for y in ((-edge, reach - edge), (edge - reach, edge))
        ],
        "start_toes": [(0.0, reach, y - half, y + half) for y in part.start_toes],
        "finish_toes": [
            (part.length - reach, part.length, y - half, y + half) for y in part.finish_toes
        ],
    }
    return {key: found for key, found in out.items() if found}


def seam_lines(part: Part) -> dict[str, SeamLine]:
    """One seam a row, toward +x or +y, on the metal it is laid on."""
    depth = max(part.bead_height, part.bead_width / 2)
    out = {}
    for row in rows_of(part):
        line = row.first
        first = np.full(3, (line.layer - 1) * part.bead_height)
        last = first.copy()
        first[1 - line.axis] = last[1 - line.axis] = row.middle
        first[line.axis], last[line.axis] = line.span
        out[row.name] = straight_seam(
            row.name, first, last, (0, 0, -1), WORDS[line.axis], part.bead_width, depth,
            beads=len(row.lines), at_once=part.at_once > 0, waits=row.waits,
        )  # fmt: skip
    return out


def lay_out(part: Part, hold: Any, written: Any, mistakes: list) -> tuple[Part, Any]:
    """Welds of all beads in the order of the path, unless the case says which; see `JointKind`."""
    if written:
        return part, written
    out, before = [], None
    for row in rows_of(part):
        travel = ("-x", "+x") if row.first.axis == 0 else ("-y", "+y")
        pause = row.first.pause
        start = f"{pause!r} s after {before}" if before and pause is not None else None
        section = JointWeldSection.model_construct(
            name=row.name, seam=row.name, travel=travel[row.first.sign > 0], start=start
        )
        out.append((row.name, section))
        before = row.name
    return part, out


# the mesh
def mesh(case: Any, grade: Grade) -> tuple[Any, dict[str, float]]:
    """Mesh of the plate and all beads, and the volumes of its regions. [m3]"""
    part, found = case.part, rows_of(case.part)
    sizes = {
        key: getattr(part, key)
        for key in ("length", "width", "thickness", "bead_width", "bead_height")
    }
    patches = toe_patches(part)
    grid = grid_lines(found, sizes, patches, grade, part.at_once > 0)
    owned = owners(found, part.bead_width)
    regions = [fill(1, row.name) for row in found]
    cells = (grid[0].size - 1) * (grid[1].size - 1) * (grid[2].size - 1)
    if cells > MOST_CELLS:
        raise too_many_cells(case, grade, cells)
    low, high = (0.0, -part.width / 2), (part.length, part.width / 2)
    faces: dict[str, Any] = {
        "start end": lambda p: np.abs(p[0] - low[0]) < SLACK,
        "finish end": lambda p: np.abs(p[0] - high[0]) < SLACK,
        "right edge": lambda p: np.abs(p[1] - low[1]) < SLACK,
        "left edge": lambda p: np.abs(p[1] - high[1]) < SLACK,
        "underside": lambda p: np.abs(p[2] + part.thickness) < SLACK,
    }
    for key, rectangles in patches.items():
        faces[key.replace("_", " ")] = lambda p, r=rectangles: _on_patches(p, r)
    volumes = {"part": part.length * part.width * part.thickness}
    section = part.bead_width * part.bead_height
    for region, row in zip(regions, found, strict=True):
        volumes[region] = section * sum(line.length for line in row.lines)
    return grid_mesh(grid, owned, regions, part.bead_height, faces), volumes


def _on_patches(middles: np.ndarray, rectangles: Any) -> np.ndarray:
    """Middles of faces (3, F) on the welded face and in one of some rectangles."""
    x, y, z = middles
    on = np.zeros(x.size, dtype=bool)
    for x0, x1, y0, y1 in rectangles:
        on |= (x > x0) & (x < x1) & (y > y0) & (y < y1)
    return on & (np.abs(z) < SLACK)


# what others ask
def faces(part: Part) -> tuple[str, ...]:
    """Names of outer faces and of the patches under toe clamps."""
    return (*ENDS, *(key.replace("_", " ") for key in toe_patches(part)))


def place(part: Part, name: str) -> np.ndarray:
    """Coordinates of a named place, shape (3,); of an end, amid the plate. [m]"""
    x, y, z = part.length / 2, part.width / 2, -part.thickness / 2
    found = {
        "start end": (0, 0, z),
        "finish end": (part.length, 0, z),
        "right edge": (x, -y, z),
        "left edge": (x, y, z),
        "mid length": (x, 0, z),
        "underside": (x, 0, -part.thickness),
    }
    return named(found, name, LABEL)


def words(part: Part) -> str:
    """One line for `weldsim check`."""
    found = rows_of(part)
    beads = sum(len(row.lines) for row in found)
    layers = found[-1].first.layer
    out = (
        f"{LABEL}, {beads} on {'one layer' if layers == 1 else f'{layers} layers'}, each "
        f"{mm(part.bead_width)} wide and {mm(part.bead_height)} high, on a plate "
        f"{mm(part.length)} x {mm(part.width)} x {mm(part.thickness)}"
    )
    return out + (f"; {at_once_words(part)}" if part.at_once else "")


def at_once_words(part: Part) -> str:
    """What beads laid at once leave out."""
    what = "each bead" if part.at_once == 1 else f"{part.at_once} neighbouring beads"
    return (
        f"{what} laid all along at once, the whole heat in the middle of its time: the travel of "
        "the arc is left out"
        + (
            ", and what a bead does to the next (measured on one layer of ten: 55 % of the bow)"
            if part.at_once > 1
            else " (measured on one layer: 1 % of the bow)"
        )
    )


KIND = JointKind(
    label=LABEL,
    part_section=Part,
    words=words,
    faces=faces,
    place=place,
    seam_lines=seam_lines,
    mesh_of_file=mesh,
    hold_default={"kind": "free"},
    lay_out=lay_out,
    gauge_kinds=("pointer", "dial", "thermocouple", "bow", "reaction"),
    check=check,
    resolve=beside_case,
    pointer=POINTER,
    bow_places=BOW,
    elastic=False,  # beads on beads heat the plate through: not even the sign came out
    one_piece=True,
    torch_step=1.0,
)
