"""Quantities as people write them ("8 mm", "3/16 in", "150 degC") to SI and kelvin.

pint knows the units; it is imported when the first quantity is read. What may stand in a unit is
decided here, before pint sees it: pint computes what it is given, and a tower of powers has no end.
Temperatures are absolute ("300 degF" is a point on the scale, not a difference), frequencies are
cycles per second ("120 rpm" is 2 Hz, not 2 times 2 pi).
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any

# kind -> (SI unit, examples shown when a text is refused)
KINDS = {
    "length": ("m", '"8 mm", "0.3 in", "3/16 in"'),
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

# Largest of a kind in SI: far beyond any workshop, near enough that no product of them overflows
MOST = {"length": 1e7, "time": 1e10, "temperature": 1e5, "speed": 1e3, "current": 1e6,
        "voltage": 1e6}  # fmt: skip
BEYOND = 1e15  # of the other kinds

# Sheet gauges: pounds to a square foot as 15 U.S.C. 206 lists them for sheet and plate of iron and
# steel (from memory; the thicknesses agree with printed tables), made a thickness by the 41.82 lb
# to a square foot and inch of the Manufacturers' Standard Gauge. A tube's wall by Birmingham gauge
# differs by under 1 % at 11 ga. Stainless and aluminium sheet have other tables.
SHEET_GAUGES = {
    3: 10.0, 4: 9.375, 5: 8.75, 6: 8.125, 7: 7.5, 8: 6.875, 9: 6.25, 10: 5.625, 11: 5.0, 12: 4.375,
    13: 3.75, 14: 3.125, 15: 2.8125, 16: 2.5, 17: 2.25, 18: 2.0, 19: 1.75, 20: 1.5, 21: 1.375,
    22: 1.25, 23: 1.125, 24: 1.0, 25: 0.875, 26: 0.75,
}  # fmt: skip
POUNDS_AN_INCH = 41.82  # of a square foot of steel
LONGEST = 100  # characters of a quantity
DEEPEST = 2  # brackets within brackets in a unit
MOST_FACTORS = 8  # names in a unit; a thermal conductivity has 3
HIGHEST_POWER = 4  # of one name; a second moment of area has 4


class SI(float):
    """A number that is in SI already, where a case would have text with a unit."""


_QUANTITY = re.compile(
    r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)"  # number
    r"\s*([A-Za-zµμ°][A-Za-z0-9µμ°/*^(). -]*)"  # unit, read by `_factors`
)
_TOKEN = re.compile(
    r"\s*(?:(?P<name>[A-Za-zµμ°]+)(?P<trade>[23](?![\d.]))?"  # "m2" is how the trade types a power
    r"|(?:\^|\*\*)\s*(?P<power>[-+]?\d(?![\d.]))|(?P<sign>[*/()]))\s*"
)


_FRACTION = re.compile(r"([-+]?)(?:(\d{1,4})[ -])?\s*(\d{1,4})/(\d{1,4})(?![\d.])\s*(.*)")
_GAUGE = re.compile(r"(\d{1,2})\s*(?:ga|gauge|gage)\.?", re.IGNORECASE)
_MARKS = (("\u2033", '"'), ("\u201d", '"'), ("''", '"'), ("\u2032", "'"), ("\u2019", "'"))


def as_trade_writes(text: str, kind: str) -> str:
    """What a workshop writes as a number and a unit: 3/16", 1/8, 11 ga, 2'.

    Parameters
    ----------
    text : str
        A fraction without a unit is one of an inch; so is a number with an inch mark.
    kind : str
        One of `KINDS`; marks, gauges and bare fractions are lengths.

    Returns
    -------
    str
        The text itself where it is nothing of this.
    """
    text = text.strip().replace("\u2212", "-")  # typographic minus
    if kind == "length":
        for mark, plain in _MARKS:
            text = text.replace(mark, plain)
        if gauge := _GAUGE.fullmatch(text):
            weight = SHEET_GAUGES.get(int(gauge[1]))
            return text if weight is None else f"{weight / POUNDS_AN_INCH!r} in"
        if text.endswith(('"', "'")):
            text = f"{text[:-1]} {'in' if text[-1] == chr(34) else 'ft'}"
    found = _FRACTION.fullmatch(text)
    if not found or not int(found[4]):
        return text
    size = int(found[2] or 0) + int(found[3]) / int(found[4])
    unit = found[5] or ("in" if kind == "length" else "")
    return f"{found[1]}{size!r} {unit}"


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    try:
        return pint.UnitRegistry(cache_folder=":auto:")
    except OSError:  # a home folder that cannot be written
        return pint.UnitRegistry()


def parse(text: object, kind: str) -> float:
    """Read a quantity and give back its value in SI.

    Parameters
    ----------
    text : str or SI
        Number and unit, or a number that is in SI already.
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
    one = f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"
    allowed = f"allowed: {one} with its unit as text, such as {examples}"
    if isinstance(text, SI) and math.isfinite(text):
        return _bounded(float(text), kind, repr(text))
    if not isinstance(text, str):
        raise ValueError(f"{text!r} has no unit; {allowed}")
    shown = repr(text) if len(text) <= LONGEST else f"{text[:20]!r}... ({len(text)} characters)"
    found = len(text) <= LONGEST and _QUANTITY.fullmatch(as_trade_writes(text, kind))
    if not found:
        comma = " (a comma stands in it; decimals take a point)" if "," in text else ""
        raise ValueError(f"{shown} is not a number with a unit{comma}; {allowed}")
    value = to_si(float(found[1]), found[2], unit)
    if value is None or not math.isfinite(value):
        raise ValueError(f"{shown} is not {one}; {allowed}")
    return _bounded(value, kind, shown)


