"""Quantities in words: each keeps its full value, so that a metric and a US text can be made of it.

`words` puts quantities into a sentence. What comes of it is a `str` with the metric text, for the
terminal and for JSON; the report asks it for the US one. A US number has decimals enough to keep
what the metric one says, and is rounded once, from the full value.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Literal

Units = Literal["metric", "us"]
UNITS: tuple[Units, ...] = ("metric", "us")

# metric unit as people write it -> the unit people use in the US, written and as pint reads both
US_UNITS: dict[str, tuple[str, str, str]] = {
    "mm": ("in", "mm", "in"),
    "m": ("ft", "m", "ft"),
    "mm/m": ("in/ft", "mm/m", "in/ft"),
    "mm/s": ("in/min", "mm/s", "in/min"),
    "kJ/mm": ("kJ/in", "kJ/mm", "kJ/in"),
    "°C": ("°F", "degC", "degF"),
    "K": ("°F", "delta_degC", "delta_degF"),  # a difference; never looked for in a text
    "MPa": ("ksi", "MPa", "ksi"),
    "GPa": ("Msi", "GPa", "Mpsi"),
    "N": ("lbf", "N", "lbf"),
    "N m": ("lbf ft", "N*m", "lbf*ft"),
    "kN/mm": ("kip/in", "kN/mm", "kip/in"),
    "kN m/rad": ("kip ft/rad", "kN*m/rad", "kip*ft/rad"),
    "kJ": ("Btu", "kJ", "Btu_it"),
    "W/m²/K": ("Btu/h/ft²/°F", "W/m^2/delta_degC", "Btu_it/hour/ft^2/delta_degF"),
}
# units of columns and of joints' words, as people write them
WRITTEN = {"degC": "°C", "Nm": "N m", "W/m2/K": "W/m²/K"}
_SIGNS = ("-", "−")
SAME = 1e-6  # of a value within which it is one of four figures: what is written in metric has six


def unit_word(unit: str, units: Units = "metric") -> str:
    """A unit as people write it.

    Parameters
    ----------
    unit : str
        Metric, as a column or a text has it.
    units : {"metric", "us"}

    Returns
    -------
    str
        The unit itself where the US have no other, such as s and mrad.
    """
    word = WRITTEN.get(unit, unit)
    return US_UNITS[word][0] if units == "us" and word in US_UNITS else word


ONE_AT_A_TIME = Lock()  # pint fills its registry at the first use, for all threads at once


@cache
def us_scale(unit: str) -> tuple[float, float]:
    """Factor and offset that turn a number in a metric unit into one in the US unit.

    Parameters
    ----------
    unit : str
        As a column or a text has it.

    Returns
    -------
    factor, offset : float
        1 and 0 where the US have no other unit. A difference of temperatures has no offset.
    """
    word = WRITTEN.get(unit, unit)
    if word not in US_UNITS:
        return 1.0, 0.0
    import pint

    _, metric, us = US_UNITS[word]
    with ONE_AT_A_TIME:
        registry = pint.get_application_registry()  # type: ignore[no-untyped-call]
        low, high = (registry.Quantity(v, metric).to(us).magnitude for v in (0.0, 1.0))
    # pint goes by way of kelvin, which leaves 1e-14 of a degree; all of these units are defined
    # with fewer figures than are kept here
    return float(f"{high - low:.12g}"), round(float(low), 10)


@dataclass(frozen=True)
class Number:
    """A number of a text.

    Attributes
    ----------
    value : float
        In full, in the metric unit. Its sign counts only if `shown` has one.
    shown : str
        How it stands in the metric text.
    difference : bool
        Of temperatures: an error, or what one is higher than another.
    exact : bool
        As it was put in, not computed: what was put in in the US unit comes out as it was, 3/16 in
        and sheet of 11 ga among it; three figures of all else.
    """

    value: float
    shown: str
    difference: bool = False
    exact: bool = False
    figures: int = 0

    def text(self, unit: str, units: Units) -> str:
        """The number in the unit, or in the US unit that stands for it."""
        factor, offset = us_scale(unit) if units == "us" else (1.0, 0.0)
        if factor == 1.0:
            return self.shown
        mantissa, _, power = self.shown.lower().partition("e")
        decimals = len(mantissa.partition(".")[2]) - int(power.replace("−", "-") or 0)
        # four figures say enough when the last one is worth a little less
        whole = sum(c.isdigit() for c in mantissa.lstrip("+-−0.")) >= 4
        coarser = math.floor if whole and not power else math.ceil
        keep = coarser(decimals - math.log10(factor) - 1e-9) + (unit == "m")
        signed = self.shown.lstrip().startswith(_SIGNS)
        value = self.value if signed or self.value >= 0 else -self.value
        value = factor * value + (0.0 if self.difference else offset)
        if self.exact or self.figures:
            return figures(value, self.figures) if self.figures else _as_put_in(value)
        size = math.floor(math.log10(abs(value))) if value else 0
        if power and not -4 <= size < 6:
            out = f"{value:.{max(keep + size, 0)}e}"
        else:
            out = f"{value:.{max(keep, 0)}f}"
        if float(out) == 0:
            out = out.lstrip("-")
        plus = "+" if self.shown.lstrip().startswith("+") and value > 0 else ""
        return plus + (out.replace("-", "−") if "−" in self.shown else out)


def figures(value: float, most: int = 3) -> str:
    """A number with so many figures, without an exponent for what a bench reads.

    Digits before the point are kept, however many; what shows as zero has no sign.
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:.0f}"
    decimals = most - 1 - math.floor(math.log10(abs(value)))
    text = f"{value:.{min(max(decimals, 0), 6)}f}"
    return text.lstrip("-") if float(text) == 0 else text


