"""Metric and US units in one page: every quantity carries both texts, a button chooses.

`both` finds quantities in plain text; `cell` writes one of a table. The page's script swaps the
texts; without it those of `units` stay. Factors are exact by definition of inch, pound, degF and
Btu(IT), rounded to ten figures.
"""

from __future__ import annotations

import math
import re

# metric unit -> (US unit, factor, offset)
TO_US = {
    "mm": ("in", 1 / 25.4, 0.0),
    "m": ("ft", 1 / 0.3048, 0.0),
    "mm/s": ("in/min", 60 / 25.4, 0.0),
    "kJ/mm": ("kJ/in", 25.4, 0.0),
    "°C": ("°F", 1.8, 32.0),
    "MPa": ("ksi", 0.1450377377, 0.0),
    "GPa": ("Msi", 0.1450377377, 0.0),
    "N": ("lbf", 0.2248089431, 0.0),
    "N m": ("lbf ft", 0.7375621493, 0.0),
    "kN/mm": ("kip/in", 5.710147155, 0.0),
    "kN m/rad": ("kip ft/rad", 0.7375621493, 0.0),
    "kJ": ("Btu", 0.9478171203, 0.0),
    "W/m²/K": ("Btu/h/ft²/°F", 0.1761101838, 0.0),
}
SAME = {"degC": "°C", "Nm": "N m"}  # other ways to write a unit
_NUMBER = r"(?:[-+−±]{1,2} ?)?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?"
_WORDS = "|".join(re.escape(u) for u in sorted([*TO_US, *SAME], key=len, reverse=True))
_QUANTITY = re.compile(
    rf"(?<![\w.])({_NUMBER}(?:(?: to | x | ?(?=±|\+-)){_NUMBER})*)( ?)({_WORDS})"
    r"(?![\w/°]| m(?![\w]))"
)


def to_us(value: float, unit: str, difference: bool = False) -> float:
    """A value in the US unit; of a difference of temperatures without the offset."""
    _, factor, offset = TO_US[SAME.get(unit, unit)]
    return factor * value + (0.0 if difference else offset)


def us_number(text: str, unit: str, difference: bool = False) -> str:
    """A number as text in the US unit, with decimals enough to keep what the metric one says."""
    plain = text.replace("−", "-").replace("±", "").replace(" ", "").replace("+-", "")
    mantissa, _, power = plain.lower().partition("e")
    decimals = len(mantissa.partition(".")[2]) - int(power or 0)
    _, factor, _ = TO_US[SAME.get(unit, unit)]
    keep = math.ceil(decimals - math.log10(factor) - 1e-9) + (unit == "m")
    value = to_us(float(plain), unit, difference)
    size = math.floor(math.log10(abs(value))) if value else 0
    if power and not -4 <= size < 6:
        out = f"{value:.{max(keep + size, 0)}e}"
    else:
        out = f"{value:.{max(keep, 0)}f}"
    if float(out) == 0:
        out = out.lstrip("-")
    sign = "±" if "±" in text else "+-" if "+-" in text else ""
    plus = "+" if text.lstrip().startswith("+") and not sign and value > 0 else ""
    return sign + plus + (out.replace("-", "−") if "−" in text else out)


def us_text(text: str) -> str:
    """Text with every quantity in US units."""
    return _QUANTITY.sub(lambda m: f"{_us_numbers(m)}{m[2]}{_us_word(m[3])}", text)


def _us_word(unit: str) -> str:
    return TO_US[SAME.get(unit, unit)][0]


def _us_numbers(match) -> str:
    unit, spread = match[3], match[1].startswith(("±", "+-"))
    return re.sub(
        _NUMBER, lambda n: us_number(n[0], unit, spread or n[0].startswith(("±", "+-"))), match[1]
    )