def _bounded(value: float, kind: str, shown: str) -> float:
    most = MOST.get(kind, BEYOND)
    if abs(value) > most:
        raise ValueError(f"{shown} is beyond any {kind}; allowed: up to {most:g} {KINDS[kind][0]}")
    return value


def to_si(number: float, unit: str, si_unit: str) -> float | None:
    """Number in `unit` as one in `si_unit`.

    Parameters
    ----------
    number : float
        In that unit.
    unit : str
        Names of units with powers, products, quotients and brackets, such as "W/(m2 K)".
    si_unit : str
        SI unit of a kind in `KINDS`.

    Returns
    -------
    float or None
        None when the unit cannot be read, is unknown, or is of another kind.
    """
    import pint

    factors = _factors(unit.replace("°", "deg"))
    if factors is None:
        return None
    registry = _registry()
    spelled = "*".join(f"{name}**{power}" if power != 1 else name for name, power in factors)
    try:
        quantity = registry.Quantity(number, registry.parse_units(spelled))
        if si_unit == "Hz" and "radian" in dict(quantity.to_root_units().unit_items()):
            quantity = quantity / registry.Quantity(1, "turn")  # a turn is one cycle
        return float(quantity.to(si_unit).magnitude)
    except (pint.PintError, AttributeError, TypeError, ValueError, ArithmeticError):
        return None


def _factors(unit: str) -> list[tuple[str, int]] | None:
    """Names of a unit with their powers, brackets resolved; None where it is not one."""
    tokens: list[re.Match[str]] = []
    at = 0
    while at < len(unit):
        found = _TOKEN.match(unit, at)
        if not found:
            return None
        tokens.append(found)
        at = found.end()
    out = _product(tokens, 0)
    powers: dict[str, int] = {}
    for name, power in out or ():
        powers[name] = powers.get(name, 0) + power
    # a difference of temperatures ("delta") is no point on a scale
    fits = len(out or ()) <= MOST_FACTORS and all(
        abs(p) <= HIGHEST_POWER and not name.startswith("delta") for name, p in powers.items()
    )
    return list(powers.items()) if out and fits else None


def _product(tokens: list[re.Match[str]], depth: int) -> list[tuple[str, int]] | None:
    """Factors up to a closing bracket or the end, taken off `tokens`; None where it is none."""
    out: list[tuple[str, int]] = []
    sign, open_ = 1, True  # open: a factor has to follow
    while tokens:
        token = tokens.pop(0)
        if token["sign"] == ")":
            return out if depth and not open_ else None
        if token["sign"] in ("*", "/"):
            if open_:
                return None
            sign, open_ = (1 if token["sign"] == "*" else -1), True
            continue
        if token["power"]:
            return None
        if token["sign"] == "(":
            group = _product(tokens, depth + 1) if depth < DEEPEST else None
            if group is None:
                return None
            power = 1
        else:
            group, power = [(token["name"], 1)], int(token["trade"] or 1)
        if tokens and tokens[0]["power"]:
            power *= int(tokens.pop(0)["power"])
        out += [(name, sign * power * p) for name, p in group]
        sign, open_ = 1, False
    return out if not depth and not open_ else None
