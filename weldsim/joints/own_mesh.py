"""A part meshed by the user: a Gmsh mesh file with named volumes, faces and seams.

Physical volumes: `part` (base metal), `fill 1 NAME` or `fill NAME` (filler of a pass on a seam)
and `land` (open, meshed but never fused). Physical curves are seams, physical surfaces are faces
for clamps and pointers. Seams may also be written in the case, as places. The file is read with
meshio, so that a case can be checked without Gmsh; of cells of second order only corners are used.

A seam's name becomes that of its weld, so its spaces are read as `_`; names of faces keep theirs.
"""

from __future__ import annotations

import shlex
from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BeforeValidator, ValidationError

from weldsim.errors import CaseError, MeshError
from weldsim.geometry.path import SeamLine
from weldsim.joints.kit import JointSection, fill, mm
from weldsim.schema.sections import Axis, Place, Section, Size, key_mistake, nearest

FACES = ()  # named by the file: see `faces`
HELD = ()  # what to hold is for the case to say, with [[clamp]]
POINTER: dict = {}  # and where a pointer sits as well
LABEL = "own mesh"
SCALES = {"mm": 1e-3, "m": 1.0}
UP = {a: s * np.eye(3)["xyz".index(a[1])] for a, s in
      ((sign + x, 1.0 if sign == "+" else -1.0) for sign in "+-" for x in "xyz")}  # fmt: skip
NEAR = 0.1  # bead widths; outer faces as near as this to a seam's place meet there
ALIKE = 0.82  # cosine of the angle between faces that count as one
DIMENSIONS = {0: "point", 1: "curve", 2: "surface", 3: "volume"}


class NotAllowed(CaseError):
    """What is wrong with the file or the seams: the key and a sentence."""

    def __init__(self, key: str, sentence: str):
        super().__init__(f"[part] {key}: {sentence}")
        self.key, self.sentence = key, sentence


class SeamKeys(Section):
    """What the case says about a seam; the rest comes from the file or from `[part]`."""

    points: tuple[tuple[Place, Place, Place], ...] | None = None
    inward: Axis | tuple[float, float, float] | None = None
    width: Size | None = None
    depth: Size | None = None


def tables(model):
    """A pydantic type: tables of one model by name, with mistakes named inside the table."""

    def read(value):
        if not isinstance(value, dict):
            raise ValueError(f"{value!r} is not a table of names with keys")
        out = {}
        for name, keys in value.items():
            try:
                out[name] = keys if isinstance(keys, model) else model.model_validate(keys)
            except ValidationError as error:
                first = error.errors()[0]
                if not first["loc"]:
                    raise ValueError(f"{name}: {keys!r} is not a table with keys") from None
                known = [f.alias or n for n, f in model.model_fields.items()]
                raise ValueError(f"{name} {_sentence(first, known)}") from None
        return out

    return Annotated[dict[str, model], BeforeValidator(read)]


def _sentence(error: dict, known: list[str]) -> str:
    """One pydantic complaint about a key of a table."""
    place = [str(p) for p in error["loc"]]
    if place[0] == "points" and error["type"] != "value_error":
        return 'points: write places of three lengths, such as [["0 mm", "0 mm", "3 mm"], ...]'
    return key_mistake({**error, "loc": tuple(place[:1])}, "seam", known)


class Part(JointSection):
    file: str
    scale: Literal["mm", "m"] = "mm"  # unit of the file's coordinates
    width: Size | None = None  # of the bead's face, unless a seam says its own
    depth: Size | None = None
    seams: tables(SeamKeys) = {}


@dataclass(frozen=True)
class Found:
    """What a mesh offers a joint.

    Attributes
    ----------
    mesh : skfem.Mesh with subdomains and boundaries [m]
    curves : seam name -> places in order, shape (M, 3) [m]
    """

    mesh: object
    curves: dict


# the interface of a joint
def resolve(part, folder, mistakes=None):
    """The part with the absolute path of its file, which is looked for beside the case.

    Whether the file is there is said by `check`, so `mistakes` stays as it is.
    """
    return part.model_copy(update={"file": str((Path(folder) / part.file).resolve())})


