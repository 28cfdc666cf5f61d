"""Angles as a bench reads them: length at the target first, then degrees and slope, then mrad."""

from __future__ import annotations

import math

from weldsim.schema.tolerance import CONFIRM, ONE_SIDED, SCALES, Tolerance
from weldsim.text.quantities import (
    Number,
    Quantity,
    Words,
    as_written,
    figures,
    in_m,
    joined,
    words,
)

DEGREE = math.degrees(1e-3)  # in one mrad


def sized(value: float, unit: str, most: int = 3) -> Quantity:
    """A value of so many figures with its unit, metric or US."""
    return Quantity((Number(value, figures(value, most), figures=most),), unit)


def tilt_words(angle: float, distance: float | None = None, most: int = 3) -> Words:
    """An angle in all the ways that a bench reads it.

    Parameters
    ----------
    angle : float
        [rad]
    distance : float, optional
        To the target of the beam that shows it; none where there is no beam. [m]
    most : int
        Figures.

    Returns
    -------
    Words
        Such as "2.3 mm over 5 m (0.026°, 0.46 mm/m, 0.46 mrad)".
    """
    mrad = 1e3 * angle
    turn = f"{figures(DEGREE * mrad, most)}°"
    slope = sized(mrad, "mm/m", most)
    rest = f"{figures(mrad, most)} mrad"
    if not distance:
        return words("{} ({}, {})", turn, slope, rest)
    spot = sized(mrad * distance, "mm", most)
    return words("{} over {} ({}, {}, {})", spot, in_m(distance), turn, slope, rest)


def spot_words(angle: float, distance: float | None, most: int = 3) -> Words:
    """An angle in short: what it makes at the target; without a target in degrees."""
    if not distance:
        return Words(f"{figures(DEGREE * 1e3 * angle, most)}°")
    return Words(sized(1e3 * angle * distance, "mm", most))


def tolerance_words(tolerance: Tolerance, distance: float | None = None) -> Words:
    """A tolerance, of an angle first as what it leaves at the target.

    Parameters
    ----------
    tolerance : Tolerance
    distance : float, optional
        To the target of the beam that shows the angle; none where there is no beam. [m]

    Returns
    -------
    Words
        Such as "±4 mm at the target (±1 mrad)", "±0.5 mm" or "at most 300 s".
    """
    if tolerance.measure in ONE_SIDED:
        return Words(as_written(str(tolerance)))
    scale, unit = SCALES[tolerance.measure]
    own = _plus_minus(scale * tolerance.value, unit)
    known = [tolerance.text] if tolerance.text.upper().startswith("ISO") else []
    sure = [CONFIRM] if CONFIRM in tolerance.note else []
    if distance and tolerance.measure in ("angle", "slope"):
        spot = _plus_minus(1e3 * distance * tolerance.value, "mm")
        return words("{} at the target ({})", spot, joined(", ", [*known, own, *sure]))
    behind = [*known, *sure]
    return words("{} ({})", own, ", ".join(behind)) if behind else Words(own)


def _plus_minus(value: float, unit: str) -> Quantity:
    number = Number(value, f"{value:.3g}", difference=True, exact=True)
    return Quantity(("±", number), unit)
