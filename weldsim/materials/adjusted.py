"""A material with what a shop has found out about its own metal."""

from __future__ import annotations

from dataclasses import replace

from weldsim.materials.curves import Curve
from weldsim.materials.material import Material
from weldsim.schema.records import MetalFactors


def adjusted(material: Material, factors: MetalFactors) -> Material:
    """A material whose curves are multiplied.

    Parameters
    ----------
    material : Material
        As published.
    factors : MetalFactors
        1 and None leave it as it is.

    Returns
    -------
    Material
        Its sources say by how much.
    """
    if factors == MetalFactors():
        return material
    curves = dict(material.curves)
    later = factors.yield_factor if material.hardening_strain is not None else 1.0
    for name, factor in (
        ("yield_stress", factors.yield_factor),
        ("hardening_modulus", later * factors.hardening_factor),
        ("thermal_strain", factors.expansion_factor),
        ("conductivity", factors.conductivity_factor),
    ):
        if factor != 1.0:
            curves[name] = scaled(curves[name], factor)
    softening = factors.softening_temperature or material.softening_temperature
    notes = dict(material.notes)
    if factors.softening_temperature is not None:
        notes["softening_temperature"] = "set by [metal] of the case"
    return replace(material, curves=curves, softening_temperature=softening, notes=notes)


def filler_metal(material: Material, factors: MetalFactors) -> Material | None:
    """The metal that welds lay, where it is not as strong as the parts.

    Parameters
    ----------
    material : Material
        Of the parts, `adjusted` already.
    factors : MetalFactors
        Of the case.

    Returns
    -------
    Material or None
        The same but for its yield stress, and for a stress at a stated strain that the hardening
        follows from; None where the filler is the parts' own metal.
    """
    factor = factors.filler_yield_factor
    return None if factor == 1.0 else adjusted(material, MetalFactors(yield_factor=factor))


def scaled(curve: Curve, factor: float) -> Curve:
    """A curve multiplied.

    Parameters
    ----------
    curve : Curve
        Any.
    factor : float
        On its values.

    Returns
    -------
    Curve
        Its source says so.
    """
    return replace(
        curve,
        poly=factor * curve.poly,
        top=factor * curve.top,
        source=f"{curve.source}; times {factor:g} by [metal] of the case",
    )
