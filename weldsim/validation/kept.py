"""The last validation that came with weldsim, for reports that quote it.

`weldsim/data/validation.json` is the record of `weldsim validate --quick` at the date it names. A
report says what held then; it computes nothing.
"""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.resources import files
from typing import Any

from weldsim.validation.rows import AGAINST, Row
from weldsim.validation.shown import number, percent

SHORT = 110  # letters of a source in a report


@cache
def kept_validation() -> dict[str, Any]:
    """The record: `date`, `version`, `summary`, `quick` and `rows`."""
    text = (files("weldsim") / "data" / "validation.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def rows_for(kind: str) -> list[Row]:
    """Rows that support a joint kind, those of all kinds left out."""
    rows = [Row.from_record(r) for r in kept_validation()["rows"]]
    return [r for r in rows if kind in r.kinds and r.state != "not run"]


def said_of(kind: str) -> list[str]:
    """Rows of a kind as lines: how each came out, how far off it was, and beside what."""
    out = []
    for row in rows_for(kind):
        # the first clause of it; an empty one is of a record from before rows said so
        beside = f"beside {re.split('[,:]', AGAINST[row.against])[0]}: " if row.against else ""
        out.append(f"{row.state}: {row.title}{_how_far(row)} ({beside}{_short(row.source)})")
    return out


def _how_far(row: Row) -> str:
    """The worst comparison of a row and what is allowed there."""
    if not row.comparisons:
        return ""
    c = row.comparisons[0]
    if c.expected is None:
        return ", inside what is allowed" if c.holds else ", outside what is allowed"
    if not c.expected:
        unit = f" {c.unit}" if c.unit else ""
        return f", {number(c.computed)}{unit} where {number(c.high)}{unit} is allowed"
    off, room = c.computed / c.expected - 1, (c.high - c.expected) / abs(c.expected)
    allowed = percent(room).removeprefix("+")
    return f", at worst {percent(off)} where {allowed} is allowed"


def _short(source: str) -> str:
    """A source, cut between two of its clauses where it is long, never inside brackets."""
    if len(source) <= SHORT:
        return source
    for marks in ((": ", "; "), (", ",)):
        places = [
            k for k in range(SHORT)
            if source.startswith(marks, k) and source[:k].count("(") == source[:k].count(")")
        ]  # fmt: skip
        if places:
            return source[: places[-1]]
    return source


def in_all() -> str:
    """One line on the whole of it."""
    record = kept_validation()
    said = f"{record['summary']} in"
    if not record["quick"]:
        return f"{said} weldsim validate, {record['date']}"
    return (
        f"{said} the quick list of weldsim validate, {record['date']}; of the long checks, which "
        "it leaves out, not all hold (README)"
    )