def check(part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence): the first thing that stops the reading."""
    return complaint(lambda: seam_lines(part))


def seam_lines(part) -> dict[str, SeamLine]:
    return _lines(*_identity(part))


def faces(part) -> tuple[str, ...]:
    """Names of the physical surfaces."""
    return tuple(found_in(part).mesh.boundaries or {})


def place(part, name: str) -> np.ndarray:
    """Middle of a named face, shape (3,). [m]"""
    return middle_of(found_in(part).mesh, name, "this mesh")


def default_tacks(part) -> tuple:
    """None: where the file has no metal between two pieces the case has to write [[tack]]."""
    return ()


def gap_places(part) -> dict:
    return {}


def mesh(case, grade):
    """The user's mesh as it is, and the volumes of its regions; no grade makes it finer."""
    return with_volumes(found_in(case.part).mesh)


def words(part) -> str:
    """One line for `weldsim check`."""
    found = found_in(part).mesh
    cell = "brick" if found.t.shape[0] == 8 else "tetrahedron"
    return f"{LABEL} {described(part, found, cell)}"


# what the two own kinds share
def complaint(job) -> list[tuple[str, str]]:
    """What stops a job, as (key, sentence)."""
    try:
        job()
    except NotAllowed as error:
        return [(error.key, error.sentence)]
    except MeshError as error:
        return [("file", f"{error}")]
    return []


def stamp(file: str) -> tuple:
    """Changes whenever the file does; `NotAllowed` where there is none."""
    path = Path(file)
    if not path.is_file():
        raise NotAllowed("file", f"{file!r} is not found, allowed: a file beside the case")
    at = path.stat()
    return at.st_mtime_ns, at.st_size


def described(part, mesh, cell: str) -> str:
    many = {"brick": "bricks", "tetrahedron": "tetrahedra"}[cell]
    seams = ", ".join(f"{n} {mm(s.length)}" for n, s in seam_lines_of(part).items())
    named = ", ".join(mesh.boundaries or {}) or "none"
    return f"{Path(part.file).name}, {mesh.t.shape[1]} {many}; seams: {seams}; faces: {named}"


def seam_lines_of(part) -> dict:
    from weldsim.joints.registry import joint_module

    return joint_module(part.kind).seam_lines(part)


def with_volumes(mesh):
    from weldsim.geometry.mesh_checks import cell_volumes

    size = cell_volumes(mesh)
    return mesh, {name: float(size[cells].sum()) for name, cells in mesh.subdomains.items()}


def seam_name(name: str) -> str:
    """A seam's name as the case writes it."""
    return "_".join(name.split())


def check_seam_names(names) -> None:
    """Refuse names that cannot be those of welds, and two that become one."""
    seen: dict[str, str] = {}
    for name in names:
        short = seam_name(name)
        if (
            not short
            or not short.isascii()
            or not short.replace("_", "").replace("-", "").isalnum()
        ):
            raise NotAllowed(
                "seams", f"{name!r} is not allowed: letters, digits, spaces, - and _ only"
            )
        if seen.setdefault(short, name) != name:
            raise NotAllowed("seams", f"{name!r} and {seen[short]!r} are the same seam")


def region_of(volume: str, seams) -> str:
    """Region of a named volume: `part`, `land`, or filler of a pass on seams there are.

    Parameters
    ----------
    volume : str
        Name of the volume, such as ``fill 2 long side``.
    seams : iterable of str
        Names of the seams as the case writes them.
    """
    words = volume.split()
    if words in (["part"], ["land"]):
        return words[0]
    if not words or words[0] != "fill":
        raise NotAllowed(
            "file", f"volume {volume!r} is unknown, allowed: part, land, fill NAME, fill 1 NAME"
        )
    number, rest = 1, words[1:]
    if rest and rest[0].isdecimal() and "_".join(rest) not in seams:
        number, rest = int(rest[0]), rest[1:]
    owners = []
    while rest:
        fits = [n for n in range(len(rest), 0, -1) if "_".join(rest[:n]) in seams]
        if not fits:
            break
        owners.append("_".join(rest[: fits[0]]))
        rest = rest[fits[0] :]
    if rest or not owners or number < 1:
        raise NotAllowed(
            "file", f"volume {volume!r} names no seam{nearest(' '.join(rest), tuple(seams))}"
        )
    return fill(number, *owners)