def _as_put_in(value: float) -> str:
    """Four figures where they are the whole value, as of what was put in in this unit; else three,
    and no fewer than stand before the point."""
    four = f"{value:.4g}"
    if abs(float(four) - value) <= SAME * abs(value):
        return f"{float(four):g}"
    return f"{value:#.3g}".rstrip(".") if abs(value) < 999.5 else f"{value:.0f}"


@dataclass(frozen=True)
class Quantity:
    """One or more numbers with their unit, such as "12 mm", "8 to 12 mm", "1.2 ±0.3 mm".

    Attributes
    ----------
    pieces : tuple of Number and str
        Numbers and what stands between them.
    unit : str
        Metric, as people write it or as a column has it.
    named : bool
        Whether the unit is written; else it stands elsewhere, in the head of a table.
    gap : str
        What stands between number and unit.
    """

    pieces: tuple[Number | str, ...]
    unit: str
    named: bool = True
    gap: str = " "

    def text(self, units: Units = "metric") -> str:
        """Numbers and unit, metric or US."""
        out = "".join(p if isinstance(p, str) else p.text(self.unit, units) for p in self.pieces)
        return f"{out}{self.gap}{unit_word(self.unit, units)}" if self.named else out

    def __str__(self) -> str:
        return self.text()


class Words(str):
    """Text that knows its quantities: as a `str` it is metric.

    Parameters
    ----------
    *parts : str, Quantity or Words
        In order.

    Attributes
    ----------
    parts : tuple of str and Quantity
    """

    parts: tuple[str | Quantity, ...]

    def __new__(cls, *parts: object) -> Words:
        flat: list[str | Quantity] = []
        for part in parts:
            if isinstance(part, Words):
                flat += part.parts
            else:
                flat.append(part if isinstance(part, Quantity) else str(part))
        self = super().__new__(cls, "".join(str(p) for p in flat))
        self.parts = tuple(flat)
        return self

    def text(self, units: Units = "metric") -> str:
        """The text in metric or US units."""
        return "".join(p if isinstance(p, str) else p.text(units) for p in self.parts)


class Twice(Words):
    """A text kept in both systems of units, as a record has it.

    Parameters
    ----------
    metric, us : str
        The same sentence.
    """

    us: str

    def __new__(cls, metric: str, us: str) -> Twice:
        self = super().__new__(cls, metric)
        self.us = us
        return self

    def text(self, units: Units = "metric") -> str:
        """The text in metric or US units."""
        return self.us if units == "us" else str(self)


def words(pattern: str, *items: object) -> Words:
    """A sentence with something in the place of each `{}`.

    Parameters
    ----------
    pattern : str
        Text with a `{}` for each item.
    *items : Quantity, Words or object
        What is neither of the two is written as `str` does.

    Raises
    ------
    ValueError
        If there are more or fewer items than places.
    """
    pieces = pattern.split("{}")
    if len(pieces) != len(items) + 1:
        raise ValueError(f"{pattern!r} has {len(pieces) - 1} places for {len(items)} items")
    inner = (p for pair in zip(pieces[:-1], items, strict=True) for p in pair)
    return Words(*inner, pieces[-1])


