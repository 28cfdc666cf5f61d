"""The outside of a part whose metal grows: which faces and sharp edges show at which frame.

Numpy only. A face shows from the first frame in which the metal on one side of it is there until
the metal on its other side is there too; so one list of faces serves all frames of a run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NEVER = 65535  # frame number of what does not happen
SHARP = 25.0  # degrees between two faces that make an edge worth a line
# corners of the faces of a cell, in VTK's order of its corners
FACES = {
    8: ((0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)),
    4: ((0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)),
}


@dataclass(frozen=True)
class OuterSurface:
    """Faces and sharp edges that show at some frame: F faces, E edges, P points.

    Attributes
    ----------
    used : ndarray, shape (P,)
        Numbers of the surface's points among those of the mesh.
    faces : ndarray, shape (F, 4) or (F, 3)
        Corners, into `used`.
    faces_on, faces_off : ndarray, shape (F,)
        Frame from which and before which a face shows.
    edges : ndarray, shape (E, 2)
        Ends, into `used`.
    edges_on, edges_off : ndarray, shape (E,)
        Frame from which and before which an edge shows.
    """

    used: np.ndarray
    faces: np.ndarray
    faces_on: np.ndarray
    faces_off: np.ndarray
    edges: np.ndarray
    edges_on: np.ndarray
    edges_off: np.ndarray


def outer_surface(points: np.ndarray, cells: np.ndarray, active: np.ndarray) -> OuterSurface:
    """Outside of a mesh over the frames of a series.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        As built. [m]
    cells : ndarray, shape (C, 8) or (C, 4)
        Corners in VTK's order.
    active : ndarray of bool, shape (K, C)
        Which cells are metal at each of K frames; once active a cell stays so.

    Returns
    -------
    OuterSurface
        One list of faces and edges for all frames.
    """
    active = np.asarray(active, dtype=bool)
    first = np.where(active.any(axis=0), active.argmax(axis=0), NEVER)
    faces, on, off = showing_faces(np.asarray(cells), first)
    used, flat = np.unique(faces, return_inverse=True)
    faces = flat.reshape(faces.shape)
    edges, edges_on, edges_off = showing_edges(np.asarray(points)[used], faces, on, off)
    return OuterSurface(used, faces, on, off, edges, edges_on, edges_off)


def showing_faces(
    cells: np.ndarray, first: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Faces that show at some frame, from which and before which frame.

    Parameters
    ----------
    cells : ndarray, shape (C, n)
        Corners in VTK's order.
    first : ndarray, shape (C,)
        Frame in which each cell is first metal, NEVER for none.

    Returns
    -------
    faces : ndarray, shape (F, 4) or (F, 3)
        Corners.
    on, off : ndarray, shape (F,)
        Frame from which and before which each shows.
    """
    corners = np.array(FACES[cells.shape[1]])
    every = cells[:, corners].reshape(-1, corners.shape[1])
    starts = np.repeat(first, len(corners))
    _, place, back = np.unique(np.sort(every, axis=1), axis=0, return_index=True,
                               return_inverse=True)  # fmt: skip
    on = np.full(len(place), NEVER)
    np.minimum.at(on, back.ravel(), starts)
    last = np.full(len(place), -1)
    np.maximum.at(last, back.ravel(), starts)
    alone = np.bincount(back.ravel(), minlength=len(place)) == 1
    off = np.where(alone, NEVER, last)
    shows = on < off
    return every[place[shows]], on[shows], off[shows]


def showing_edges(
    points: np.ndarray, faces: np.ndarray, on: np.ndarray, off: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Edges between faces at an angle, or with one face only, and when they show.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    faces : ndarray, shape (F, 4) or (F, 3)
        Corners, into `points`.
    on, off : ndarray, shape (F,)
        Frame from which and before which each face shows.

    Returns
    -------
    edges : ndarray, shape (E, 2)
        Ends; one entry for each unbroken stretch of frames.
    on, off : ndarray, shape (E,)
        Frame from which and before which each shows.
    """
    changes = np.unique(np.concatenate([on, off[off < NEVER], [0]]))
    found = [sharp_edges(points, faces[(on <= k) & (k < off)]) for k in changes]
    count = [len(f) for f in found]
    if not sum(count):
        return np.zeros((0, 2), dtype=int), np.zeros(0, dtype=int), np.zeros(0, dtype=int)
    ends = np.append(changes[1:], NEVER)
    number = np.repeat(np.arange(len(changes)), count)
    both = np.concatenate(found)
    key = both[:, 0] * len(points) + both[:, 1]
    order = np.lexsort((number, key))
    both, key, number = both[order], key[order], number[order]
    # one entry for each unbroken stretch of frames in which an edge is sharp
    new = np.append(True, (np.diff(key) != 0) | (np.diff(number) != 1))
    head = np.flatnonzero(new)
    tail = np.append(head[1:], len(key)) - 1
    return both[head], changes[number[head]], ends[number[tail]]


def sharp_edges(points: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Edges where two faces meet at more than `SHARP` degrees, or that bound one face.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        [m]
    faces : ndarray, shape (F, 4) or (F, 3)
        Corners, into `points`.

    Returns
    -------
    ndarray, shape (E, 2)
        Ends, the lower number first.
    """
    if not len(faces):
        return np.zeros((0, 2), dtype=int)
    corners = faces.shape[1]
    a, b, c = (points[faces[:, i]] for i in (0, 1, 2))
    normal = np.cross(b - a, c - a) if corners == 3 else np.cross(c - a, points[faces[:, 3]] - b)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
    pairs = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(faces)), corners)
    key = pairs[:, 0] * len(points) + pairs[:, 1]
    order = np.argsort(key, kind="stable")
    key, pairs, owner = key[order], pairs[order], owner[order]
    _, place, count = np.unique(key, return_index=True, return_counts=True)
    sharp = count != 2
    two = place[~sharp]
    cosine = np.abs(np.einsum("ij,ij->i", normal[owner[two]], normal[owner[two + 1]]))
    sharp[~sharp] = cosine < np.cos(np.radians(SHARP))
    edges: np.ndarray = pairs[place[sharp]]
    return edges
