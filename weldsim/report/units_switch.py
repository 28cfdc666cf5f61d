"""Metric and US units in one page: every quantity carries both texts, a button chooses.

The page's script swaps the texts; without it those of `units` stay.
"""

from __future__ import annotations

from weldsim.text.quantities import Units, Words, as_written, unit_word


def both(text: str, units: Units = "metric"):
    """Text as markup in which every quantity carries its metric and its US text.

    Parameters
    ----------
    text : str
        `Words`; in other text the quantities are found as they are written.
    units : {"metric", "us"}
        Which of the two is shown at first.

    Returns
    -------
    markupsafe.Markup
        Each quantity in an element of its own.
    """
    from markupsafe import Markup, escape

    out = []
    for part in as_written(text).parts:
        if isinstance(part, str) or part.text("us") == part.text():
            out.append(escape(str(part)))
        else:
            out.append(_span(part.text(), part.text("us"), units))
    return Markup("").join(out)


def cell(text: str, units: Units = "metric"):
    """A number of a table whose unit stands in the heading; text that is no number stays."""
    from markupsafe import escape

    return both(text, units) if isinstance(text, Words) else escape(text)


def heading(text: str, unit: str, units: Units = "metric"):
    """`text, unit` in which the unit carries both texts."""
    from markupsafe import Markup, escape

    metric, us = unit_word(unit), unit_word(unit, "us")
    shown = escape(metric) if metric == us else _span(metric, us, units)
    return Markup("{}, {}").format(text, shown)


def pair(metric: str, us: str, units: Units = "metric"):
    """A line whose metric and US text were both made from full values."""
    from markupsafe import escape

    return escape(metric) if metric == us else _span(metric, us, units)


def twin(text: str):
    """Text as markup in which both texts of every quantity stand, for a page without a script.

    Parameters
    ----------
    text : str
        `Words`; in other text the quantities are found as they are written.

    Returns
    -------
    markupsafe.Markup
        Each quantity in two elements, of class `m` and `us`; the page's style shows one of them.
    """
    from markupsafe import Markup, escape

    out = []
    for part in as_written(text).parts:
        if isinstance(part, str) or part.text("us") == part.text():
            out.append(escape(str(part)))
        else:
            two = Markup('<span class="m">{}</span><span class="us">{}</span>')
            out.append(two.format(part.text(), part.text("us")))
    return Markup("").join(out)


def _span(metric: str, us: str, units: Units):
    from markupsafe import Markup

    shown = us if units == "us" else metric
    return Markup('<span class="q" data-m="{}" data-u="{}">{}</span>').format(metric, us, shown)