def both(text: str, units: str = "metric"):
    """Text as markup in which every quantity carries its metric and its US text."""
    from markupsafe import Markup, escape

    out, at = [], 0
    for match in _QUANTITY.finditer(text):
        out.append(escape(text[at : match.start()]))
        us = f"{_us_numbers(match)}{match[2]}{_us_word(match[3])}"
        out.append(_span(match[0], us, units))
        at = match.end()
    out.append(escape(text[at:]))
    return Markup("").join(out)


def cell(text: str, unit: str, units: str = "metric", difference: bool = False):
    """A number of a table whose unit stands in the heading; text that is no number stays."""
    from markupsafe import escape

    if SAME.get(unit, unit) not in TO_US or not re.fullmatch(_NUMBER, text):
        return escape(text)
    return _span(text, us_number(text, unit, difference or "±" in text), units)


def heading(text: str, unit: str, units: str = "metric"):
    """`text, unit` in which the unit carries both texts."""
    from markupsafe import Markup, escape

    word = SAME.get(unit, unit)
    shown = _span(word, TO_US[word][0], units) if word in TO_US else escape(word)
    return Markup("{}, {}").format(text, shown)


def _span(metric: str, us: str, units: str):
    from markupsafe import Markup

    shown = us if units == "us" else metric
    return Markup('<span class="q" data-m="{}" data-u="{}">{}</span>').format(metric, us, shown)


def us_gauges(figure, units: list[str]) -> None:
    """Turn a figure of `gauge_history` into US units: ticks, titles and labels.

    Parameters
    ----------
    units : list of str
        Unit of each row of panels, metric.
    """
    each = len(figure.axes) // max(len(units), 1)
    for number, axes in enumerate(figure.axes):
        unit = SAME.get(units[number // each], units[number // each])
        if unit not in TO_US:
            continue
        _us_ticks(axes.yaxis, axes.get_ylim(), unit)
        title = axes.get_title(loc="left")
        if title:
            axes.set_title(title.replace(f", {unit}", f", {TO_US[unit][0]}"), loc="left",
                           pad=_pad(axes))  # fmt: skip
        for text in axes.texts:
            name, _, end = text.get_text().rpartition(" ")
            if name and re.fullmatch(_NUMBER, end):
                text.set_text(f"{name} {us_number(end, unit)}")


def us_spot(figure) -> None:
    """Turn a figure of `spot.pointer_plot` into US units."""
    axes = figure.axes[0]
    _us_ticks(axes.xaxis, axes.get_xlim(), "mm")
    _us_ticks(axes.yaxis, axes.get_ylim(), "mm")
    axes.set_xlabel(axes.get_xlabel().replace(", mm", ", in"))
    axes.set_ylabel(axes.get_ylabel().replace(", mm", ", in"))
    title = us_text(axes.get_title(loc="left"))
    axes.set_title(title, loc="left", color=axes._left_title.get_color(), fontsize=9.5)


def us_cuts(figure) -> None:
    """Turn a figure of cuts with a bar of stress below into US units: ticks and labels."""
    for axes in figure.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            words = axis.label.get_text()
            unit = next((u for u in ("mm", "MPa") if re.search(rf", {u}\b", words)), None)
            if unit:
                _us_ticks(axis, limits, unit, 4 if unit == "mm" else 6)
                axis.label.set_text(re.sub(rf", {unit}\b", f", {TO_US[unit][0]}", words))


def _pad(axes) -> float:
    """Distance of a title from its axes as it was. [pt]"""
    return (axes.titleOffsetTrans.get_matrix()[1, 2]) * 72 / axes.figure.dpi


def _us_ticks(axis, limits, unit: str, most: int = 6) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

    _, factor, offset = TO_US[unit]
    low, high = (factor * v + offset for v in limits)
    ticks = [t for t in MaxNLocator(most).tick_values(low, high) if low <= t <= high]
    axis.set_major_locator(FixedLocator([(t - offset) / factor for t in ticks]))
    axis.set_major_formatter(
        FuncFormatter(lambda v, _: f"{factor * v + offset:.4g}".replace("-", "−"))
    )
