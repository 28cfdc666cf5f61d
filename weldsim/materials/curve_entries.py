"""Sections of a material file that hold a curve: formulas by range, a table, or a constant."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.materials.curves import NO_POLE, Curve
from weldsim.materials.entries import Entries, Table, is_number

CURVE_UNITS = {
    "conductivity": "W/m/K",
    "specific_heat": "J/kg/K",
    "thermal_strain": "1",
    "youngs_modulus": "Pa",
    "yield_stress": "Pa",
    "hardening_modulus": "Pa",
}
CURVE_KEYS = (
    "unit", "times", "temperature_unit", "source", "valid", "extension", "note", "table", "pieces",
    "value",
)  # fmt: skip
EXTRA_KEYS = {
    "youngs_modulus": ("floor",),
    "yield_stress": ("floor",),
    "hardening_modulus": ("at_total_strain",),
}
SHAPES = ("table", "pieces", "value")
ORIGINS = {"degC": 273.15, "K": 0.0}


class CurveEntries(Entries):
    """Reads the sections that hold a curve."""

    def curve(self, key: str, data: Table, hold: bool) -> Curve:
        """The curve of a section; beyond its edges it holds its end values or raises."""
        self.known_keys(key, data, CURVE_KEYS + EXTRA_KEYS.get(key, ()))
        given = [shape for shape in SHAPES if shape in data]
        if len(given) != 1:
            self.refuse(key, "table", None, "give exactly one of table, pieces or value")
        origin = self.origin(key, data)
        about: Table = {
            "source": self.text(key, data, "source"),
            "extension": " ".join(
                self.text(key, data, k) for k in ("extension", "note") if k in data
            ),
            "label": f"{self.label} [{key}]",
            "origin": origin,
            "hold": hold,
        }
        scale = self.scale(key, data)
        if given == ["value"]:
            value = self.number(key, data, "value") * scale
            return Curve.constant(value, **about)
        low, high = about["valid"] = self.valid(key, data)
        if given == ["table"]:
            rows = self.rows(key, data["table"])
            curve = Curve.from_table(rows[:, 0] + origin, rows[:, 1] * scale, **about)
        else:
            curve = self.pieces(key, data["pieces"], scale, about)
        beyond = curve.edges[0] < low - 1e-6 or curve.edges[-1] > high + 1e-6
        if beyond and "extension" not in data:
            self.refuse(key, "extension", None, "missing: say what was added outside `valid`")
        return curve

    def origin(self, key: str, data: Table) -> float:
        """Zero of the temperature scale a section is written in. [K]"""
        unit = data.get("temperature_unit", "degC")
        if not isinstance(unit, str) or unit not in ORIGINS:
            self.refuse(key, "temperature_unit", unit, 'must be "degC" or "K"')
        return ORIGINS[unit]

    def scale(self, key: str, data: Table) -> float:
        """What the section's numbers are multiplied with to be SI."""
        if ("unit" in data) == ("times" in data):
            self.refuse(key, "unit", None, "give either unit or times")
        if "times" in data:
            return self.quantity(key, data, "times", CURVE_UNITS[key])
        unit = self.text(key, data, "unit")
        return self.si(key, "unit", unit if unit == "1" else f"1 {unit}", CURVE_UNITS[key])

    def valid(self, key: str, data: Table) -> tuple[float, float]:
        """The published range. [K]"""
        ends = self.need(key, data, "valid")
        if not isinstance(ends, list) or len(ends) != 2:
            self.refuse(key, "valid", ends, 'must be two temperatures, ["20 degC", "1200 degC"]')
        low, high = (self.si(key, "valid", end, "K") for end in ends)
        if low >= high:
            self.refuse(key, "valid", ends, "the first must be below the second")
        return low, high

    def rows(self, key: str, table: Any) -> np.ndarray:
        """Rows of temperature and value, shape (n, 2), temperatures rising."""
        try:
            rows = np.array(table, dtype=float)
        except (ValueError, TypeError):
            rows = np.empty(0)
        if rows.ndim != 2 or rows.shape[1] != 2 or len(rows) < 2 or not np.isfinite(rows).all():
            self.refuse(key, "table", None, "must be two or more rows of [temperature, value]")
        falls = np.flatnonzero(np.diff(rows[:, 0]) <= 0)
        if falls.size:
            row, before = rows[falls[0] + 1].tolist(), rows[falls[0], 0]
            self.refuse(key, "table", row, f"temperatures must rise, the row before has {before:g}")
        return rows

    def pieces(self, key: str, pieces: Any, scale: float, about: Table) -> Curve:
        """A curve of formulas by range, one where the other ends."""
        if not isinstance(pieces, list) or not pieces:
            self.refuse(key, "pieces", pieces, "must be a list of { from, to, poly }")
        edges: list[float] = []
        polys, tops, poles = [], [], []
        for piece in pieces:
            start, end, poly, top, pole = self.piece(key, piece, about["origin"])
            if edges and abs(start - edges[-1]) > 1e-6:
                self.refuse(key, "from", piece["from"], "must be where the piece before ends")
            edges += [end] if edges else [start, end]
            polys.append(poly)
            tops.append(top * scale)
            poles.append(pole)
        width = max(len(poly) for poly in polys)
        table = np.array([poly + [0.0] * (width - len(poly)) for poly in polys]) * scale
        return Curve(np.array(edges), table, np.array(tops), np.array(poles), **about)

    def piece(
        self, key: str, piece: Any, origin: float
    ) -> tuple[float, float, list[float], float, float]:
        """Start and end [K], coefficients, top and pole of one formula."""
        if not isinstance(piece, dict):
            self.refuse(key, "pieces", piece, "must be a list of { from, to, poly }")
        self.known_keys(key, piece, ("from", "to", "poly", "hyperbola"))
        start = round(self.quantity(key, piece, "from", "K", 0.0), 9)
        end = round(self.quantity(key, piece, "to", "K", 0.0), 9)
        if end <= start:
            self.refuse(key, "to", piece["to"], f"must be above from = {piece['from']!r}")
        poly = self.need(key, piece, "poly")
        if not isinstance(poly, list) or not poly or not all(is_number(c) for c in poly):
            self.refuse(key, "poly", poly, "must be a list of numbers, constant first")
        if "hyperbola" not in piece:
            return start, end, [float(c) for c in poly], 0.0, NO_POLE
        inner = piece["hyperbola"]
        if not isinstance(inner, dict):
            self.refuse(key, "hyperbola", inner, "must be { top, pole }")
        self.known_keys(key, inner, ("top", "pole"))
        top, pole = self.number(key, inner, "top"), self.number(key, inner, "pole")
        if start <= pole + origin <= end:
            self.refuse(key, "pole", pole, "must lie outside its piece")
        return start, end, [float(c) for c in poly], top, pole
