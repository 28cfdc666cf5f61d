"""Quantities as people write them ("6 mm", "0.25 in", "150 degC") to SI and kelvin.

pint does the arithmetic; it is imported when the first quantity is read. Temperatures are absolute
("300 degF" is a point on the scale, not a difference).
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

# kind -> (SI unit, examples shown when a text is refused)
KINDS = {
    "length": ("m", '"6 mm", "0.25 in"'),
    "time": ("s", '"60 s", "2 min"'),
    "speed": ("m/s", '"1.3 mm/s", "4 in/min"'),
    "current": ("A", '"125 A"'),
    "voltage": ("V", '"12 V"'),
    "temperature": ("K", '"150 degC", "300 degF", "423 K"'),
    "conductance": ("W/m^2/K", '"500 W/m2/K"'),
    "angle": ("rad", '"60 deg", "2 mrad"'),
    "frequency": ("Hz", '"2 Hz"'),
    "stiffness": ("N/m", '"5 kN/mm"'),
    "turning stiffness": ("N*m/rad", '"10 kN m/rad"'),
    "force": ("N", '"2 kN", "500 lbf"'),
    "stress": ("Pa", '"355 MPa", "36 ksi"'),
    "density": ("kg/m^3", '"7850 kg/m3"'),
    "conductivity": ("W/m/K", '"50 W/m/K"'),
    "specific heat": ("J/kg/K", '"480 J/kg/K"'),
    "latent heat": ("J/kg", '"270 kJ/kg"'),
}

_QUANTITY = re.compile(
    r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)"  # number
    r"\s*([A-Za-zµμ°][A-Za-z0-9µμ°/*^(). ]*)"  # unit: powers and quotients of names
)


@lru_cache(maxsize=1)
def _registry():
    import pint

    try:
        return pint.UnitRegistry(cache_folder=":auto:")
    except OSError:  # a home folder that cannot be written
        return pint.UnitRegistry()


def parse(text, kind: str) -> float:
    """Read a quantity and give back its value in SI.

    Parameters
    ----------
    text : str
        Number and unit.
    kind : str
        One of `KINDS`.

    Returns
    -------
    float
        Value in the kind's SI unit (kelvin for temperatures).

    Raises
    ------
    ValueError
        In words, with examples of what is allowed.
    """
    unit, examples = KINDS[kind]
    allowed = f"allowed: a {kind} with its unit as text, such as {examples}"
    if not isinstance(text, str):
        raise ValueError(f"{text!r} has no unit; {allowed}")
    found = _QUANTITY.fullmatch(text.strip().replace("\u2212", "-"))  # typographic minus
    if not found:
        raise ValueError(f"{text!r} is not a number with a unit; {allowed}")
    value = to_si(float(found[1]), found[2], unit)
    if value is None or not math.isfinite(value):
        raise ValueError(f"{text!r} is not a {kind}; {allowed}")
    return value


def to_si(number: float, unit: str, si_unit: str) -> float | None:
    """Number in `unit` as one in `si_unit`; None when the unit is unknown or of another kind."""
    import pint

    registry = _registry()
    if unit.startswith("delta"):  # a difference is not a point on a temperature scale
        return None
    # "m2" and "mm3" are how the trade types powers; pint wants m^2
    spelled = re.sub(r"([A-Za-z])([23])(?![\d])", r"\1^\2", unit.strip().replace("°", "deg"))
    spelled = re.sub(r"(?<=[A-Za-z0-9)]) +(?=[A-Za-z])", "*", spelled)  # "kN m/rad"
    try:
        quantity = registry.Quantity(number, registry.parse_units(_divided(spelled)))
        return float(quantity.to(si_unit).magnitude)
    except (pint.PintError, AttributeError, TypeError, ValueError):
        return None


def _divided(unit: str) -> str:
    """ "W/m^2/K" and "W/(m K)" in a spelling pint reads the same way."""
    return re.sub(r"\(([^()]*)\)", lambda m: "(" + "*".join(m[1].split()) + ")", unit)
