"""One property against temperature, as a standard prints it: formulas by range, or a table.

A curve is a row of pieces between edges; in each piece the value is a polynomial plus, where a
standard has one, a hyperbola: `poly(T) + top / (T - pole)`. A table is a row of straight pieces.
That is enough to write EN 1993-1-2 and EN 1999-1-2 down as data and to integrate them exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from weldsim.errors import MaterialError

NO_POLE = -1e9  # where a piece without a hyperbola keeps its pole: far from any temperature
EDGE = 1e-6  # temperatures this close to the end of a range count as inside [K]
STEP = 1e-3  # width over which a table runs through a jump of a standard's formulas [K]
FIRST_INTERVAL = 25.0  # widest interval of a table inside the range of a curve [K]
TABLE_TOLERANCE = 4e-4  # error of a table at mid-interval over the value


@dataclass(frozen=True, eq=False)
class Curve:
    """A property against temperature, with where it comes from.

    Attributes
    ----------
    edges : ndarray, shape (n + 1,)
        Rising temperatures between which the pieces hold. [K]
    poly : ndarray, shape (n, m)
        Coefficients of each piece, constant first, in powers of (T - `origin`).
    top, pole : ndarray, shape (n,)
        Hyperbola of each piece, `top / (T - origin - pole)`; `top` 0 for none.
    origin : float
        Zero of the temperature scale the formulas are written in. [K]
    hold : bool
        Outside the edges: True keeps the value at the edge, False raises `MaterialError`.
    source, extension : str
        Who published it; what was added outside the published range, and why.
    valid : tuple of float or None
        Published range. [K]
    label : str
        File and key, for messages.
    """

    edges: np.ndarray
    poly: np.ndarray
    top: np.ndarray
    pole: np.ndarray
    origin: float = 273.15
    hold: bool = True
    source: str = ""
    extension: str = ""
    valid: tuple[float, float] | None = None
    label: str = ""

    @classmethod
    def from_table(cls, temperatures: ArrayLike, values: ArrayLike, **about: Any) -> Curve:
        """Straight lines between points.

        Parameters
        ----------
        temperatures : array_like, shape (n,)
            Rising. [K]
        values : array_like, shape (n,)
            The property there.
        **about : object
            Further attributes of a curve, such as `source`.

        Returns
        -------
        Curve
            With n - 1 pieces.

        Raises
        ------
        ValueError
            If the temperatures do not rise, or are not as many as the values.
        """
        t, v = np.asarray(temperatures, float), np.asarray(values, float)
        if t.ndim != 1 or t.shape != v.shape or t.size < 2 or np.any(np.diff(t) <= 0):
            raise ValueError("a table needs rising temperatures and as many values, two at least")
        slope = np.diff(v) / np.diff(t)
        origin = about.setdefault("origin", 273.15)
        poly = np.column_stack([v[:-1] - slope * (t[:-1] - origin), slope])
        none = np.zeros(t.size - 1)
        return cls(t, poly, none, none + NO_POLE, **about)

    @classmethod
    def constant(cls, value: float, **about: Any) -> Curve:
        """The same value at every temperature.

        Parameters
        ----------
        value : float
            The property.
        **about : object
            Further attributes of a curve, such as `source`.

        Returns
        -------
        Curve
            It holds beyond its edges.
        """
        about["hold"] = True
        return cls.from_table([273.15, 1273.15], [value, value], **about)

    def __call__(self, temperature: ArrayLike) -> np.ndarray:
        """Value at temperatures of any shape. [K]

        Raises
        ------
        MaterialError
            Outside the range, unless the curve holds its end values.
        """
        inside = self._inside(temperature)
        i = self._piece(inside)
        t = inside - self.origin
        value: np.ndarray = _horner(self.poly[i], t) + self.top[i] / (t - self.pole[i])
        return value

    def integral(self, temperature: ArrayLike) -> np.ndarray:
        """Exact integral over temperature from the first edge.

        Parameters
        ----------
        temperature : array_like
            Upper ends, of any shape. [K]

        Returns
        -------
        ndarray
            [unit of the property times K], end values held beyond the edges if `hold`.

        Raises
        ------
        MaterialError
            Outside the range, unless the curve holds its end values.
        """
        inside = self._inside(temperature)
        i = self._piece(inside)
        area = self._sums[i] + self._primitive(inside, i) - self._primitive(self.edges[i], i)
        value: np.ndarray = area + self(inside) * (np.asarray(temperature, float) - inside)
        return value

    def check_range(self, lowest: float, highest: float) -> None:
        """Refuse a range in which some temperature has no value.

        Parameters
        ----------
        lowest, highest : float
            Ends of the range. [K]

        Raises
        ------
        MaterialError
            With the first temperature that has none.
        """
        low, high = self.edges[0], self.edges[-1]
        if self.hold or (lowest >= low - EDGE and highest <= high + EDGE):
            return
        asked = lowest if lowest < low - EDGE else highest
        raise MaterialError(
            f"{self.label}: no value at {asked - 273.15:.6g} °C, the curve runs from "
            f"{low - 273.15:.6g} to {high - 273.15:.6g} °C; extend it, or set "
            'beyond_range = "hold"'
        )

    def _inside(self, temperature: ArrayLike) -> np.ndarray:
        t = np.asarray(temperature, dtype=float)
        if not self.hold and t.size:
            self.check_range(t.min(), t.max())
        value: np.ndarray = np.clip(t, self.edges[0], self.edges[-1])
        return value

    def _piece(self, temperature: np.ndarray) -> np.ndarray:
        i = np.searchsorted(self.edges, temperature, side="right") - 1
        value: np.ndarray = np.clip(i, 0, self.top.size - 1)
        return value

    def _primitive(self, temperature: np.ndarray, i: np.ndarray) -> np.ndarray:
        t = temperature - self.origin
        powers = np.arange(1, self.poly.shape[1] + 1)
        area = _horner(self.poly[i] / powers, t) * t
        value: np.ndarray = area + self.top[i] * np.log(np.abs(t - self.pole[i]))
        return value

    @cached_property
    def _sums(self) -> np.ndarray:
        """Integral up to the start of each piece, shape (n,)."""
        i = np.arange(self.top.size)
        areas = self._primitive(self.edges[1:], i) - self._primitive(self.edges[:-1], i)
        return np.concatenate([[0.0], np.cumsum(areas)[:-1]])


CurveLike = Curve | float | tuple[ArrayLike, ArrayLike]


def curve_of(value: CurveLike, source: str, label: str) -> Curve:
    """A curve from what a caller may give for one.

    Parameters
    ----------
    value : Curve, float, or (temperatures, values)
        Tables [K, SI] hold their end values.
    source : str
        Where it comes from.
    label : str
        What messages call it.

    Returns
    -------
    Curve
        `value` itself where it is one.
    """
    if isinstance(value, Curve):
        return value
    if isinstance(value, int | float):
        return Curve.constant(float(value), source=source, label=label)
    temperatures, values = value
    return Curve.from_table(temperatures, values, source=source, label=label)


def _horner(coefficients: np.ndarray, t: np.ndarray) -> np.ndarray:
    value = np.zeros_like(t)
    for k in range(coefficients.shape[-1] - 1, -1, -1):
        value = value * t + coefficients[..., k]
    return value


def refined_table(
    function: Callable[[np.ndarray], np.ndarray], kinks: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and values of a piecewise-linear copy of `function`, refined where it curves.

    Parameters
    ----------
    function : callable
        Temperatures (n,) [K] to values (n,).
    kinks : ndarray
        Temperatures that must be nodes, the first and last being the range. [K]

    Returns
    -------
    temperatures, values : ndarray, shape (n,)
        Relative error at mid-interval at most `TABLE_TOLERANCE` (of the value, or of a thousandth
        of the largest value where that is more); jumps are run through in `STEP`.
    """
    nodes = _subdivided(np.unique(np.round(kinks, 9)))
    before = nodes[1:-1] - STEP
    jump = np.abs(function(nodes[1:-1]) - function(before))
    nodes = np.union1d(nodes, before[jump > 1e-6 * np.abs(function(nodes)).max()])
    for _ in range(16):
        values = function(nodes)
        middle = 0.5 * (nodes[1:] + nodes[:-1])
        exact = function(middle)
        error = np.abs(exact - 0.5 * (values[1:] + values[:-1]))
        size = np.maximum(np.abs(exact), 1e-3 * np.abs(values).max())
        bad = (error > TABLE_TOLERANCE * size) & (np.diff(nodes) > 2 * STEP)
        if not bad.any():
            break
        nodes = np.union1d(nodes, middle[bad])
    return without_straight(nodes, function(nodes))


def without_straight(nodes: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The same piecewise-linear table without the nodes on a straight line.

    Parameters
    ----------
    nodes, values : ndarray, shape (n,)
        The table.

    Returns
    -------
    nodes, values : ndarray, shape (m,)
        With the nodes at which the line bends, and both ends.
    """
    before, after = nodes[1:-1] - nodes[:-2], nodes[2:] - nodes[1:-1]
    line = (values[:-2] * after + values[2:] * before) / (before + after)
    bends = np.abs(values[1:-1] - line) > 1e-13 * np.abs(values).max()
    keep = np.concatenate([[True], bends, [True]])
    return nodes[keep], values[keep]


def _subdivided(kinks: np.ndarray) -> np.ndarray:
    parts = [
        np.linspace(a, b, int(np.ceil((b - a) / FIRST_INTERVAL)) + 1)
        for a, b in zip(kinks[:-1], kinks[1:], strict=True)
    ]
    return np.unique(np.concatenate(parts))
