"""Seams of a STEP file: places, or edges joined end to end. Runs where Gmsh does."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.own_step.job import SeamPath
from weldsim.schema.section_checks import near_to

PIECES = 48  # straight pieces an edge is cut into that is not straight
WORDS = {1: "edge", 2: "face"}  # by dimension


def label_of(gmsh: Any, dim: int, tag: int) -> str:
    """Name of an entity in the file: the last piece of the path Gmsh gives."""
    return gmsh.model.getEntityName(dim, tag).rpartition("/")[2].strip()


def chosen(gmsh: Any, dim: int, wanted: Iterable[str], key: str, where: str) -> list[int]:
    """Edges or faces by number ("edge 12") or by their name in the file.

    Parameters
    ----------
    gmsh : module
        With the solids.
    dim : int
        1 for edges, 2 for faces.
    wanted : iterable of str
        Their names.
    key, where : str
        Key of ``[part]`` and name of the table, for a refusal.

    Returns
    -------
    list of int
        Gmsh's tags.

    Raises
    ------
    NotAllowed
        If there is none of a name.
    """
    word = WORDS[dim]
    known: dict[str, list[int]] = {}
    for _, tag in gmsh.model.getEntities(dim):
        known.setdefault(f"{word} {tag}", []).append(tag)
        if label := label_of(gmsh, dim, tag):
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


def curve_of(gmsh: Any, name: str, path: SeamPath, unit: float) -> np.ndarray:
    """Places of a seam in order.

    Parameters
    ----------
    gmsh : module
        With the solids.
    name : str
        Of the seam, for a refusal.
    path : SeamPath
        Places or edges.
    unit : float
        Length of a unit of the solids. [m]

    Returns
    -------
    ndarray, shape (M, 3)
        The first again at the end of a closed seam. [m]

    Raises
    ------
    NotAllowed
        If neither or both are stated, or the edges are no chain.
    """
    if (path.points is None) == (path.edges is None):
        raise NotAllowed("seams", f'{name}: write either points or edges, such as ["edge 12"]')
    if path.points is not None:
        if len(path.points) < 2:
            raise NotAllowed("seams", f"{name} points: one place is no seam, allowed: two or more")
        return np.array(path.points)
    pieces = [_edge(gmsh, tag) for tag in chosen(gmsh, 1, path.edges or (), "seams", name)]
    return unit * _joined(name, pieces)


def _edge(gmsh: Any, tag: int) -> np.ndarray:
    """An edge as a chain of straight pieces, in the file's unit."""
    low, high = (float(v[0]) for v in gmsh.model.getParametrizationBounds(1, tag))
    count = 1 if gmsh.model.getType(1, tag) == "Line" else PIECES
    return np.reshape(gmsh.model.getValue(1, tag, np.linspace(low, high, count + 1)), (-1, 3))


def _joined(name: str, pieces: list[np.ndarray]) -> np.ndarray:
    """Edges end to end; the first is turned so that the second begins where it ends."""
    slack = 1e-6 * max(float(np.ptp(p, axis=0).max()) for p in pieces)

    def meets(a: np.ndarray, b: np.ndarray) -> bool:
        return bool(np.linalg.norm(a - b) <= slack)

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