def in_us(lines: Iterable[str]) -> list[str]:
    """Lines in US units, those without quantities as they are.

    Parameters
    ----------
    lines : iterable of str or Words
        One after the other.

    Returns
    -------
    list of str
        As many.
    """
    return [line.text("us") if isinstance(line, Words) else str(line) for line in lines]


def joined(separator: str, items: Iterable[object]) -> Words:
    """Texts and quantities one after the other with a separator between."""
    out: list[object] = []
    for item in items:
        out += [separator, item] if out else [item]
    return Words(*out)


def quantity(value: float, unit: str, form: str, named: bool = True) -> Quantity:
    """A value with its unit.

    Parameters
    ----------
    value : float
        In full, in the unit.
    unit : str
        Metric, as people write it.
    form : str
        How the metric number is written, such as ".1f" or "+.3g".
    named : bool
        Whether the unit is written.
    """
    return Quantity((Number(value, format(value, form)),), unit, named)


def given(value: float, unit: str, form: str, named: bool = True) -> Quantity:
    """A value as somebody put it in, or a constant; see `quantity` and `Number.exact`."""
    return Quantity((Number(value, format(value, form), exact=True),), unit, named)


def bare_unit(unit: str) -> Quantity:
    """A unit alone, after numbers that stand before it without theirs."""
    return Quantity((), unit, gap="")


def span(low: float, high: float, unit: str, form: str) -> Quantity:
    """From one value to another, as in "8 to 12 mm"."""
    ends = (Number(v, format(v, form)) for v in (low, high))
    first, last = ends
    return Quantity((first, " to ", last), unit)


def in_mm(value: float, named: bool = True) -> Quantity:
    """A length that was put in. [m]"""
    return given(1e3 * value, "mm", ".4g", named)


def in_m(value: float) -> Quantity:
    """A length to a target that was put in. [m]"""
    return given(value, "m", ".4g")


def difference(value: float, form: str = ".3g") -> Quantity:
    """What one temperature is higher than another, as it was put in or a constant. [K]"""
    return Quantity((Number(value, format(value, form), difference=True, exact=True),), "K")


def in_degc(value: float) -> Quantity:
    """A temperature that was put in. [K]"""
    return given(value - 273.15, "degC", ".4g")


def per_mm(value: float, form: str = ".3f") -> Quantity:
    """Energy of an arc over length. [J/m]"""
    return quantity(1e-6 * value, "kJ/mm", form)


_NUMBER = r"(?:[-+−±]{1,2} ?)?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
_UNIT = "|".join(
    re.escape(u) for u in sorted([*US_UNITS, *WRITTEN], key=len, reverse=True) if u != "K"
)
_WRITTEN_QUANTITY = re.compile(
    rf"(?<![\w.])({_NUMBER}(?:(?: to | x | ?(?=±|\+-)){_NUMBER})*)( ?)({_UNIT})(?![\w/°]| m(?!\w))"
)


def as_written(text: str, exact: bool = False) -> Words:
    """Text that came as text, from a person or a file, with the quantities found in it.

    Their values are no more exact than they are written, which is why text of our own is made with
    `words` instead.

    Parameters
    ----------
    text : str
    exact : bool, optional
        Whether its numbers are as somebody put them in; see `Number.exact`.

    Returns
    -------
    Words
        `text` itself if it is that already.
    """
    if isinstance(text, Words):
        return text
    parts: list[object] = []
    at = 0
    for match in _WRITTEN_QUANTITY.finditer(text):
        parts += [text[at : match.start()], _read(match, exact)]
        at = match.end()
    return Words(*parts, text[at:])


def _read(match: re.Match[str], exact: bool) -> Quantity:
    """A quantity as it was found; after a sign of plus or minus its numbers are differences."""
    pieces: list[Number | str] = []
    at, signs = 0, ("±", "+-")
    for found in re.finditer(_NUMBER, match[1]):
        shown = found[0].removeprefix("±").removeprefix("+-")
        mark = found[0].removesuffix(shown)
        spread = bool(mark) or match[1].startswith(signs)
        value = float(shown.replace("−", "-").replace(" ", ""))
        pieces += [match[1][at : found.start()] + mark]
        pieces.append(Number(value, shown, spread, exact))
        at = found.end()
    return Quantity(tuple(p for p in pieces if p != ""), match[3], gap=match[2])
