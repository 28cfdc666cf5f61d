"""A part drawn by the user: a STEP file, meshed with tetrahedra.

Solids whose name begins with `fill` are filler (`fill 1 NAME` or `fill NAME`), one named `land`
is open, all others are base metal; where they touch they are one. Without filler solids a weld
only heats. Seams are places or edges, faces are named in the file or in the case. Edges and faces
go by their names in the file or by their number, such as "edge 12", as Gmsh counts them.

Gmsh's OpenCASCADE kernel turns the file's own length unit into mm.
"""

from __future__ import annotations

from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BeforeValidator

from weldsim.errors import MeshError
from weldsim.geometry.path import SeamLine
from weldsim.joints import own_mesh
from weldsim.joints.kit import THIN, JointSection
from weldsim.joints.own_mesh import (
    SCALES,
    UP,
    Found,
    NotAllowed,
    complaint,
    described,
    lines_of,
    region_of,
    seam_name,
    stamp,
    tables,
)
from weldsim.schema.sections import Axis, Section, Size, near_to

FACES = ()  # named by the file and the case: see `faces`
HELD = ()
POINTER: dict = {}
LABEL = "own STEP part"
TOLERANCE = 0.03  # of volumes: curved faces are meshed as flat ones
AROUND = 12  # cells around a whole turn of a curved face
PIECES = 48  # straight pieces an edge is cut into that is not straight
ROUGH = "coarse"  # grade of the mesh that seams and faces are found on


def _listed(value):
    return (value,) if isinstance(value, str) else value


Names = Annotated[tuple[str, ...], BeforeValidator(_listed)]


class SeamKeys(own_mesh.SeamKeys):
    """A seam: places, or edges end to end."""

    edges: Names | None = None


class FaceKeys(Section):
    """A face: the outermost flat one in a direction, or faces of the file."""

    plane: Axis | None = None
    faces: Names | None = None


class Part(JointSection):
    file: str
    scale: Literal["mm", "m"] = "mm"  # what a unit of the imported solids is
    width: Size | None = None  # of the bead's face, unless a seam says its own
    depth: Size | None = None
    seams: tables(SeamKeys) = {}
    faces: tables(FaceKeys) = {}


# the interface of a joint
resolve, place_name = own_mesh.resolve, "this part"


