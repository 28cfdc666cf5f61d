"""A material on paper: its curves as a table of text and as a picture, with their sources."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from weldsim.materials.material import Material
from weldsim.system.palette import ARC, GRID, PRESS, WELD
from weldsim.text.quantities import Units

KELVIN = 273.15
COLUMNS = (  # property, heading, unit, SI per unit, decimals
    ("conductivity", "conductivity", "W/m/K", 1.0, 1),
    ("specific_heat", "specific heat", "J/kg/K", 1.0, 0),
    ("enthalpy", "heat content", "kJ/kg", 1e3, 1),
    ("thermal_strain", "elongation", "mm/m", 1e-3, 3),
    ("youngs_modulus", "Young's modulus", "GPa", 1e9, 1),
    ("yield_stress", "first yield", "MPa", 1e6, 1),
    ("hardening_modulus", "hardening", "GPa", 1e9, 2),
)
# Inch, pound and British thermal unit (international table) in SI, exact by definition.
INCH, POUND, BTU = 0.0254, 0.45359237, 1055.05585262
KSI = 1e3 * POUND * 9.80665 / INCH**2
US_COLUMNS = (
    ("conductivity", "conductivity", "Btu/h/ft/°F", BTU / 3600 / (12 * INCH) * 1.8, 1),
    ("specific_heat", "specific heat", "Btu/lb/°F", BTU / POUND * 1.8, 3),
    ("enthalpy", "heat content", "Btu/lb", BTU / POUND, 1),
    ("thermal_strain", "elongation", "mil/in", 1e-3, 3),
    ("youngs_modulus", "Young's modulus", "Msi", 1e3 * KSI, 2),
    ("yield_stress", "first yield", "ksi", KSI, 1),
    ("hardening_modulus", "hardening", "Msi", 1e3 * KSI, 3),
)
COLUMNS_IN = {"metric": COLUMNS, "us": US_COLUMNS}


def _degrees(kelvin, units):
    """A temperature, or an array of them, as a thermometer of these units shows it."""
    celsius = kelvin - KELVIN
    return 1.8 * celsius + 32 if units == "us" else celsius


def _degree(units):
    return "°F" if units == "us" else "°C"


def material_text(material: Material, units: Units = "metric") -> str:
    """Curves at round temperatures, fixed values, sources and limits, as lines of text.

    Parameters
    ----------
    units : {"metric", "us"}
        Of table and fixed values; sources speak as they are printed.

    Raises
    ------
    MaterialError
        If a curve does not reach 20 degC.
    """
    parts = [f"{material.name}: {material.title}", ""]
    parts += _table_lines(material, units)
    parts += ["", *_fixed_lines(material, units), "", "Sources"]
    titles = {name: heading for name, heading, *_ in COLUMNS}
    for name, text in material.sources.items():
        parts += _paragraph(_plain(f"{titles.get(name, name)}: {text}"))
    if material.not_modelled:
        parts += ["", "Not modelled"]
        for text in material.not_modelled:
            parts += _paragraph(_plain(text))
    return "\n".join(parts) + "\n"


def _table_lines(material, units):
    columns = COLUMNS_IN[units]
    heads = ["temperature", *(heading for _, heading, *_ in columns)]
    names = [_degree(units), *(unit for _, _, unit, *_ in columns)]
    rows = [
        [f"{_degrees(t, units):.0f}", *_cells(material, t, columns)]
        for t in _round_temperatures(material, units)
    ]
    widths = [max(map(len, column)) for column in zip(heads, names, *rows, strict=True)]
    lines = [
        "  ".join(text.rjust(width) for text, width in zip(row, widths, strict=True))
        for row in (heads, names, *rows)
    ]
    return [*lines, "* outside the published range of the curve"]


def _round_temperatures(material, units):
    """20 degC or 68 degF, every 100 or 200, softening and melting, within the curves. [K]"""
    marks = [material.softening_temperature, material.solidus, material.liquidus]
    marks = [round(_degrees(t, units), 6) for t in marks if math.isfinite(t)]
    step, room, usual = (200.0, 68.0, 2200.0) if units == "us" else (100.0, 20.0, 1200.0)
    top = step * math.ceil(max(marks, default=usual) / step)
    chosen = np.array(sorted({room, *np.arange(step, top + 1.0, step), *marks}))
    kelvin = ((chosen - 32) / 1.8 if units == "us" else chosen) + KELVIN
    low, high = _reach(material)
    return [t for t in kelvin if low - 1e-6 <= t - KELVIN <= high + 1e-6]


def _reach(material):
    """Temperatures that every table covers. [degC]"""
    ends = [material.table(name)[0][[0, -1]] for name, *_ in COLUMNS]
    return max(e[0] for e in ends) - KELVIN, min(e[1] for e in ends) - KELVIN


def _cells(material, temperature, columns):
    return [
        f"{float(getattr(material, name)(temperature)) / scale:.{decimals}f}"
        + ("*" if _outside(material, name, temperature) else " ")
        for name, _, _, scale, decimals in columns
    ]


def _published(material, name):
    curve = material.curves["specific_heat" if name == "enthalpy" else name]
    return curve.valid


def _outside(material, name, temperature):
    valid = _published(material, name)
    return bool(valid) and not valid[0] - 1e-6 <= temperature <= valid[1] + 1e-6


def _fixed_values(material, units):
    share = material.isotropic_share
    density, latent = f"{material.density:g} kg/m³", f"{material.latent_heat / 1e3:g} kJ/kg"
    modulus = f"{material.modulus_floor / 1e9:g} GPa"
    strength = f"{material.yield_floor / 1e6:g} MPa"
    if units == "us":
        density = f"{material.density * INCH**3 / POUND:.4g} lb/in³"
        latent = f"{material.latent_heat * POUND / BTU:.4g} Btu/lb"
        modulus = f"{material.modulus_floor / (1e3 * KSI):.3g} Msi"
        strength = f"{material.yield_floor / KSI:.3g} ksi"

    def shown(kelvin):
        if not math.isfinite(kelvin):
            return "none"
        return f"{_degrees(kelvin, units):.5g} {_degree(units)}"

    return [
        ("density", density),
        ("Poisson ratio", f"{material.poisson_ratio:g}"),
        ("solidus, liquidus", f"{shown(material.solidus)}, {shown(material.liquidus)}"),
        ("latent heat of melting", latent),
        ("conductivity in the melt", f"times {material.melt_conductivity_factor:g}"),
        ("softening: stress-free above", shown(material.softening_temperature)),
        ("lowest Young's modulus", modulus),
        ("lowest yield stress", strength),
        ("hardening, isotropic : kinematic", f"{share:g} : {1 - share:g}"),
    ]


def _fixed_lines(material, units):
    values = _fixed_values(material, units)
    width = max(len(name) for name, _ in values)
    return [f"{name.ljust(width)}  {value}" for name, value in values]


def _plain(text):
    """What a material file says, with the degree sign."""
    return text.replace(" degC", " °C")


def _paragraph(text):
    return textwrap.wrap(text, 96, initial_indent="- ", subsequent_indent="  ")


def plot_material(material: Material, path, units: Units = "metric") -> None:
    """Write a picture of all curves with units, published ranges, marks and sources.

    Parameters
    ----------
    path : str or Path
        The ending chooses the format: .png, .svg or .pdf.
    units : {"metric", "us"}
        Of the curves.
    """
    from matplotlib.figure import Figure

    notes = _footnotes(material)
    height = 8.6 + 0.135 * len(notes)
    figure = Figure(figsize=(13.0, height), dpi=110)
    panels = figure.subplots(2, 4).ravel()
    for number, (panel, column) in enumerate(zip(panels, COLUMNS_IN[units], strict=False), start=1):
        _draw(panel, material, number, *column[:4], units)
    _key(panels[-1], material, units)
    figure.suptitle(f"{material.title}  ({material.name})", x=0.05, ha="left", fontsize=14)
    figure.text(0.05, 0.15 / height, "\n".join(notes), fontsize=7.5, va="bottom", linespacing=1.25)
    bottom = (0.8 + 0.135 * len(notes)) / height
    figure.subplots_adjust(0.05, bottom, 0.985, 1 - 0.85 / height, wspace=0.24, hspace=0.3)
    figure.savefig(path)


def _draw(panel, material, number, name, heading, unit, scale, units):
    low, high = _plot_range(material)
    temperatures, values = material.table(name)
    ends = np.interp([low, high], temperatures, values)
    inner = (temperatures > low) & (temperatures < high)
    t = np.concatenate([[low], temperatures[inner], [high]])
    v = np.concatenate([ends[:1], values[inner], ends[1:]])
    for start, end in _unpublished(material, name, low, high):
        panel.axvspan(_degrees(start, units), _degrees(end, units), color=GRID, lw=0)
    if math.isfinite(material.solidus):
        melting = (_degrees(t, units) for t in (material.solidus, material.liquidus))
        panel.axvspan(*melting, color=ARC, lw=0)
    if math.isfinite(material.softening_temperature):
        soft = _degrees(material.softening_temperature, units)
        panel.axvline(soft, color=WELD, ls="--", lw=1)
    panel.plot(_degrees(t, units), v / scale, color=PRESS, lw=1.8)
    if name == "yield_stress" and material.hardening_strain is not None:
        _draw_later_strength(panel, material, np.linspace(low, high, 400), scale, units)
    panel.set_title(f"{heading} [{number}], {unit}", loc="left", fontsize=10)
    panel.set_xlim(_degrees(low, units), _degrees(high, units))
    panel.set_ylim(bottom=0.0 if v.min() >= 0 else None)
    panel.tick_params(labelsize=8)
    panel.set_xlabel(f"temperature, {_degree(units)}", fontsize=8, labelpad=1)
    panel.grid(alpha=0.25, lw=0.5)
    panel.spines[["top", "right"]].set_visible(False)


def _draw_later_strength(panel, material, t, scale, units):
    """The stress that the straight hardening line passes through, beside first yield."""
    later = np.maximum(material.curves["hardening_modulus"](t), material.yield_stress(t))
    label = f"at {100 * material.hardening_strain:g} % strain"
    panel.lines[-1].set_label("first yield")
    panel.plot(_degrees(t, units), later / scale, color=PRESS, lw=1.2, ls=":", label=label)
    panel.legend(loc="upper right", framealpha=1.0, edgecolor="none", fontsize=8)


def _plot_range(material):
    """From 20 degC to a little above the liquidus, as far as the curves reach. [K]"""
    low, high = (t + KELVIN for t in _reach(material))
    top = material.liquidus if math.isfinite(material.liquidus) else 1473.15
    return max(low, 20.0 + KELVIN), min(high, KELVIN + 100 * math.ceil((top - KELVIN + 50) / 100))


def _unpublished(material, name, low, high):
    valid = _published(material, name)
    if valid is None:
        return []
    return [(a, b) for a, b in ((low, valid[0]), (valid[1], high)) if b > a]


def _key(panel, material, units):
    """The last panel: what the marks mean, and the values without a curve."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=WELD, ls="--", lw=1, label="softening temperature"),
        Patch(color=ARC, label="melting, solidus to liquidus"),
        Patch(color=GRID, label="outside the published range"),
    ]
    panel.axis("off")
    panel.legend(handles=handles, loc="upper left", frameon=False, fontsize=9)
    for row, (name, value) in enumerate(_fixed_values(material, units)):
        height = 0.64 - 0.07 * row
        panel.text(0.03, height, name, transform=panel.transAxes, fontsize=8)
        panel.text(1.0, height, value, transform=panel.transAxes, fontsize=8, ha="right")


def _footnotes(material):
    lines = []
    sources = material.sources
    for number, (name, heading, *_) in enumerate(COLUMNS, start=1):
        if name == "enthalpy":
            text = "specific heat and latent heat summed from 20 °C."
        else:
            text = _plain(sources[name])
        lines += textwrap.wrap(f"[{number}] {heading}: {text}", 215, subsequent_indent="      ")
    return lines