def check_whole(mesh) -> None:
    """Refuse a mesh that lacks base metal, is flat somewhere, or falls into loose pieces."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    from weldsim.geometry.mesh_checks import check_names

    if "part" not in mesh.subdomains:
        raise NotAllowed("file", "no volume is named part, allowed: the base metal by that name")
    try:
        check_names(mesh, {}, set())
    except MeshError as error:
        raise NotAllowed("file", f"{error}, allowed: sound cells only") from None
    first, count = mesh.t[:1].repeat(len(mesh.t) - 1, axis=0).ravel(), mesh.p.shape[1]
    links = coo_matrix((np.ones(first.size), (first, mesh.t[1:].ravel())), (count, count))
    pieces = connected_components(links, directed=False)[0]
    if pieces > 1:
        raise NotAllowed(
            "file", f"the metal is in {pieces} pieces that share no points, allowed: one piece, "
            "filler and land included"
        )  # fmt: skip


def middle_of(mesh, name: str, whole: str) -> np.ndarray:
    """Middle of a named face, or the nearest place on it where its middle is in a hole. [m]"""
    known = mesh.boundaries or {}
    if name not in known:
        raise CaseError(f"place {name} is unknown on {whole}, allowed: {', '.join(known)}")
    corners = _triangles(mesh, known[name])[0]
    area = np.linalg.norm(_normals(corners), axis=1)
    spots = corners.mean(axis=1)
    middle = (area[:, None] * spots).sum(axis=0) / area.sum()
    away = _away(corners, middle)
    flat = away.min() <= 1e-3 * np.sqrt(area.sum())
    return middle if flat else spots[np.argmin(np.linalg.norm(spots - middle, axis=1))]


def lines_of(part, mesh, curves) -> dict[str, SeamLine]:
    """Seams along curves, by name.

    Parameters
    ----------
    part : object with `width`, `depth` and `seams`, a dict of keys by name
    mesh : skfem.Mesh with subdomains [m]
    curves : dict of str to ndarray, shape (M, 3)
        Places in order, the first again at the end of a closed seam. [m]
    """
    from weldsim.joints.kit import Filler

    said = {seam_name(n): keys for n, keys in part.seams.items()}
    fillers = [(cells, f) for r, cells in mesh.subdomains.items() if (f := Filler.of(r))]
    out = {}
    for name, points in curves.items():
        keys = said.get(name)
        sizes = {}
        for key in ("width", "depth"):
            sizes[key] = (keys and getattr(keys, key)) or getattr(part, key)
            if sizes[key] is None:
                raise NotAllowed(
                    key, f'missing for seam {name}, allowed: "5 mm" here or in [part.seams.{name}]'
                )
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        if step.min() < 1e-7:
            raise NotAllowed("seams", f"{name}: two places of the seam are one, allowed: a path")
        own = [cells for cells, f in fillers if name in f.seams]
        passes = sorted({f.number for _, f in fillers if name in f.seams}) or [1]
        if passes != list(range(1, len(passes) + 1)):
            raise NotAllowed(
                "file", f"filler of seam {name} is of passes {', '.join(map(str, passes))}, "
                "allowed: 1, 2 and so on"
            )  # fmt: skip
        skin = _skin(mesh, np.concatenate(own) if own else None)
        travel = _travel(points)
        inward = _stated(name, keys) if keys else None
        if inward is None:
            inwards = _inwards(name, points, travel, skin, sizes["width"])
        else:
            _check_near(name, points, skin, sizes["width"])
            inwards = np.tile(inward, (len(points), 1))
        inwards = inwards - (inwards * travel).sum(axis=1)[:, None] * travel
        size = np.linalg.norm(inwards, axis=1)
        if size.min() < 0.1:
            raise NotAllowed(
                "seams", f"{name} inward: not allowed along the seam, allowed: across it, "
                "into the part"
            )  # fmt: skip
        inwards /= size[:, None]
        closed = bool(len(points) > 3 and np.linalg.norm(points[0] - points[-1]) < 1e-7)
        directions = _ways(points, inwards, closed)
        points, inwards = _fewest(points, inwards)
        out[name] = SeamLine(
            name, points, inwards, directions, sizes["width"], sizes["depth"], closed, len(passes)
        )
    if not out:
        raise NotAllowed(
            "seams", "there is none, allowed: named curves in the file or [part.seams.NAME]"
        )
    return out


def check_said(part, curves) -> None:
    """Refuse keys of a seam that there is not, or two accounts of where a seam is."""
    for name, keys in part.seams.items():
        short = seam_name(name)
        if keys.points is None and short not in curves:
            raise NotAllowed(
                "seams", f"{name}: the file has no such curve and no points are given"
                + (nearest(short, tuple(curves)) if curves else "")
            )  # fmt: skip
        if keys.points is not None and short in curves:
            raise NotAllowed("seams", f"{name} points: the file has a curve of this name already")
        if keys.points is not None and len(keys.points) < 2:
            raise NotAllowed("seams", f"{name} points: one place is no seam, allowed: two or more")


def chain(name: str, edges: np.ndarray) -> np.ndarray:
    """Points of line elements (K, 2) in order; the first one again at the end when closed.

    It runs as the first element does.
    """
    _, kept = np.unique(np.sort(edges, axis=1), axis=0, return_index=True)
    edges = edges[np.sort(kept)]  # a line that stands twice is one
    near = defaultdict(list)
    for a, b in edges.tolist():
        near[a].append(b)
        near[b].append(a)
    if any(len(v) > 2 for v in near.values()):
        raise NotAllowed("file", f"curve {name!r} branches, allowed: one chain of lines")
    first, second = edges[0].tolist()
    ends = [p for p, v in near.items() if len(v) == 1]

    def walk(before, at):
        out = [before, at]
        while len(near[at]) == 2:
            before, at = at, next((p for p in near[at] if p != before), before)
            out.append(at)
            if at == out[0]:
                break
        return out

    order = walk(first, second)
    if order[-1] != first:
        order = walk(second, first)[::-1][:-2] + order
    if len(order) != len(edges) + 1 or len(ends) not in (0, 2):
        raise NotAllowed("file", f"curve {name!r} is open between its ends, allowed: one chain")
    return np.array(order)


# seams
def _stated(name, keys) -> np.ndarray | None:
    """The inward vector the case states, unit, shape (3,)."""
    if keys.inward is None:
        return None
    vector = UP[keys.inward] if isinstance(keys.inward, str) else np.array(keys.inward, float)
    size = np.linalg.norm(vector)
    if not size > 0:
        raise NotAllowed(
            "seams", f'{name} inward: no direction, allowed: such as "-z" or [0, 1, -1]'
        )
    return vector / size


def _travel(points) -> np.ndarray:
    """Unit direction at each place of a chain, (M, 3); mean of both sides at a bend."""
    step = np.diff(points, axis=0)
    step /= np.linalg.norm(step, axis=1)[:, None]
    closed = len(points) > 3 and np.linalg.norm(points[0] - points[-1]) < 1e-7
    first, last = (step[-1], step[0]) if closed else (step[0], step[-1])
    both = np.vstack([first[None], step]) + np.vstack([step, last[None]])
    size = np.linalg.norm(both, axis=1)
    both[size < 1e-6] = np.vstack([first[None], step])[size < 1e-6]  # a turn right back
    return both / np.linalg.norm(both, axis=1)[:, None]


def _triangles(mesh, facets):
    """Corners of facets as triangles (T, 3, 3), and the cell behind each, (T,)."""
    nodes = mesh.facets[:, facets]
    cells = mesh.f2t[0, facets]
    if nodes.shape[0] == 3:
        return mesh.p.T[nodes.T], cells
    points = mesh.p.T[nodes.T]  # in whatever order: corner 0 lies opposite one of three
    arm = points - points[:, :1]
    apart = []
    for o, p, q in ((1, 2, 3), (2, 1, 3), (3, 1, 2)):  # a diagonal has the others on two sides
        sides = np.cross(arm[:, o], arm[:, p]) * np.cross(arm[:, o], arm[:, q])
        apart.append(sides.sum(axis=1))
    order = np.array([[0, 2, 1, 3], [0, 1, 2, 3], [0, 1, 3, 2]])[np.argmin(apart, axis=0)]
    ring = np.take_along_axis(points, order[:, :, None], axis=1)
    return np.concatenate([ring[:, [0, 1, 2]], ring[:, [0, 2, 3]]]), np.concatenate([cells, cells])


def _normals(corners) -> np.ndarray:
    """Normals of triangles (T, 3, 3), as long as their area."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2


