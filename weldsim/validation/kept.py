"""The last validation that came with weldsim, for reports that quote it.

`weldsim/data/validation.json` is the record of `weldsim validate --quick` at the date it names. A
report says what held then; it computes nothing.
"""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

from weldsim.validation.pages import percent
from weldsim.validation.rows import Row

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
    """Rows of a kind as lines: how each came out, how far off it was, and against what."""
    out = []
    for row in rows_for(kind):
        worst = next(iter(row.comparisons), None)
        how = ""
        if worst is not None and worst.expected:
            off = worst.computed / worst.expected - 1
            room = (worst.high - worst.expected) / abs(worst.expected)
            allowed = percent(room).removeprefix("+")
            how = f", at worst {percent(off)} where {allowed} is allowed"
        out.append(f"{row.state}: {row.title}{how} ({_short(row.source)})")
    return out


def _short(source: str) -> str:
    """A source, cut between two of its clauses where it is long."""
    if len(source) <= SHORT:
        return source
    place = max(source[:SHORT].rfind(mark) for mark in ("; ", ": ", ", "))
    return source[:place] if place > 0 else source


def in_all() -> str:
    """One line on the whole of it."""
    record = kept_validation()
    which = "the quick list of weldsim validate" if record["quick"] else "weldsim validate"
    return f"{record['summary']} in {which}, {record['date']}"