def check(part) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence): the first thing that stops the reading."""
    return complaint(lambda: seam_lines(part))


def seam_lines(part) -> dict[str, SeamLine]:
    return _lines(*_identity(part), part.width, part.depth)


def faces(part) -> tuple[str, ...]:
    """Names of faces, of the file and of the case."""
    return tuple(_rough(part).mesh.boundaries or {})


def place(part, name: str) -> np.ndarray:
    """Middle of a named face, shape (3,). [m]"""
    return own_mesh.middle_of(_rough(part).mesh, name, place_name)


def default_tacks(part) -> tuple:
    """None: solids that touch are one."""
    return ()


def gap_places(part) -> dict:
    return {}


def mesh(case, grade):
    """Tetrahedra with regions and boundaries, and the volumes of the drawn solids. [m3]

    Raises
    ------
    MeshError
        If Gmsh cannot mesh the solids, or the mesh does not fill them.
    """
    found, volumes = _built(*_identity(case.part), grade)
    return found.mesh, volumes


def words(part) -> str:
    """One line for `weldsim check`."""
    return f"{LABEL} {described(part, _rough(part).mesh, 'tetrahedron')} on a rough mesh"


# reading and meshing
def _identity(part) -> tuple:
    tables_of = (tuple(sorted(t.items())) for t in (part.seams, part.faces))
    return part.file, stamp(part.file), part.scale, part.width, *tables_of


def _rough(part) -> Found:
    return _built(*_identity(part), _rough_grade())[0]


def _rough_grade():
    from weldsim.geometry.grades import GRADES

    return GRADES[ROUGH]


@lru_cache(maxsize=4)
def _lines(file, when, scale, width, seams, named, _, depth) -> dict[str, SeamLine]:
    found, _ = _built(file, when, scale, width, seams, named, _rough_grade())
    return lines_of(own_mesh.Said(width, depth, dict(seams)), found.mesh, found.curves)


@lru_cache(maxsize=4)
def _built(file, when, scale, width, seams, named, grade):
    """The part meshed at a grade, as `Found`, and the volumes of its regions. [m3]"""
    from weldsim.geometry.gmsh_reading import read_gmsh
    from weldsim.geometry.mesh_checks import check_names

    seams, unit = dict(seams), SCALES[scale]
    own_mesh.check_seam_names(seams)
    with _session() as gmsh:
        solids = _import(gmsh, file)
        curves = {seam_name(n): _curve(gmsh, n, k, unit) for n, k in seams.items()}
        volumes = _add_groups(gmsh, solids, curves, dict(named), unit)
        wide = {seam_name(n): (k.width or width) for n, k in seams.items()}
        missing = next((n for n, w in wide.items() if w is None), None)
        if missing:
            raise NotAllowed(
                "width", f'missing for seam {missing}, allowed: "5 mm" here or in '
                f"[part.seams.{missing}]"
            )  # fmt: skip
        _set_sizes(gmsh, curves, wide, grade, unit)
        try:
            gmsh.model.mesh.generate(3)
        except Exception as error:
            raise MeshError(f"Gmsh could not mesh {Path(file).name}: {error}") from error
        gmsh.model.mesh.affineTransform([unit, 0, 0, 0, 0, unit, 0, 0, 0, 0, unit, 0])
        mesh = read_gmsh(gmsh)
    own_mesh.check_whole(mesh)
    check_names(mesh, volumes, set(mesh.boundaries or {}), TOLERANCE)
    return Found(mesh, curves), volumes


@contextmanager
def _session():
    """Gmsh, silent and on one thread, so that a mesh is the same bit for bit."""
    from weldsim.system.libraries import import_gmsh
    from weldsim.system.signals import kept_signals

    gmsh = import_gmsh()
    with kept_signals():
        gmsh.initialize()
        try:
            gmsh.option.setNumber("General.Terminal", 0)
            gmsh.option.setNumber("General.NumThreads", 1)
            yield gmsh
        finally:
            gmsh.finalize()


def _import(gmsh, file: str) -> list[int]:
    """Numbers of the solids in a file."""
    name = Path(file).name
    try:
        shapes = gmsh.model.occ.importShapes(file)
        gmsh.model.occ.synchronize()
    except Exception as error:
        raise NotAllowed("file", f"{name} cannot be read as STEP: {error}") from None
    solids = [tag for dim, tag in shapes if dim == 3]
    if not solids:
        raise NotAllowed("file", f"{name} holds no solid, allowed: closed solids")
    return solids


def _label(gmsh, dim: int, tag: int) -> str:
    """Name in the file: the last piece of the path Gmsh gives."""
    return gmsh.model.getEntityName(dim, tag).rpartition("/")[2].strip()


def _numbers(gmsh, dim: int, wanted, key: str, where: str) -> list[int]:
    """Edges or faces by number ("edge 12") or by their name in the file."""
    word = "edge" if dim == 1 else "face"
    known: dict[str, list[int]] = {}
    for _, tag in gmsh.model.getEntities(dim):
        known.setdefault(f"{word} {tag}", []).append(tag)
        if label := _label(gmsh, dim, tag):
            known.setdefault(label, []).append(tag)
    out = []
    for name in wanted:
        if name not in known:
            count = len(gmsh.model.getEntities(dim))
            raise NotAllowed(
                key, f"{where}: no {word} is named {name!r}, allowed: {word} 1 to {word} {count}"
                f"{near_to(name, known)}"
            )  # fmt: skip
        out += known[name]
    return out


# seams
def _curve(gmsh, name: str, keys, unit: float) -> np.ndarray:
    """Places of a seam in order, (M, 3). [m]"""
    if (keys.points is None) == (keys.edges is None):
        raise NotAllowed("seams", f'{name}: write either points or edges, such as ["edge 12"]')
    if keys.points is not None:
        if len(keys.points) < 2:
            raise NotAllowed("seams", f"{name} points: one place is no seam, allowed: two or more")
        return np.array(keys.points)
    pieces = [_edge(gmsh, t) for t in _numbers(gmsh, 1, keys.edges, "seams", name)]
    return unit * _joined(name, pieces)


def _edge(gmsh, tag: int) -> np.ndarray:
    """An edge as a chain of straight pieces, in the file's unit."""
    low, high = (float(v[0]) for v in gmsh.model.getParametrizationBounds(1, tag))
    count = 1 if gmsh.model.getType(1, tag) == "Line" else PIECES
    return np.reshape(gmsh.model.getValue(1, tag, np.linspace(low, high, count + 1)), (-1, 3))