def _skin(mesh, cells=None):
    """Outer faces as triangles (T, 3, 3) and their outward unit normals, of some cells or all."""
    facets = mesh.boundary_facets()
    if cells is not None:
        mine = np.zeros(mesh.t.shape[1], dtype=bool)
        mine[cells] = True
        kept = facets[mine[mesh.f2t[0, facets]]]
        facets = kept if kept.size else facets
    corners, behind = _triangles(mesh, facets)
    normal = _normals(corners)
    inside = mesh.p[:, mesh.t[:, behind]].mean(axis=1).T
    normal *= np.sign(((corners.mean(axis=1) - inside) * normal).sum(axis=1))[:, None]
    return corners, normal / np.linalg.norm(normal, axis=1)[:, None]


def _away(corners, point) -> np.ndarray:
    """Distance of a point (3,) from triangles (T, 3, 3), (T,)."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    best = np.full(len(corners), np.inf)
    for p, q in ((a, b), (b, c), (c, a)):
        d = q - p
        share = ((point - p) * d).sum(axis=1) / (d * d).sum(axis=1)
        best = np.minimum(
            best, np.linalg.norm(point - p - np.clip(share, 0, 1)[:, None] * d, axis=1)
        )
    normal = np.cross(b - a, c - a)
    over = np.ones(len(corners), dtype=bool)
    for p, q in ((a, b), (b, c), (c, a)):
        over &= (np.cross(q - p, point - p) * normal).sum(axis=1) >= 0
    height = np.abs(((point - a) * normal).sum(axis=1)) / np.linalg.norm(normal, axis=1)
    return np.where(over, height, best)


def _check_near(name, points, skin, width) -> None:
    for point in points:
        _touching(name, point, skin, width)


def _touching(name, point, skin, width) -> np.ndarray:
    """Mask of the outer faces nearest to a place of a seam."""
    away = _away(skin[0], point)
    if away.min() > width:
        at = ", ".join(f"{1e3 * x:.4g}" for x in point)
        raise NotAllowed(
            "seams", f"{name}: ({at}) mm lies {mm(away.min())} off the metal to be welded, "
            f"allowed: within the width of the bead, {mm(width)}"
        )  # fmt: skip
    return away <= away.min() + NEAR * width  # a curved face is meshed with flat ones beside it


def _inwards(name, points, travel, skin, width) -> np.ndarray:
    """Directions into the part (M, 3): against the faces that meet at each place.

    A direction counts once, however many cells have it; faces across the travel are left out.
    """
    out = np.empty_like(points)
    for i, (point, way) in enumerate(zip(points, travel, strict=True)):
        normal = skin[1][_touching(name, point, skin, width)]
        across = normal[np.abs(normal @ way) < 0.7]
        mean = _directions(across).sum(axis=0)
        size = np.linalg.norm(mean)
        if size < 0.1:
            raise NotAllowed(
                "seams", f"{name} inward: cannot be told from the faces it touches, allowed: "
                'a direction such as inward = "-z"'
            )  # fmt: skip
        out[i] = -mean / size
    return out


def _directions(normals) -> np.ndarray:
    """Unit normals (K, 3) gathered into those that differ by more than about 35 degrees."""
    sums: list[np.ndarray] = []
    for normal in normals:
        alike = [normal @ s / np.linalg.norm(s) for s in sums]
        if alike and max(alike) > ALIKE:
            sums[int(np.argmax(alike))] += normal
        else:
            sums.append(normal.copy())
    return np.array([s / np.linalg.norm(s) for s in sums]).reshape(-1, 3)


def _ways(points, inwards, closed: bool) -> dict[str, int]:
    """Words for the two directions: axes, the clock seen from outside, forward and backward."""
    out = {}
    if closed:
        around = np.cross(points[:-1] - points.mean(axis=0), np.diff(points, axis=0)).sum(axis=0)
        turn = float(around @ inwards.mean(axis=0)) / np.linalg.norm(around)
        if abs(turn) > 0.3:  # looking along the inward direction
            direction = 1 if turn > 0 else -1
            out = {"clockwise": direction, "counterclockwise": -direction}
    else:
        way = points[-1] - points[0]
        size = np.linalg.norm(way)
        for axis, share in zip("xyz", way / size if size > 0 else way, strict=True):
            if abs(share) > 0.5:
                direction = 1 if share > 0 else -1
                out |= {f"+{axis}": direction, f"-{axis}": -direction}
    return out | {"forward": 1, "backward": -1}


def _fewest(points, inwards):
    """The chain without places at which it goes straight on: a straight seam has two."""
    keep = [0]
    for i in range(1, len(points) - 1):
        before, after = points[i] - points[keep[-1]], points[i + 1] - points[i]
        bend = np.linalg.norm(np.cross(before, after))
        straight = bend < 1e-6 * np.linalg.norm(before) * np.linalg.norm(after)
        on = straight and before @ after > 0
        same = np.abs(inwards[i] - inwards[keep[-1]]).max() < 1e-3
        if not (on and same and np.abs(inwards[i + 1] - inwards[i]).max() < 1e-3):
            keep.append(i)
    keep.append(len(points) - 1)
    return points[keep], inwards[keep]


# the file
def _identity(part) -> tuple:
    seams = tuple(sorted(part.seams.items()))
    return part.file, stamp(part.file), part.scale, part.width, part.depth, seams


def found_in(part) -> Found:
    """Mesh and curves of the part's file, read once."""
    names = tuple(sorted(seam_name(n) for n in part.seams))
    return _read(part.file, stamp(part.file), part.scale, names)


