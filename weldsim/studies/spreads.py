"""How far what a shop does not know exactly may be from what a case says: one table for all.

`fit` takes its usual bounds from it, `band` and `next` how far a value scatters. "Our choice" marks
what has no published figure behind it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Spread:
    """What is believed of one value of a case beforehand.

    Attributes
    ----------
    key : str
        Last word of the key of a case, with its section.
    words : str
        What it is.
    size : float
        Standard deviation: a share of what the case says, or a difference. [1, K]
    difference : bool
        Whether `size` is a difference. [K]
    least, most : float
        Bounds, as factors of what the case says; of a difference the bounds themselves. [1, K]
    afresh : bool
        Whether it comes out otherwise in each weld or part, so that a fit cannot settle it.
    source : str
        Where it is from.
    at_zero : float
        Standard deviation where a case says 0, above which alone it then lies. [SI]
    """

    key: str
    words: str
    size: float
    difference: bool
    least: float
    most: float
    afresh: bool
    source: str
    at_zero: float = 0.0

    @property
    def factor(self) -> tuple[float, float, float]:
        """Standard deviation, least and most of the factor."""
        return self.size, self.least, self.most


SPREADS = {
    spread.key: spread
    for spread in (
        Spread("arc.speed", "travel speed", 0.05, False, 0.8, 1.2, True,
               "a hand's speed stays within 10 % from weld to weld 19 times of 20: our choice"),
        Spread("arc.efficiency", "arc efficiency", 0.06, False, 0.8, 1.2, False,
               "calorimetry of one process differs between sources by about this much, and meters "
               "of current and voltage add to it: our choice"),
        Spread("part.root_gap", "root gap", 0.3, False, 0.0, 3.0, True,
               "fit-up by hand, and faces that should touch stand open by less than half a "
               "millimetre nine times of ten: our choice", 0.3e-3),
        Spread("clamp.stiffness", "stiffness", 0.5, False, 0.1, 5.0, False,
               "our choice"),
        Spread("clamping.conductance", "heat contact of the clamp", 0.4, False, 0.1, 5.0, False,
               "hand-tight to firm: our choice"),
        Spread("surroundings.film_coefficient", "heat loss to air", 0.3, False, 0.3, 3.0, False,
               "free convection about small parts: our choice"),
        Spread("metal.yield_factor", "yield stress", 0.07, False, 0.7, 1.5, False,
               "JCSS Probabilistic Model Code, part 3.2: coefficient of variation of yield "
               "0.07 (from memory: check the code); that mills deliver above the nominal "
               "value is left out"),
        Spread("metal.filler_yield_factor", "yield stress of the filler", 0.07, False, 0.7, 1.5,
               False, "taken as that of the parts: our choice"),
        Spread("metal.expansion_factor", "thermal expansion", 0.02, False, 0.9, 1.1, False,
               "our choice"),
        Spread("metal.softening_temperature", "softening temperature", 50.0, True, 1173.0, 1723.0,
               False, "our choice, about the 1200 °C at which the stiffness of hot steel in "
               "EN 1993-1-2 ends"),
    )
}  # fmt: skip

# Bounds of a fit where a case states none, and where they are from: wide enough that a shop's own
# value should lie inside.
USUAL_BOUNDS: dict[str, tuple[object, object, str]] = {
    "arc.efficiency": (0.5, 0.95, "calorimetry scatters so far between sources: our choice"),
    "surroundings.film_coefficient": ("5 W/m2/K", "25 W/m2/K", "free convection, our choice"),
    "surroundings.emissivity": (0.5, 0.95, "rolled to oxidised steel, from memory"),
    "metal.softening_temperature": ("900 degC", "1450 degC",
                                    "our choice: the stiffness of hot steel in EN 1993-1-2 ends "
                                    "at 1200 °C, the solidus of carbon steel is near 1470 °C"),
    "metal.yield_factor": (0.9, 1.5, "mill certificates lie above the nominal yield: our choice"),
    "metal.filler_yield_factor": (0.9, 1.6, "weld metal of mild steel lies at or above S235 to "
                                  "S355 by up to half, common practice: our choice"),
    "metal.expansion_factor": (0.95, 1.05, "our choice"),
    "metal.conductivity_factor": (0.9, 1.1, "our choice"),
    "clamping.conductance": ("50 W/m2/K", "5000 W/m2/K", "bolted to hand-tight: our choice"),
}  # fmt: skip

# what else people call by another name than its key, whatever section it stands in
CALLED = {
    "emissivity": "emissivity",
    "conductivity_factor": "thermal conductivity, times the table's",
    "yield_factor": "yield stress, times the table's",
    "filler_yield_factor": "yield stress of the filler, times that of the parts",
    "expansion_factor": "thermal expansion, times the table's",
    "hardening_factor": "hardening, times the table's", "release": "clamp opens",
}  # fmt: skip


def spread_of(key: str) -> Spread | None:
    """What the table says of a key of a case.

    Parameters
    ----------
    key : str
        As in `--set`: "weld.A.speed" and "arc.speed" share a line.

    Returns
    -------
    Spread or None
        None where it says nothing.
    """
    section, name = key.split(".")[0], key.rpartition(".")[2]
    return SPREADS.get(f"{'arc' if section == 'weld' else section}.{name}")


def value_name(key: str) -> str:
    """An uncertain value as people call it.

    Parameters
    ----------
    key : str
        As in `--set`, or the name of a group.

    Returns
    -------
    str
        Such as "heat contact of the clamp", "travel speed of weld B".
    """
    if "." not in key:
        return key.replace("_", " ")
    section, *middle, name = key.split(".")
    known = spread_of(key)
    called = CALLED.get(name) or (known.words if known else name.replace("_", " "))
    if not middle:
        return called
    return f"{called} of {section} {'.'.join(middle)}"