def _joined(name: str, pieces) -> np.ndarray:
    """Edges end to end; the first is turned so that the second begins where it ends."""
    slack = 1e-6 * max(float(np.ptp(p, axis=0).max()) for p in pieces)

    def meets(a, b):
        return np.linalg.norm(a - b) <= slack

    first = pieces[0]
    if len(pieces) > 1 and not any(meets(first[-1], e) for e in (pieces[1][0], pieces[1][-1])):
        first = first[::-1]
    out = [first]
    for piece in pieces[1:]:
        if meets(out[-1][-1], piece[-1]) and not meets(out[-1][-1], piece[0]):
            piece = piece[::-1]
        if not meets(out[-1][-1], piece[0]):
            raise NotAllowed(
                "seams", f"{name} edges: they do not meet end to end, allowed: one chain in order"
            )
        out.append(piece[1:])
    places = np.concatenate(out)
    inner = places[:-1] if meets(places[0], places[-1]) else places
    apart = np.linalg.norm(inner[:, None] - inner[None], axis=2) + np.eye(len(inner)) / slack
    if apart.min() <= slack:
        raise NotAllowed("seams", f"{name} edges: the chain meets itself, allowed: one chain")
    if meets(places[0], places[-1]):
        places[-1] = places[0]
    return places


# solids and faces
def _add_groups(gmsh, solids, curves, named, unit: float) -> dict[str, float]:
    """Glue the solids, name regions and faces; volumes of the regions. [m3]"""
    region = {}
    for tag in solids:
        label = _label(gmsh, 3, tag)
        filler = label.split()[:1] in (["fill"], ["land"])
        region[tag] = region_of(label, curves) if filler else "part"
    labelled: dict[str, list[int]] = {}
    for _, tag in gmsh.model.getEntities(2):
        if label := _label(gmsh, 2, tag):
            labelled.setdefault(label, []).append(tag)
    for name, keys in named.items():
        if (keys.plane is None) == (keys.faces is None):
            raise NotAllowed("faces", f'{name}: write either plane, such as "+x", or faces')
        if keys.faces is not None:
            labelled[name] = _numbers(gmsh, 2, keys.faces, "faces", name)
    owners, kept = _glue(gmsh, region, labelled)
    groups: dict[str, list[int]] = {}
    for tag, owner in owners.items():
        groups.setdefault(owner, []).append(tag)
    for name, keys in named.items():
        if keys.plane is not None:
            kept[name] = _outermost(gmsh, name, keys.plane, owners)
    for name, tags in groups.items():
        gmsh.model.addPhysicalGroup(3, tags, name=name)
    for name, tags in kept.items():
        gmsh.model.addPhysicalGroup(2, sorted(set(tags)), name=name)
    mass = gmsh.model.occ.getMass
    return {n: unit**3 * sum(mass(3, t) for t in tags) for n, tags in groups.items()}