@lru_cache(maxsize=4)
def _lines(file, when, scale, width, depth, seams) -> dict[str, SeamLine]:
    part = Said(width, depth, dict(seams))
    check_seam_names(part.seams)
    found = _read(file, when, scale, tuple(sorted(seam_name(n) for n in part.seams)))
    check_said(part, found.curves)
    written = {
        seam_name(n): np.array(k.points) for n, k in part.seams.items() if k.points is not None
    }
    return lines_of(part, found.mesh, {**found.curves, **written})


@dataclass(frozen=True)
class Said:
    """What `lines_of` asks of a part."""

    width: float | None
    depth: float | None
    seams: dict


@lru_cache(maxsize=4)
def _read(file: str, when, scale: str, written: tuple[str, ...]) -> Found:
    """Mesh and curves of a file; `written` are seams of the case."""
    raw = _raw(file)
    points = raw.points * SCALES[scale]
    names = sorted(raw.field_data, key=lambda n: int(raw.field_data[n][0]))
    curves = {n: chain(n, e) for n in names if (e := _members(raw, n, 1, "line", 2)) is not None}
    check_seam_names(curves)
    mesh, number = _cells(raw, points, names, {*map(seam_name, curves), *written})
    facet_of = {tuple(f): i for i, f in enumerate(np.sort(mesh.facets.T, axis=1).tolist())}
    kind, size = ("quad", 4) if mesh.t.shape[0] == 8 else ("triangle", 3)
    boundaries = {}
    for name in names:
        facets = _members(raw, name, 2, kind, size)
        if facets is None:
            continue
        found = [facet_of.get(tuple(f)) for f in np.sort(number[facets], axis=1).tolist()]
        if None in found or not found:
            raise NotAllowed(
                "file", f"surface {name!r} does not lie on the cells, allowed: faces of cells"
            )
        boundaries[name] = np.unique(found).astype(np.int32)
    check_whole(mesh)
    places = {seam_name(n): points[order] for n, order in curves.items()}
    return Found(mesh.with_boundaries(boundaries), places)


