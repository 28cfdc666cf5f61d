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

import os
import tomllib
from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from weldsim.errors import MaterialError, StoreError
from weldsim.materials.curve_entries import CURVE_UNITS, SHAPES, CurveEntries
from weldsim.materials.curves import Curve
from weldsim.materials.entries import Table
from weldsim.materials.shelf import list_materials
from weldsim.system.files import read_file

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
FORMAT = 1  # of a material file
MOST_BYTES = 2**20
TOP_KEYS = ("format", "title", "base", "beyond_range", "not_modelled")


def read_material_file(
    name_or_path: str | os.PathLike[str], folder: str | os.PathLike[str] | None = None
) -> Table:
    """What a material file says, checked.

    Parameters
    ----------
    name_or_path : str or path-like
        A name from `list_materials`, or the path of a ``.toml`` file.
    folder : str or path-like, optional
        Where a relative path starts; the current folder by default.

    Returns
    -------
    dict
        Keyword arguments of `weldsim.materials.material.Material`, all in SI.

    Raises
    ------
    MaterialError
        One line with file, key, value and what is allowed.
    """
    name, label, data = _merged(name_or_path, folder, seen=())
    return MaterialEntries(label).material(name, data)


def _merged(
    name_or_path: str | os.PathLike[str],
    folder: str | os.PathLike[str] | None,
    seen: tuple[str, ...],
) -> tuple[str, str, Table]:
    """Name, label for messages and content of a file, laid over its base."""
    name, label, text, home = _open(name_or_path, folder)
    key = str(home.resolve() / Path(label).name) if home else name
    if key in seen:
        raise MaterialError(f"{label} base: files name each other in a circle")
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # not of TOML, or numbers and lists without end
        raise MaterialError(f"{label}: not readable as TOML: {error}") from None
    written = data.get("format", FORMAT)
    if type(written) is not int or written != FORMAT:
        raise MaterialError(f"{label} format: {written!r}: allowed: {FORMAT}, or none")
    MaterialEntries(label).known_keys("", data, (*TOP_KEYS, *SECTIONS, *CURVE_UNITS))
    if "base" not in data:
        return name, label, data
    base = MaterialEntries(label).text("", data, "base")
    return name, label, _laid_over(_merged(base, home, (*seen, key))[2], data)


def _open(
    name_or_path: str | os.PathLike[str], folder: str | os.PathLike[str] | None
) -> tuple[str, str, str, Path | None]:
    """Name, label for messages, text, and folder of a file; None of one of our own."""
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
    try:
        path = Path(folder or ".") / Path(given).expanduser()
        return path.stem, given, read_file(path, MOST_BYTES).decode("utf-8"), path.parent
    except StoreError as error:
        cause = getattr(error.__cause__, "strerror", None) or str(error).rpartition(": ")[2]
        raise MaterialError(f"material {given!r}: cannot be read: {cause}") from None
    except UnicodeDecodeError:
        raise MaterialError(f"material {given!r}: cannot be read: not UTF-8 text") from None
    except RuntimeError as error:  # "~nobody"
        raise MaterialError(f"material {given!r}: cannot be read: {error}") from None


def _laid_over(base: Table, data: Table) -> Table:
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


class MaterialEntries(CurveEntries):
    """Reads a whole file."""

    def material(self, name: str, data: Table) -> Table:
        """Keyword arguments of a `Material`, all in SI."""
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
            title=self.title(data),
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

    def title(self, data: Table) -> str:
        """What a person calls the metal, in one line."""
        title = self.text("", data, "title")
        if not title.isprintable():
            self.refuse("", "title", title, "must be a line of text")
        return title

    def melting(self, data: Table) -> Table:
        """Solidus, liquidus, latent heat and what stirring adds."""
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

    def mechanics(self, data: Table) -> Table:
        """Single values of mechanics."""
        section = "mechanics"
        return dict(
            poisson_ratio=self.number(section, data, "poisson_ratio", 0.0, 0.49),
            isotropic_share=self.number(section, data, "isotropic_share", 0.0, 1.0),
            softening_temperature=self.quantity(section, data, "softening_temperature", "K", 300.0),
            straightening_limit=self.quantity(section, data, "straightening_limit", "K", 300.0)
            if "straightening_limit" in data
            else None,
        )

    def floor(self, key: str, data: Table, curves: dict[str, Curve]) -> float:
        """Lowest value in use of a curve, written as a share of that at 20 degC."""
        if "floor" not in data[key]:
            return 0.0
        return self.number(key, data[key], "floor", 0.0, 0.5) * float(curves[key](293.15))

    def lines(self, data: Table, key: str) -> tuple[str, ...]:
        """A list of texts; empty where it is left out."""
        value = data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(line, str) for line in value):
            self.refuse("", key, value, "must be a list of texts")
        return tuple(value)
