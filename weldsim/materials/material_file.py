"""Material files: how a metal is written down in TOML, and what is refused.

A file is one published set of properties. Layout (see weldsim/data/materials for whole ones)::

    title = "..."
    base = "carbon-steel"              # optional: start from another file, replace what is given
                                       # (with its own source)
    beyond_range = "hold"              # or "raise": what happens beyond the curves given here
    not_modelled = ["...", "..."]

    [density]
    value = "7850 kg/m3"
    source = "..."

    [conductivity]                     # also specific_heat, thermal_strain, youngs_modulus,
    unit = "W/m/K"                     # yield_stress, hardening_modulus
    source = "who published it"
    valid = ["20 degC", "1200 degC"]   # the published range
    extension = "..."                  # what was added outside it, and why
    pieces = [                         # value = poly[0] + poly[1] T + ... + top / (T - pole)
      { from = "20 degC", to = "800 degC", poly = [54, -0.0333] },
      { from = "800 degC", to = "1200 degC", poly = [27.3] },
    ]

Instead of `pieces`: `table = [[20, 53.3], [100, 50.7]]`, straight lines between rows of
temperature and value, or `value = 27.3` for a constant. T in formulas and tables is in degC, or
in kelvin with `temperature_unit = "K"`. `times = "355 MPa"` instead of `unit` says the numbers are
factors of that. `floor = 0.05` (youngs_modulus, yield_stress) is a share of the value at 20 degC.
In hardening_modulus `at_total_strain = 0.02` says the numbers are the stress at that strain, from
which the modulus of a straight line from first yield follows. A piece may carry
`hyperbola = { top = 17820, pole = 731 }`. `[melting]` and `[mechanics]` hold single values.
"""

from __future__ import annotations

import tomllib
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

import numpy as np

from weldsim.errors import MaterialError
from weldsim.materials.curves import NO_POLE, Curve
from weldsim.units import parse

CURVE_UNITS = {
    "conductivity": "W/m/K",
    "specific_heat": "J/kg/K",
    "thermal_strain": "1",
    "youngs_modulus": "Pa",
    "yield_stress": "Pa",
    "hardening_modulus": "Pa",
}
CURVE_KEYS = ("unit", "times", "temperature_unit", "source", "valid", "extension", "note")
CURVE_KEYS += ("table", "pieces", "value")
EXTRA_KEYS = {
    "youngs_modulus": ("floor",),
    "yield_stress": ("floor",),
    "hardening_modulus": ("at_total_strain",),
}
SECTIONS = {
    "density": ("value", "source"),
    "melting": ("solidus", "liquidus", "latent_heat", "conductivity_factor", "source"),
    "mechanics": (
        "poisson_ratio",
        "softening_temperature",
        "isotropic_share",
        "straightening_limit",
        "source",
    ),  # fmt: skip
}
TOP_KEYS = ("title", "base", "beyond_range", "not_modelled")
SHAPES = ("table", "pieces", "value")
ORIGINS = {"degC": 273.15, "K": 0.0}
KINDS_OF_UNIT = {
    "W/m/K": "conductivity", "J/kg/K": "specific heat", "J/kg": "latent heat", "Pa": "stress",
    "kg/m3": "density", "K": "temperature",
}  # fmt: skip


def list_materials() -> tuple[str, ...]:
    """Names of the materials that come with weldsim."""
    folder = files("weldsim") / "data" / "materials"
    found = (entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in found))


def read_material_file(name_or_path, folder=None) -> dict:
    """Keyword arguments of `weldsim.materials.material.Material`, all in SI, from a name or a path.

    Raises
    ------
    MaterialError
        One line with file, key, value and what is allowed.
    """
    name, label, data = _merged(name_or_path, folder, seen=())
    return _Reader(label).material(name, data)


def _merged(name_or_path, folder, seen):
    """Name, label for messages and content of a file, laid over its base."""
    name, label, text, home = _open(name_or_path, folder)
    key = str(home.resolve() / Path(label).name) if home else name
    if key in seen:
        raise MaterialError(f"{label} base: files name each other in a circle")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise MaterialError(f"{label}: not readable as TOML: {error}") from None
    _Reader(label).known_keys("", data, (*TOP_KEYS, *SECTIONS, *CURVE_UNITS))
    if "base" not in data:
        return name, label, data
    base = _Reader(label).text("", data, "base")
    return name, label, _laid_over(_merged(base, home, (*seen, key))[2], data)


