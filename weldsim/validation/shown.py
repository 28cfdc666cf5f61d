"""Numbers and sources of a validation as a reader sees them."""

from __future__ import annotations

import math
import re
from itertools import groupby

from weldsim.validation.rows import Comparison, Row

ROUNDING = 1e-10  # of the expected value: what is smaller is the arithmetic's own
RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")


def typeset(text: str) -> str:
    """Units as they are read; checks and records write them with the letters of a keyboard."""
    text = re.sub(r"(?<=\d) um\b", " µm", re.sub(r"\bdegC\b", "°C", text))
    for digit, power in (("2", "²"), ("3", "³")):
        text = re.sub(rf"\b(m?m){digit}(?=K\b|\b)", rf"\1{power}", text)
    return text


def line(comparison: Comparison) -> dict[str, str]:
    """A comparison as text: quantity, expected, computed, error, tolerance."""
    c = comparison
    unit = f" {c.unit}" if c.unit else ""
    if c.expected is None:
        return {
            "quantity": c.quantity, "expected": _range(c.low, c.high) + unit,
            "computed": number(c.computed) + unit,
            "error": "inside" if c.holds else f"{number(c.error)}{unit} outside",
            "tolerance": "the range", "held": "holds" if c.holds else "fails",
        }  # fmt: skip
    size = abs(c.expected)
    error, room = c.error, (c.high - c.low) / 2
    share = size > 1e-12 and (abs(error) > 1e-3 * size or room > 1e-3 * size) and room < 3 * size
    return {
        "quantity": c.quantity, "expected": number(c.expected) + unit,
        "computed": number(c.computed) + unit,
        "error": percent(error / size) if share else _small(error, size) + unit,
        "tolerance": "± "
        + (percent(room / size).removeprefix("+") if share else number(room) + unit),
        "held": "holds" if c.holds else "fails",
    }  # fmt: skip


def worst(row: Row) -> str:
    """The comparison of a row that is furthest off for what it may be, as a sentence.

    Parameters
    ----------
    row : Row
        With its worst comparison first.

    Returns
    -------
    str
        What came out where there is no number.
    """
    if not row.comparisons:
        said = " ".join(row.note.split())
        return said if row.state != "holds" else _first_condition(said)
    c = line(row.comparisons[0])
    more = f"; worst of {len(row.comparisons)}" if len(row.comparisons) > 1 else ""
    if row.comparisons[0].expected is None:
        return f"{c['quantity']}: {c['computed']}, allowed {c['expected']}{more}"
    return (
        f"{c['quantity']}: {c['computed']}, expected {c['expected']} "
        f"({c['error']}, allowed {c['tolerance']}){more}"
    )


def _first_condition(note: str) -> str:
    """The first of the conditions that a note lists, with its numbers as they are written."""
    found = note.partition("Conditions: ")[2].split("; ")
    if not found[0]:
        return "conditions without a number of their own"
    first = re.sub(r"\d[\d.]*e[+-]\d+", lambda m: number(float(m[0])), found[0])
    return first + (f"; first of {len(found)} conditions" if len(found) > 1 else "")


def blocks(rows: list[Row], group: str) -> list[list[Row]]:
    """Rows of a group, those of one check and one source together.

    Parameters
    ----------
    rows : list of Row
        In the order of the catalogue.
    group : str
        One of `rows.GROUPS`.

    Returns
    -------
    list of list of Row
        None is empty.
    """
    own = [r for r in rows if r.group == group]
    same = groupby(own, key=lambda r: (r.name.partition("/")[0], r.source, r.known))
    return [list(some) for _, some in same]


def linked(text: str) -> list[tuple[str, str]]:
    """A text in pieces, each with the address it leads to or with none: DOIs are addresses."""
    out, place = [], 0
    for found in re.finditer(r"\b10\.\d{4,9}/[^\s,;:]*[^\s,;:.]", text):
        out += [(text[place : found.start()], ""), (found[0], f"https://doi.org/{found[0]}")]
        place = found.end()
    return [(words, address) for words, address in [*out, (text[place:], "")] if words]


def percent(share: float) -> str:
    """With a sign, rounding errors as nothing."""
    if abs(share) < 1e-8:
        return "0 %"
    return f"{100 * share:+.0f} %" if abs(share) >= 0.995 else f"{100 * share:+.2g} %"


def number(value: float) -> str:
    """Four figures, powers of ten as they are written by hand."""
    if not math.isfinite(value):
        return "no number" if math.isnan(value) else "∞" if value > 0 else "-∞"
    if value == 0:
        return "0"
    digits, _, power = f"{value:.4g}".partition("e")
    if not power:
        return digits
    return f"{digits} × 10{str(int(power)).translate(RAISED)}".replace("1 × ", "", digits == "1")


def _small(error: float, size: float) -> str:
    return "0" if size and abs(error) < ROUNDING * size else number(error)


def _range(low: float, high: float) -> str:
    if math.isinf(low):
        return f"at most {number(high)}"
    if math.isinf(high):
        return f"at least {number(low)}"
    return f"{number(low)} to {number(high)}"
