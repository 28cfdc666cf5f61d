"""A material on paper: its curves as a table of text and as a picture, with their sources."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from weldsim.materials.material import Material
from weldsim.system.palette import ARC, GRID, PRESS, WELD

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


def material_text(material: Material) -> str:
    """Curves at round temperatures, fixed values, sources and limits, as lines of text.

    Raises
    ------
    MaterialError
        If a curve does not reach 20 degC.
    """
    parts = [f"{material.name}: {material.title}", ""]
    parts += _table_lines(material)
    parts += ["", *_fixed_lines(material), "", "Sources"]
    titles = {name: heading for name, heading, *_ in COLUMNS}
    for name, text in material.sources.items():
        parts += _paragraph(f"{titles.get(name, name)}: {text}")
    if material.not_modelled:
        parts += ["", "Not modelled"]
        for text in material.not_modelled:
            parts += _paragraph(text)
    return "\n".join(parts) + "\n"


def _table_lines(material):
    heads = ["temperature", *(heading for _, heading, *_ in COLUMNS)]
    units = ["degC", *(unit for _, _, unit, *_ in COLUMNS)]
    rows = [[f"{t:.0f}", *_cells(material, t + KELVIN)] for t in _round_temperatures(material)]
    widths = [max(map(len, column)) for column in zip(heads, units, *rows, strict=True)]
    lines = [
        "  ".join(text.rjust(width) for text, width in zip(row, widths, strict=True))
        for row in (heads, units, *rows)
    ]
    return [*lines, "* outside the published range of the curve"]


def _round_temperatures(material):
    """20 degC, every 100 degC, softening and melting, as far as the curves reach. [degC]"""
    marks = [material.softening_temperature, material.solidus, material.liquidus]
    marks = [round(t - KELVIN, 6) for t in marks if math.isfinite(t)]
    top = 100.0 * math.ceil(max(marks, default=1200.0) / 100.0)
    chosen = sorted({20.0, *np.arange(100.0, top + 1.0, 100.0), *marks})
    low, high = _reach(material)
    return [t for t in chosen if low - 1e-6 <= t <= high + 1e-6]


def _reach(material):
    """Temperatures that every table covers. [degC]"""
    ends = [material.table(name)[0][[0, -1]] for name, *_ in COLUMNS]
    return max(e[0] for e in ends) - KELVIN, min(e[1] for e in ends) - KELVIN


def _cells(material, temperature):
    return [
        f"{float(getattr(material, name)(temperature)) / scale:.{decimals}f}"
        + ("*" if _outside(material, name, temperature) else " ")
        for name, _, _, scale, decimals in COLUMNS
    ]


def _published(material, name):
    curve = material.curves["specific_heat" if name == "enthalpy" else name]
    return curve.valid


def _outside(material, name, temperature):
    valid = _published(material, name)
    return bool(valid) and not valid[0] - 1e-6 <= temperature <= valid[1] + 1e-6


def _fixed_values(material):
    share = material.isotropic_share
    return [
        ("density", f"{material.density:g} kg/m3"),
        ("Poisson ratio", f"{material.poisson_ratio:g}"),
        ("solidus, liquidus", f"{_celsius(material.solidus)}, {_celsius(material.liquidus)}"),
        ("latent heat of melting", f"{material.latent_heat / 1e3:g} kJ/kg"),
        ("conductivity in the melt", f"times {material.melt_conductivity_factor:g}"),
        ("softening: stress-free above", _celsius(material.softening_temperature)),
        ("lowest Young's modulus", f"{material.modulus_floor / 1e9:g} GPa"),
        ("lowest yield stress", f"{material.yield_floor / 1e6:g} MPa"),
        ("hardening, isotropic : kinematic", f"{share:g} : {1 - share:g}"),
    ]


def _fixed_lines(material):
    values = _fixed_values(material)
    width = max(len(name) for name, _ in values)
    return [f"{name.ljust(width)}  {value}" for name, value in values]


def _celsius(temperature):
    return f"{temperature - KELVIN:g} degC" if math.isfinite(temperature) else "none"


def _paragraph(text):
    return textwrap.wrap(text, 96, initial_indent="- ", subsequent_indent="  ")


def plot_material(material: Material, path) -> None:
    """Write a picture of all curves with units, published ranges, marks and sources.

    Parameters
    ----------
    path : str or Path
        The ending chooses the format: .png, .svg or .pdf.
    """
    from matplotlib.figure import Figure

    notes = _footnotes(material)
    height = 8.6 + 0.135 * len(notes)
    figure = Figure(figsize=(13.0, height), dpi=110)
    panels = figure.subplots(2, 4).ravel()
    for number, (panel, column) in enumerate(zip(panels, COLUMNS, strict=False), start=1):
        _draw(panel, material, number, *column[:4])
    _key(panels[-1], material)
    figure.suptitle(f"{material.title}  ({material.name})", x=0.05, ha="left", fontsize=14)
    figure.text(0.05, 0.15 / height, "\n".join(notes), fontsize=7.5, va="bottom", linespacing=1.25)
    bottom = (0.8 + 0.135 * len(notes)) / height
    figure.subplots_adjust(0.05, bottom, 0.985, 1 - 0.85 / height, wspace=0.24, hspace=0.3)
    figure.savefig(path)


def _draw(panel, material, number, name, heading, unit, scale):
    low, high = _plot_range(material)
    temperatures, values = material.table(name)
    ends = np.interp([low, high], temperatures, values)
    inner = (temperatures > low) & (temperatures < high)
    t = np.concatenate([[low], temperatures[inner], [high]])
    v = np.concatenate([ends[:1], values[inner], ends[1:]])
    for start, end in _unpublished(material, name, low, high):
        panel.axvspan(start - KELVIN, end - KELVIN, color=GRID, lw=0)
    if math.isfinite(material.solidus):
        panel.axvspan(material.solidus - KELVIN, material.liquidus - KELVIN, color=ARC, lw=0)
    if math.isfinite(material.softening_temperature):
        panel.axvline(material.softening_temperature - KELVIN, color=WELD, ls="--", lw=1)
    panel.plot(t - KELVIN, v / scale, color=PRESS, lw=1.8)
    if name == "yield_stress" and material.hardening_strain is not None:
        _draw_later_strength(panel, material, np.linspace(low, high, 400), scale)
    panel.set_title(f"{heading} [{number}], {unit}", loc="left", fontsize=10)
    panel.set_xlim(low - KELVIN, high - KELVIN)
    panel.set_ylim(bottom=0.0 if v.min() >= 0 else None)
    panel.tick_params(labelsize=8)
    panel.set_xlabel("temperature, degC", fontsize=8, labelpad=1)
    panel.grid(alpha=0.25, lw=0.5)
    panel.spines[["top", "right"]].set_visible(False)


def _draw_later_strength(panel, material, t, scale):
    """The stress that the straight hardening line passes through, beside first yield."""
    later = np.maximum(material.curves["hardening_modulus"](t), material.yield_stress(t))
    label = f"at {100 * material.hardening_strain:g} % strain"
    panel.lines[-1].set_label("first yield")
    panel.plot(t - KELVIN, later / scale, color=PRESS, lw=1.2, ls=":", label=label)
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


def _key(panel, material):
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
    for row, (name, value) in enumerate(_fixed_values(material)):
        height = 0.64 - 0.07 * row
        panel.text(0.03, height, name, transform=panel.transAxes, fontsize=8)
        panel.text(1.0, height, value, transform=panel.transAxes, fontsize=8, ha="right")


def _footnotes(material):
    lines = []
    sources = material.sources
    for number, (name, heading, *_) in enumerate(COLUMNS, start=1):
        if name == "enthalpy":
            text = "specific heat and latent heat summed from 20 degC."
        else:
            text = sources[name]
        lines += textwrap.wrap(f"[{number}] {heading}: {text}", 215, subsequent_indent="      ")
    return lines