def _open(name_or_path, folder):
    given = str(name_or_path)
    if not given.endswith(".toml") and "/" not in given and "\\" not in given:
        if given not in list_materials():
            close = get_close_matches(given, list_materials(), 1)
            hint = f"did you mean {close[0]}? " if close else ""
            raise MaterialError(
                f"material {given!r}: no such material, {hint}there are "
                f"{', '.join(list_materials())}, or give the path of a .toml file"
            )
        source = files("weldsim") / "data" / "materials" / f"{given}.toml"
        return given, f"{given}.toml", source.read_text("utf-8"), None
    path = Path(folder or ".") / Path(given).expanduser()
    try:
        return path.stem, given, path.read_text("utf-8"), path.parent
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "not UTF-8 text"
        raise MaterialError(f"material {given!r}: cannot be read: {reason}") from None


def _laid_over(base, data):
    """`data` over `base`, key by key; a section that changes must say its source anew."""
    merged = {k: v for k, v in base.items() if k != "base"}
    for key, value in data.items():
        old = merged.get(key)
        if isinstance(value, dict) and isinstance(old, dict):
            if any(shape in value for shape in SHAPES) and key in CURVE_UNITS:
                old = {k: v for k, v in old.items() if k == "floor"}
            value = {**{k: v for k, v in old.items() if k != "source"}, **value}
        merged[key] = value
    return merged


