"""Where the torch is: straight and curved seams with a local frame.

The frame of a seam: `travel` along the bead in the direction of welding, `inward` from the
surface into the part, `across` completing a right-handed set.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True)
class Seam:
    """A straight seam on a surface.

    Attributes
    ----------
    start, end : ndarray, shape (3,)
        First and last place of the arc on the base surface. [m]
    inward : ndarray, shape (3,)
        Unit vector from the surface into the part.
    """

    start: np.ndarray
    end: np.ndarray
    inward: np.ndarray

    closed = False

    @property
    def length(self) -> float:
        """From end to end. [m]"""
        return float(np.linalg.norm(self.end - self.start))

    @property
    def travel(self) -> np.ndarray:
        """Unit vector in the direction of welding, shape (3,)."""
        unit: np.ndarray = (self.end - self.start) / self.length
        return unit

    @property
    def across(self) -> np.ndarray:
        """Unit vector across the seam on the surface, shape (3,)."""
        return np.cross(self.inward, self.travel)

    @property
    def middle(self) -> np.ndarray:
        """Place half-way along, shape (3,). [m]"""
        middle: np.ndarray = (self.start + self.end) / 2
        return middle

    def local(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Places in the frame of the seam.

        Parameters
        ----------
        points : ndarray, shape (P, 3)
            [m]

        Returns
        -------
        along, across, inward : ndarray, shape (P,)
            Distance along the seam, across it and into the part. [m]
        """
        d = points - self.start
        return d @ self.travel, d @ self.across, d @ self.inward

    def frames(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Directions of the seam where it is nearest to places.

        Parameters
        ----------
        points : ndarray, shape (P, 3)
            [m]

        Returns
        -------
        travel, across : ndarray, shape (P, 3)
            Unit vectors.
        """
        shape = np.shape(points)
        return np.broadcast_to(self.travel, shape), np.broadcast_to(self.across, shape)


@dataclass(frozen=True)
class CurvedSeam:
    """A seam along a chain of short straight pieces.

    Attributes
    ----------
    points : ndarray, shape (M, 3)
        Places of the arc in the direction of welding. [m]
    inwards : ndarray, shape (M, 3)
        Unit vectors into the part at those places.
    closed : bool
        The last place is the first one again: what lies behind the start is near the end.
    """

    points: np.ndarray
    inwards: np.ndarray
    closed: bool = False

    @cached_property
    def _pieces(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit travel (M - 1, 3), length (M - 1,) and way up to each place (M,)."""
        step = np.diff(self.points, axis=0)
        length = np.linalg.norm(step, axis=1)
        way = np.concatenate([[0.0], np.cumsum(length)])
        return step / length[:, None], length, way

    @property
    def start(self) -> np.ndarray:
        """First place of the arc, shape (3,). [m]"""
        first: np.ndarray = self.points[0]
        return first

    @property
    def end(self) -> np.ndarray:
        """Last place of the arc, shape (3,). [m]"""
        last: np.ndarray = self.points[-1]
        return last

    @property
    def length(self) -> float:
        """Along the chain. [m]"""
        return float(self._pieces[2][-1])

    @property
    def middle(self) -> np.ndarray:
        """Place half-way along, shape (3,). [m]"""
        way = self._pieces[2]
        half = way[-1] / 2
        return np.array([np.interp(half, way, self.points[:, i]) for i in range(3)])

    @property
    def inward(self) -> np.ndarray:
        """Direction into the part half-way along, shape (3,)."""
        amid: np.ndarray = self.inwards[len(self.inwards) // 2]
        return amid

    @property
    def travel(self) -> np.ndarray:
        """Direction of welding half-way along, shape (3,)."""
        directions = self._pieces[0]
        amid: np.ndarray = directions[len(directions) // 2]
        return amid

    def _nearest(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Nearest piece of each point and the place along it, beyond the ends too."""
        direction, length, _ = self._pieces
        best = np.full(len(points), np.inf)
        piece = np.zeros(len(points), dtype=np.int64)
        along = np.zeros(len(points))
        last = len(length) - 1
        for i in range(len(length)):
            d = points - self.points[i]
            s = d @ direction[i]
            low = -np.inf if i == 0 and not self.closed else 0.0
            high = np.inf if i == last and not self.closed else length[i]
            s = np.clip(s, low, high)
            away = ((d - s[:, None] * direction[i]) ** 2).sum(axis=1)
            hit = away < best - 1e-15
            best[hit], piece[hit], along[hit] = away[hit], i, s[hit]
        return piece, along

    def _frame(
        self, piece: np.ndarray, along: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        direction, length, _ = self._pieces
        share = np.clip(along / length[piece], 0.0, 1.0)[:, None]
        inward = (1 - share) * self.inwards[piece] + share * self.inwards[piece + 1]
        travel = direction[piece]
        inward = inward - (inward * travel).sum(axis=1)[:, None] * travel
        inward /= np.linalg.norm(inward, axis=1)[:, None]
        return travel, np.cross(inward, travel), inward

    def local(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Places in the frame of the seam.

        Parameters
        ----------
        points : ndarray, shape (P, 3)
            [m]

        Returns
        -------
        along, across, inward : ndarray, shape (P,)
            Distance along the seam, across it and into the part. [m]
        """
        piece, along = self._nearest(points)
        _, across, inward = self._frame(piece, along)
        d = points - self.points[piece]
        way = self._pieces[2]
        return way[piece] + along, (d * across).sum(axis=1), (d * inward).sum(axis=1)

    def frames(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Directions of the seam where it is nearest to places.

        Parameters
        ----------
        points : ndarray, shape (P, 3)
            [m]

        Returns
        -------
        travel, across : ndarray, shape (P, 3)
            Unit vectors.
        """
        travel, across, _ = self._frame(*self._nearest(points))
        return travel, across


@dataclass(frozen=True)
class SeamLine:
    """A named seam of a joint, from end to end, before anything is said about welding it.

    Attributes
    ----------
    name : str
    points : ndarray, shape (M, 3)
        Places of the arc in the seam's natural direction. [m]
    inwards : ndarray, shape (M, 3)
        Unit vectors into the part.
    directions : dict of str to int
        Words for the two directions of travel: 1 the natural one, -1 the other.
    width : float
        Width of the bead's face, the length its cells and steps are measured in. [m]
    depth : float
        From the arc to the bottom of what is to be fused. [m]
    closed : bool
        The seam runs once around.
    passes : int
        Passes the joint's bead layout has room for.
    offsets : tuple
        (across, outward) of each pass's arc from the points; empty for none. [m]
    root : float or None
        From the arc to the root; half the width in a fillet's corner where None. [m]
    beads : int
        Beads side by side, of that width each, which an arc lays together.
    at_once : bool
        They are laid all along their length at once.
    waits : tuple of float or None
        Pauses between them, which are waited out around the arc; None for the schedule's own. [s]
    """

    name: str
    points: np.ndarray
    inwards: np.ndarray
    directions: dict[str, int]
    width: float
    depth: float
    closed: bool = False
    passes: int = 1
    offsets: tuple[tuple[float, float], ...] = ()
    root: float | None = None
    beads: int = 1
    at_once: bool = False
    waits: tuple[float | None, ...] = ()

    @property
    def to_root(self) -> float:
        """From the arc to the root. [m]"""
        return self.width / 2 if self.root is None else self.root

    @property
    def length(self) -> float:
        """From end to end along the chain. [m]"""
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())

    def cut(
        self, begin: float, finish: float, direction: int, number: int = 1
    ) -> Seam | CurvedSeam:
        """A stretch of it as the path of an arc.

        Parameters
        ----------
        begin, finish : float
            From where to where, from the line's natural start. [m]
        direction : int
            1 to weld along the natural direction, -1 against it.
        number : int, optional
            Pass, from 1; says which offset the arc has.

        Returns
        -------
        Seam or CurvedSeam
            In the direction of welding.
        """
        step = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        way = np.concatenate([[0.0], np.cumsum(step)])
        inner = way[(way > begin + 1e-9) & (way < finish - 1e-9)]
        at = np.concatenate([[begin], inner, [finish]])
        points = np.array([np.interp(at, way, self.points[:, i]) for i in range(3)]).T
        inwards = np.array([np.interp(at, way, self.inwards[:, i]) for i in range(3)]).T
        inwards /= np.linalg.norm(inwards, axis=1)[:, None]
        if self.offsets:
            aside, out = self.offsets[number - 1]
            travel = np.gradient(points, axis=0) if len(points) > 2 else np.diff(points, axis=0)
            travel = travel / np.linalg.norm(travel, axis=1)[:, None]
            points = points + aside * np.cross(inwards, travel) - out * inwards
        if direction < 0:
            points, inwards = points[::-1], inwards[::-1]
        whole = finish - begin >= way[-1] * (1 - 1e-9)
        if len(points) == 2 and np.allclose(inwards[0], inwards[1]):
            return Seam(points[0], points[1], inwards[0])
        return CurvedSeam(points, inwards, self.closed and whole)