def _glue(gmsh, region, labelled):
    """Solids cut where they touch, so that they share faces: region of each piece, and faces."""
    faces = sorted({t for tags in labelled.values() for t in tags})
    before = [(3, t) for t in region] + [(2, t) for t in faces]
    after = [[dt] for dt in before]
    if len(region) > 1:
        try:
            _, after = gmsh.model.occ.fragment(before, [])
            gmsh.model.occ.synchronize()
        except Exception as error:
            raise NotAllowed("file", f"the solids cannot be glued: {error}") from None
    pieces = dict(zip(before, after, strict=True))
    owners: dict[int, str] = {}
    for tag, name in region.items():
        for _, piece in pieces[3, tag]:
            if owners.get(piece) != "part":  # where a bead is drawn into the part there is metal
                owners[piece] = name
    if "part" not in owners.values():
        raise NotAllowed("file", "every solid is filler or land, allowed: one of base metal")
    return owners, {
        name: [t for tag in tags for d, t in pieces[2, tag] if d == 2]
        for name, tags in labelled.items()
    }


def _outermost(gmsh, name: str, plane: str, owners) -> list[int]:
    """Flat outer faces of the base metal that lie farthest out in a direction."""
    axis, sign = "xyz".index(plane[1]), UP[plane]["xyz".index(plane[1])]
    flat = {}
    size = max(np.diff(np.reshape(gmsh.model.getBoundingBox(-1, -1), (2, 3)), axis=0)[0])
    for _, tag in gmsh.model.getEntities(2):
        behind = gmsh.model.getAdjacencies(2, tag)[0]
        if len(behind) != 1 or owners.get(int(behind[0])) != "part":
            continue
        box = np.reshape(gmsh.model.getBoundingBox(2, tag), (2, 3))
        if box[1, axis] - box[0, axis] < 1e-5 * size:
            flat[tag] = sign * box[:, axis].mean()
    if not flat:
        raise NotAllowed("faces", f"{name} plane: no flat face looks {plane}, allowed: another")
    far = max(flat.values())
    if far < sign * _end(gmsh, axis, sign, owners) - 1e-4 * size:
        raise NotAllowed(
            "faces", f"{name} plane: the part ends in no flat face toward {plane}, allowed: a "
            "direction in which it does"
        )  # fmt: skip
    return [tag for tag, at in flat.items() if at > far - 1e-5 * size]


def _end(gmsh, axis: int, sign: float, owners) -> float:
    """Where the base metal ends along an axis."""
    boxes = [
        np.reshape(gmsh.model.getBoundingBox(3, t), (2, 3))[:, axis]
        for t, owner in owners.items() if owner == "part"
    ]  # fmt: skip
    return float(np.max(boxes) if sign > 0 else np.min(boxes))


def _set_sizes(gmsh, curves, wide, grade, unit: float) -> None:
    """The sizes of `common.near_seams` as Gmsh fields: they grow with the distance from seams."""
    number = gmsh.option.setNumber
    for key in ("ExtendFromBoundary", "FromPoints"):
        number(f"Mesh.MeshSize{key}", 0)
    number("Mesh.MeshSizeFromCurvature", AROUND)
    field, every = gmsh.model.mesh.field, []
    for name, places in curves.items():
        width = wide[name] / unit
        fine, coarse = grade.travel_cell * width, 2 * THIN * grade.coarsest * width
        at = field.add("Distance")
        field.setNumbers(at, "PointsList", _beside(gmsh, places / unit, fine / 4))
        size = field.add("Threshold")
        for key, value in (
            ("InField", at), ("SizeMin", fine), ("SizeMax", coarse), ("DistMin", width),
            ("DistMax", width + (coarse - fine) / (THIN * grade.growth)),
        ):  # fmt: skip
            field.setNumber(size, key, value)
        every.append(size)
    least = field.add("Min")
    field.setNumbers(least, "FieldsList", every)
    field.setAsBackgroundMesh(least)


def _beside(gmsh, places, step: float) -> list[int]:
    """Points along a chain that belong to no solid, from which distances are taken."""
    out = []
    for a, b in zip(places[:-1], places[1:], strict=True):
        count = max(1, int(np.ceil(np.linalg.norm(b - a) / step)))
        out += [gmsh.model.occ.addPoint(*(a + (b - a) * i / count)) for i in range(count)]
    out.append(gmsh.model.occ.addPoint(*places[-1]))
    gmsh.model.occ.synchronize()
    return out
