"""Solids of a STEP file: glued where they touch, their regions and faces named.

Runs where Gmsh does.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.joints.own_parts.names import region_of
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.own_step.edges import chosen, label_of
from weldsim.joints.own_step.job import FaceChoice

FILLER = ("fill", "land")  # first word of a solid that is no base metal


def import_solids(gmsh: Any, file: str) -> list[int]:
    """Tags of the solids in a STEP file.

    Raises
    ------
    NotAllowed
        If it cannot be read, or holds none.
    """
    name = Path(file).name
    try:
        shapes = gmsh.model.occ.importShapes(file)
        gmsh.model.occ.synchronize()
    except Exception as error:  # Gmsh raises nothing more special
        raise NotAllowed("file", f"{name} cannot be read as STEP: {error}") from None
    solids = [tag for dim, tag in shapes if dim == 3]
    if not solids:
        raise NotAllowed("file", f"{name} holds no solid, allowed: closed solids")
    return solids


def name_groups(
    gmsh: Any, solids: list[int], seams: Collection[str], named: Mapping[str, FaceChoice]
) -> dict[str, list[int]]:
    """Glue the solids where they touch, and make groups of regions and faces.

    Parameters
    ----------
    gmsh : module
        With the solids.
    solids : list of int
        Their tags.
    seams : collection of str
        Names of seams as the case writes them.
    named : Mapping
        Name of a face -> which it is.

    Returns
    -------
    dict
        Name of a region -> tags of its solids.

    Raises
    ------
    NotAllowed
        If a name fits nothing, or the solids cannot be glued.
    """
    region = {tag: _region(gmsh, tag, seams) for tag in solids}
    owners, faces = _glue(gmsh, region, _chosen_faces(gmsh, named))
    for name, choice in named.items():
        if choice.plane is not None:
            faces[name] = _outermost(gmsh, name, choice.plane, owners)
    regions: dict[str, list[int]] = {}
    for tag, owner in owners.items():
        regions.setdefault(owner, []).append(tag)
    for name, tags in regions.items():
        gmsh.model.addPhysicalGroup(3, tags, name=name)
    for name, tags in faces.items():
        gmsh.model.addPhysicalGroup(2, sorted(set(tags)), name=name)
    return regions


def _region(gmsh: Any, tag: int, seams: Collection[str]) -> str:
    label = label_of(gmsh, 3, tag)
    return region_of(label, seams) if label.split()[:1] in ([w] for w in FILLER) else "part"


def _chosen_faces(gmsh: Any, named: Mapping[str, FaceChoice]) -> dict[str, list[int]]:
    """Faces with a name of their own or of the case, those of a direction left out."""
    found: dict[str, list[int]] = {}
    for _, tag in gmsh.model.getEntities(2):
        if label := label_of(gmsh, 2, tag):
            found.setdefault(label, []).append(tag)
    for name, choice in named.items():
        if (choice.plane is None) == (choice.faces is None):
            raise NotAllowed("faces", f'{name}: write either plane, such as "+x", or faces')
        if choice.faces is not None:
            found[name] = chosen(gmsh, 2, choice.faces, "faces", name)
    return found


def _glue(
    gmsh: Any, region: dict[int, str], faces: dict[str, list[int]]
) -> tuple[dict[int, str], dict[str, list[int]]]:
    """Solids cut where they touch, so that they share faces: region of each piece, and faces."""
    every = sorted({t for tags in faces.values() for t in tags})
    before = [(3, t) for t in region] + [(2, t) for t in every]
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
        for name, tags in faces.items()
    }


def _outermost(gmsh: Any, name: str, plane: str, owners: Mapping[int, str]) -> list[int]:
    """Flat outer faces of the base metal that lie farthest out in a direction."""
    axis, sign = "xyz".index(plane[1]), -1.0 if plane[0] == "-" else 1.0
    flat = {}
    size = max(np.diff(_box(gmsh, -1, -1), axis=0)[0])
    for _, tag in gmsh.model.getEntities(2):
        behind = gmsh.model.getAdjacencies(2, tag)[0]
        if len(behind) != 1 or owners.get(int(behind[0])) != "part":
            continue
        box = _box(gmsh, 2, tag)
        if box[1, axis] - box[0, axis] < 1e-5 * size:
            flat[tag] = sign * box[:, axis].mean()
    if not flat:
        raise NotAllowed("faces", f"{name} plane: no flat face looks {plane}, allowed: another")
    far = max(flat.values())
    ends = [(sign * _box(gmsh, 3, t)[:, axis]).max() for t, o in owners.items() if o == "part"]
    if far < max(ends) - 1e-4 * size:
        raise NotAllowed(
            "faces", f"{name} plane: the part ends in no flat face toward {plane}, allowed: a "
            "direction in which it does"
        )  # fmt: skip
    return [tag for tag, at in flat.items() if at > far - 1e-5 * size]


def _box(gmsh: Any, dim: int, tag: int) -> np.ndarray:
    """Lowest and highest place of an entity, shape (2, 3)."""
    return np.reshape(gmsh.model.getBoundingBox(dim, tag), (2, 3))