class _Reader:
    """Checks and converts the entries of one file; every refusal names file, section and key."""

    def __init__(self, label: str):
        self.label = label

    def refuse(self, section, key, value, allowed):
        place = f"{self.label} " + (f"[{section}] " if section else "")
        shown = "" if value is None else f" {value!r}:"
        raise MaterialError(f"{place}{key}:{shown} {allowed}")

    def known_keys(self, section, data, allowed):
        for key in data:
            if key not in allowed:
                close = get_close_matches(key, allowed, 1)
                hint = f"did you mean {close[0]}?" if close else f"allowed: {', '.join(allowed)}"
                self.refuse(section, key, None, f"unknown key, {hint}")

    def need(self, section, data, key):
        if key not in data:
            self.refuse(section, key, None, "missing")
        return data[key]

    def text(self, section, data, key):
        value = self.need(section, data, key)
        if not isinstance(value, str) or not value.strip():
            self.refuse(section, key, value, "must be text")
        return value

    def number(self, section, data, key, low=-np.inf, high=np.inf):
        """A bare number with low <= number <= high."""
        value = self.need(section, data, key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(section, key, value, "must be a number without a unit")
        if not low <= value <= high:
            self.refuse(section, key, value, f"must be from {low:g} to {high:g}")
        return float(value)

    def quantity(self, section, data, key, unit, low=-np.inf):
        value = self.need(section, data, key)
        number = self._si(section, key, value, unit)
        if number < low:
            self.refuse(section, key, value, f"must not be below {low:g} {unit}")
        return number

    def _si(self, section, key, value, unit):
        try:
            if unit == "1":
                return _plain(value)
            return parse(value, KINDS_OF_UNIT[unit])
        except ValueError as error:
            self.refuse(section, key, None, str(error))

    def material(self, name, data) -> dict:
        hold = data.get("beyond_range", "raise")
        if hold not in ("hold", "raise"):
            self.refuse("", "beyond_range", hold, 'must be "hold" or "raise"')
        for section in (*SECTIONS, *CURVE_UNITS):
            if not isinstance(self.need("", data, section), dict):
                self.refuse("", section, data[section], f"must be a section, [{section}]")
        for section, keys in SECTIONS.items():
            self.known_keys(section, data[section], keys)
        curves = {k: self.curve(k, data[k], hold == "hold") for k in CURVE_UNITS}
        hardening = data["hardening_modulus"]
        strain = None
        if "at_total_strain" in hardening:
            strain = self.number("hardening_modulus", hardening, "at_total_strain", 1e-3, 1.0)
        return dict(
            name=name,
            title=self.text("", data, "title"),
            density=self.quantity("density", data["density"], "value", "kg/m3", 1.0),
            curves=curves,
            modulus_floor=self.floor("youngs_modulus", data, curves),
            yield_floor=self.floor("yield_stress", data, curves),
            hardening_strain=strain,
            notes={k: self.text(k, data[k], "source") for k in SECTIONS},
            not_modelled=self.lines(data, "not_modelled"),
            **self.melting(data["melting"]),
            **self.mechanics(data["mechanics"]),
        )

    def melting(self, data):
        solidus = self.quantity("melting", data, "solidus", "K", 300.0)
        liquidus = self.quantity("melting", data, "liquidus", "K", 300.0)
        if liquidus <= solidus:
            self.refuse("melting", "liquidus", data["liquidus"], "must be above the solidus")
        return dict(
            solidus=solidus,
            liquidus=liquidus,
            latent_heat=self.quantity("melting", data, "latent_heat", "J/kg", 0.0),
            melt_conductivity_factor=self.number("melting", data, "conductivity_factor", 0.1, 20),
        )

    def mechanics(self, data):
        section = "mechanics"
        return dict(
            poisson_ratio=self.number(section, data, "poisson_ratio", 0.0, 0.49),
            isotropic_share=self.number(section, data, "isotropic_share", 0.0, 1.0),
            softening_temperature=self.quantity(section, data, "softening_temperature", "K", 300.0),
            straightening_limit=self.quantity(section, data, "straightening_limit", "K", 300.0)
            if "straightening_limit" in data
            else None,
        )

    def floor(self, key, data, curves):
        if "floor" not in data[key]:
            return 0.0
        return self.number(key, data[key], "floor", 0.0, 0.5) * float(curves[key](293.15))

    def lines(self, data, key):
        value = data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(line, str) for line in value):
            self.refuse("", key, value, "must be a list of texts")
        return tuple(value)

    def curve(self, key, data, hold) -> Curve:
        self.known_keys(key, data, CURVE_KEYS + EXTRA_KEYS.get(key, ()))
        given = [shape for shape in SHAPES if shape in data]
        if len(given) != 1:
            self.refuse(key, "table", None, "give exactly one of table, pieces or value")
        origin = self.origin(key, data)
        about = dict(
            source=self.text(key, data, "source"),
            extension=" ".join(data[k] for k in ("extension", "note") if k in data),
            label=f"{self.label} [{key}]",
            origin=origin,
            hold=hold,
        )
        scale = self.scale(key, data)
        if given == ["value"]:
            value = self.number(key, data, "value") * scale
            return Curve.constant(value, **about)
        about["valid"] = self.valid(key, data)
        if given == ["table"]:
            rows = self.rows(key, data["table"])
            curve = Curve.from_table(rows[:, 0] + origin, rows[:, 1] * scale, **about)
        else:
            curve = self.pieces(key, data["pieces"], scale, about)
        low, high = curve.valid
        beyond = curve.edges[0] < low - 1e-6 or curve.edges[-1] > high + 1e-6
        if beyond and "extension" not in data:
            self.refuse(key, "extension", None, "missing: say what was added outside `valid`")
        return curve

    def origin(self, key, data):
        unit = data.get("temperature_unit", "degC")
        if unit not in ORIGINS:
            self.refuse(key, "temperature_unit", unit, 'must be "degC" or "K"')
        return ORIGINS[unit]

    def scale(self, key, data):
        if ("unit" in data) == ("times" in data):
            self.refuse(key, "unit", None, "give either unit or times")
        if "times" in data:
            return self.quantity(key, data, "times", CURVE_UNITS[key])
        unit = self.text(key, data, "unit")
        return self._si(key, "unit", unit if unit == "1" else f"1 {unit}", CURVE_UNITS[key])

    def valid(self, key, data):
        ends = self.need(key, data, "valid")
        if not isinstance(ends, list) or len(ends) != 2:
            self.refuse(key, "valid", ends, 'must be two temperatures, ["20 degC", "1200 degC"]')
        low, high = (self._si(key, "valid", end, "K") for end in ends)
        if low >= high:
            self.refuse(key, "valid", ends, "the first must be below the second")
        return low, high

    def rows(self, key, table):
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

    def pieces(self, key, pieces, scale, about) -> Curve:
        if not isinstance(pieces, list) or not pieces:
            self.refuse(key, "pieces", pieces, "must be a list of { from, to, poly }")
        edges, polys, tops, poles = [], [], [], []
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

    def piece(self, key, piece, origin):
        if not isinstance(piece, dict):
            self.refuse(key, "pieces", piece, "must be a list of { from, to, poly }")
        self.known_keys(key, piece, ("from", "to", "poly", "hyperbola"))
        start = round(self.quantity(key, piece, "from", "K", 0.0), 9)
        end = round(self.quantity(key, piece, "to", "K", 0.0), 9)
        if end <= start:
            self.refuse(key, "to", piece["to"], f"must be above from = {piece['from']!r}")
        poly = self.need(key, piece, "poly")
        if not isinstance(poly, list) or not poly or not all(_is_number(c) for c in poly):
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


def _is_number(value) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)


def _plain(text) -> float:
    """A number without a unit, written as text."""
    try:
        return float(text)
    except (TypeError, ValueError):
        raise ValueError(f'{text!r} is not a plain number; allowed: text such as "1"') from None