def _raw(file: str):
    """The file as meshio gives it."""
    from meshio import gmsh as reader  # its own read leaves the program when a file is wrong

    name = Path(file).name
    try:
        _check_names_once(file)
        return reader.read(file)
    except NotAllowed:
        raise
    except Exception as error:  # whatever a broken file sets off in the reader
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise NotAllowed(
            "file", f"{name} cannot be read ({why}), allowed: a Gmsh mesh, saved with named groups "
            "only"
        ) from None  # fmt: skip


def _check_names_once(file: str) -> None:
    """Refuse a name of two groups: readers keep one of them."""
    with open(file, "rb") as lines:
        for line in lines:
            if line.strip() == b"$PhysicalNames":
                break
        else:
            return
        seen: dict[str, str] = {}
        for _ in range(int(next(lines))):
            dim, _, name = shlex.split(next(lines).decode())
            what = DIMENSIONS.get(int(dim), dim)
            if name in seen:
                raise NotAllowed(
                    "file", f"{name!r} names a {seen[name]} and a {what}, allowed: each name once"
                )
            seen[name] = what


def _members(raw, name: str, dim: int, kind: str, corners: int):
    """Corner points (K, corners) of a named group; None for a group of another dimension."""
    tag, of = (int(v) for v in raw.field_data[name])
    if of != dim:
        return None
    out = [np.empty((0, corners), dtype=np.int64)]
    sets = raw.cell_sets.get(name)
    for k, block in enumerate(raw.cells):
        if block.dim != dim:
            continue
        if sets is not None:
            rows = np.asarray(sets[k], dtype=np.int64)
        else:
            tags = raw.cell_data.get("gmsh:physical")
            rows = np.flatnonzero(tags[k] == tag) if tags is not None else np.empty(0, np.int64)
        if rows.size and not block.type.startswith(kind):
            what = DIMENSIONS[dim]
            raise NotAllowed(
                "file", f"{what} {name!r} is of {block.type} elements, allowed: {kind} elements"
            )
        if rows.size:
            out.append(np.asarray(block.data, dtype=np.int64)[rows, :corners])
    found = np.concatenate(out)
    if not len(found):
        raise NotAllowed("file", f"{DIMENSIONS[dim]} {name!r} is empty, allowed: one with elements")
    return found


