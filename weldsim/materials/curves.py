"""One property against temperature, as a standard prints it: formulas by range, or a table.

A curve is a row of pieces between edges; in each piece the value is a polynomial plus, where a
standard has one, a hyperbola: `poly(T) + top / (T - pole)`. A table is a row of straight pieces.
That is enough to write EN 1993-1-2 and EN 1999-1-2 down as data and to integrate them exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from weldsim.errors import MaterialError

NO_POLE = -1e9  # where a piece without a hyperbola keeps its pole: far from any temperature
EDGE = 1e-6  # temperatures this close to the end of a range count as inside [K]
STEP = 1e-3  # width over which a table runs through a jump of a standard's formulas [K]
FIRST_INTERVAL = 25.0  # widest interval of a table inside the range of a curve [K]
TABLE_TOLERANCE = 4e-4  # error of a table at mid-interval over the value


@dataclass(frozen=True, eq=False)
class Curve:
    """A property against temperature, with where it comes from.

    Parameters
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
    def from_table(cls, temperatures, values, **about) -> Curve:
        """Straight lines between points; temperatures (n,) rising [K], values (n,)."""
        t, v = np.asarray(temperatures, float), np.asarray(values, float)
        if t.ndim != 1 or t.shape != v.shape or t.size < 2 or np.any(np.diff(t) <= 0):
            raise ValueError("a table needs rising temperatures and as many values, two at least")
        slope = np.diff(v) / np.diff(t)
        origin = about.setdefault("origin", 273.15)
        poly = np.column_stack([v[:-1] - slope * (t[:-1] - origin), slope])
        none = np.zeros(t.size - 1)
        return cls(t, poly, none, none + NO_POLE, **about)

    @classmethod
    def constant(cls, value: float, **about) -> Curve:
        """The same value at every temperature."""
        about["hold"] = True
        return cls.from_table([273.15, 1273.15], [value, value], **about)

    def __call__(self, temperature):
        """Value at temperatures of any shape. [K]

        Raises
        ------
        MaterialError
            Outside the range, unless the curve holds its end values.
        """
        inside = self._inside(temperature)
        i = self._piece(inside)
        t = inside - self.origin
        return _horner(self.poly[i], t) + self.top[i] / (t - self.pole[i])

    def integral(self, temperature):
        """Exact integral from the first edge, end values held beyond the edges if `hold`."""
        inside = self._inside(temperature)
        i = self._piece(inside)
        area = self._sums[i] + self._primitive(inside, i) - self._primitive(self.edges[i], i)
        return area + self(inside) * (np.asarray(temperature, float) - inside)

    def check_range(self, lowest: float, highest: float) -> None:
        """Raise `MaterialError` if a temperature between the two has no value. [K]"""
        low, high = self.edges[0], self.edges[-1]
        if self.hold or (lowest >= low - EDGE and highest <= high + EDGE):
            return
        asked = lowest if lowest < low - EDGE else highest
        raise MaterialError(
            f"{self.label}: no value at {asked - 273.15:.6g} degC, the curve runs from "
            f"{low - 273.15:.6g} to {high - 273.15:.6g} degC; extend it, or set "
            'beyond_range = "hold"'
        )

    def _inside(self, temperature):
        t = np.asarray(temperature, dtype=float)
        if not self.hold and t.size:
            self.check_range(t.min(), t.max())
        return np.clip(t, self.edges[0], self.edges[-1])

    def _piece(self, temperature):
        i = np.searchsorted(self.edges, temperature, side="right") - 1
        return np.clip(i, 0, self.top.size - 1)

    def _primitive(self, temperature, i):
        t = temperature - self.origin
        powers = np.arange(1, self.poly.shape[1] + 1)
        area = _horner(self.poly[i] / powers, t) * t
        return area + self.top[i] * np.log(np.abs(t - self.pole[i]))

    @cached_property
    def _sums(self):
        """Integral up to the start of each piece, shape (n,)."""
        i = np.arange(self.top.size)
        areas = self._primitive(self.edges[1:], i) - self._primitive(self.edges[:-1], i)
        return np.concatenate([[0.0], np.cumsum(areas)[:-1]])


def _horner(coefficients, t):
    value = np.zeros_like(t)
    for k in range(coefficients.shape[-1] - 1, -1, -1):
        value = value * t + coefficients[..., k]
    return value


def refined_table(function, kinks):
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


def without_straight(nodes, values):
    """The same piecewise-linear table without the nodes on a straight line; both (n,)."""
    before, after = nodes[1:-1] - nodes[:-2], nodes[2:] - nodes[1:-1]
    line = (values[:-2] * after + values[2:] * before) / (before + after)
    bends = np.abs(values[1:-1] - line) > 1e-13 * np.abs(values).max()
    keep = np.concatenate([[True], bends, [True]])
    return nodes[keep], values[keep]


def _subdivided(kinks):
    parts = [
        np.linspace(a, b, int(np.ceil((b - a) / FIRST_INTERVAL)) + 1)
        for a, b in zip(kinks[:-1], kinks[1:], strict=True)
    ]
    return np.unique(np.concatenate(parts))