def _cells(raw, points, names, seams):
    """Mesh of all cells with regions, and the new number of each point."""
    import skfem
    from skfem.io.meshio import INV_HEX_MAPPING

    kinds = sorted({b.type for b in raw.cells if b.dim == 3})
    families = {k.rstrip("0123456789") for k in kinds}
    if not kinds:
        raise NotAllowed("file", "holds no cells, allowed: bricks or tetrahedra")
    if len(families) > 1 or not families <= {"hexahedron", "tetra"}:
        raise NotAllowed(
            "file", f"cells are mixed or of a wrong kind ({', '.join(kinds)}), allowed: bricks "
            "only or tetrahedra only"
        )  # fmt: skip
    kind = families.pop()
    corners = 8 if kind == "hexahedron" else 4
    named = {n: c for n in names if (c := _members(raw, n, 3, kind, corners)) is not None}
    if "part" not in named:
        listed = ", ".join(named) or "no volume"
        raise NotAllowed("file", f"no volume is named part, found: {listed}")
    all_cells = np.concatenate([b.data[:, :corners] for b in raw.cells if b.dim == 3])
    flat = np.concatenate(list(named.values()))
    if len(np.unique(np.sort(flat, axis=1), axis=0)) != len(flat):
        raise NotAllowed("file", "cells belong to two named volumes, allowed: each to one")
    if len(flat) != len(all_cells):
        raise NotAllowed(
            "file", f"{len(all_cells) - len(flat)} cells belong to no named volume, allowed: none"
        )
    used = np.unique(flat)
    number = np.full(len(points), -1)
    number[used] = np.arange(used.size)
    t = number[flat].T
    if corners == 8:
        t = t[INV_HEX_MAPPING[:8]]
    mesh = (skfem.MeshHex1 if corners == 8 else skfem.MeshTet1)(points[used].T.copy(), t.copy())
    regions: dict[str, list] = {}
    start = 0
    for name, cells in named.items():
        rows = np.arange(start, start + len(cells), dtype=np.int32)
        regions.setdefault(region_of(name, seams), []).append(rows)
        start += len(cells)
    return mesh.with_subdomains({k: np.concatenate(v) for k, v in regions.items()}), number
