"""Rows of a validation as a page and as Markdown."""

from __future__ import annotations

import math
import re
import time
from itertools import groupby
from pathlib import Path
from typing import Any

from weldsim.system.files import whole_file, write_json
from weldsim.system.palette import css
from weldsim.text.cautions import APPROVES_NOTHING
from weldsim.validation.catalogue import NEVER_COMPARED
from weldsim.validation.rows import GROUPS, NUMBERLESS, Comparison, Row, summary

HTML, MARKDOWN, RECORD = "validation.html", "validation.md", "validation.json"
SHOWN = 3  # comparisons of a row that are in view, the worst first; the page folds the others


def write_pages(folder: Path, rows: list[Row], quick: bool, version: str) -> Path:
    """Write the page, the Markdown and the record.

    Parameters
    ----------
    folder : path
        Made where it is missing.
    rows : list of Row
        What came out.
    quick : bool
        Whether it is the quick list.
    version : str
        Of weldsim.

    Returns
    -------
    Path
        Of the page.
    """
    folder.mkdir(parents=True, exist_ok=True)
    about = {"date": time.strftime("%Y-%m-%d"), "version": version, "quick": quick,
             "summary": summary(rows)}  # fmt: skip
    record = {**about, "rows": [_short(r) for r in rows]}
    write_json(folder / RECORD, record)
    for name, text in ((MARKDOWN, markdown(rows, about)), (HTML, page(rows, about))):
        with whole_file(folder / name) as beside:
            beside.write_text(typeset(text), encoding="utf-8")
    return folder / HTML


def typeset(text: str) -> str:
    """Units as they are read; checks and records write them with the letters of a keyboard."""
    return re.sub(r"(?<=\d) um\b", " µm", re.sub(r"\bdegC\b", "°C", text))


def _short(row: Row) -> dict[str, Any]:
    """A row for the record: its worst comparisons, no picture."""
    record = row.record()
    return record | {"picture": "", "comparisons": record["comparisons"][:SHOWN]}


def page(rows: list[Row], about: dict[str, Any]) -> str:
    """The page as text: works offline, no scripts."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("weldsim", "data/page"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("validation.html").render(
        about=about,
        palette=Markup(css()),
        groups=[(name, title, _shown(rows, name)) for name, title in GROUPS.items()
                if any(r.group == name for r in rows)],
        counts=[(t, *counts(rows, n)) for n, t in GROUPS.items()
                if any(r.group == n for r in rows)],
        failing=[r for r in rows if r.state == "fails"],
        unclaimed=[r for r in rows if r.state == "not claimed"],
        left_out=[r for r in rows if r.state in NUMBERLESS],
        never=NEVER_COMPARED,
        approves_nothing=APPROVES_NOTHING,
        most=SHOWN,
    )  # fmt: skip


def _shown(rows: list[Row], group: str) -> list[dict[str, Any]]:
    """Rows of a group, those of one source beside each other, as the template takes them."""
    from markupsafe import Markup

    return [
        {
            "row": row,
            "picture": Markup(row.picture),
            "lines": [_line_of(row, c) for c in row.comparisons],
            "anchor": row.name.replace("/", "-").replace("::", "-"),
        }
        for row in rows if row.group == group
    ]  # fmt: skip


def _line_of(row: Row, comparison: Comparison) -> dict[str, str]:
    """A comparison as text; one that is not claimed lies inside what is allowed or outside."""
    out = line(comparison)
    if row.state == "not claimed":
        out["held"] = "inside" if comparison.holds else "outside"
    return out


def counts(rows: list[Row], group: str) -> tuple[int, int, int, int]:
    """How many rows of a group hold, fail, are not claimed, and came to no numbers."""
    own = [r.state for r in rows if r.group == group]
    first = (own.count("holds"), own.count("fails"), own.count("not claimed"))
    return (*first, len(own) - sum(first))


def line(comparison: Comparison) -> dict[str, str]:
    """A comparison as text: quantity, expected, computed, error, tolerance."""
    c = comparison
    unit = f" {c.unit}" if c.unit else ""
    if c.expected is None:
        return {
            "quantity": c.quantity, "expected": _range(c.low, c.high) + unit,
            "computed": _number(c.computed) + unit,
            "error": "inside" if c.holds else f"{_number(c.error)}{unit} outside",
            "tolerance": "the range", "held": "holds" if c.holds else "fails",
        }  # fmt: skip
    size = abs(c.expected)
    error, room = c.error, (c.high - c.low) / 2
    share = size > 1e-12 and (abs(error) > 1e-3 * size or room > 1e-3 * size) and room < 3 * size
    return {
        "quantity": c.quantity, "expected": _number(c.expected) + unit,
        "computed": _number(c.computed) + unit,
        "error": percent(error / size) if share else _number(error) + unit,
        "tolerance": "± "
        + (percent(room / size).removeprefix("+") if share else _number(room) + unit),
        "held": "holds" if c.holds else "fails",
    }  # fmt: skip


def percent(share: float) -> str:
    """With a sign, rounding errors as nothing."""
    if abs(share) < 1e-8:
        return "0 %"
    return f"{100 * share:+.0f} %" if abs(share) >= 0.995 else f"{100 * share:+.2g} %"


def _number(value: float) -> str:
    if not math.isfinite(value):
        return "no number" if math.isnan(value) else "∞" if value > 0 else "-∞"
    if value == 0:
        return "0"
    return f"{value:.4g}"


def _range(low: float, high: float) -> str:
    if math.isinf(low):
        return f"at most {_number(high)}"
    if math.isinf(high):
        return f"at least {_number(low)}"
    return f"{_number(low)} to {_number(high)}"


def markdown(rows: list[Row], about: dict[str, Any]) -> str:
    """The same as Markdown, without pictures."""
    out = ["# What weldsim was compared with", ""]
    out += [f"Version {about['version']}, {about['date']}"
            f"{', the quick list' if about['quick'] else ''}. {about['summary']}.", ""]  # fmt: skip
    out += ["| group | hold | fail | compared, not claimed | no numbers |",
            "| --- | --- | --- | --- | --- |"]  # fmt: skip
    for name, title in GROUPS.items():
        if any(r.group == name for r in rows):
            out.append("| " + " | ".join([title, *map(str, counts(rows, name))]) + " |")
    for name, title in GROUPS.items():
        own = [r for r in rows if r.group == name]
        if not own:
            continue
        out += ["", f"## {title}", ""]
        out += ["| check | expected | computed | error | tolerance | state | processor time, s |",
                "| --- | --- | --- | --- | --- | --- | --- |"]  # fmt: skip
        for _, some in groupby(own, key=lambda r: r.source):
            several = list(some)
            for row in several:
                out += _table_lines(row)
        out += [""]
        for source, some in groupby(own, key=lambda r: r.source):
            first, *_ = several = list(some)
            titles = ", ".join(dict.fromkeys(r.title for r in several))
            out.append(f"- {titles}: {source}. Known: {first.known}. Departs from the defaults: "
                       f"{first.deviations}")  # fmt: skip
    unclaimed = [r for r in rows if r.state == "not claimed"]
    if unclaimed:
        out += ["", "## Compared and not claimed", ""]
        out += [f"- {r.title}: {r.note}" for r in unclaimed]
    out += ["", "## Never compared", ""]
    out += [f"- {text}" for text in NEVER_COMPARED]
    out += ["", APPROVES_NOTHING, "", summary(rows), ""]
    return "\n".join(out)


def _table_lines(row: Row) -> list[str]:
    """Lines of a row: its worst comparison, and how many more there are."""

    def cell(text: str) -> str:
        return text.replace("|", "\\|").replace("\n", " ")

    if not row.comparisons:
        said = row.note if row.state in (*NUMBERLESS, "fails") else "conditions"
        return [f"| {cell(row.title)} | {cell(said[:160])} | | | | {row.state} | "
                f"{row.seconds:.0f} |"]  # fmt: skip
    worst = line(row.comparisons[0])
    more = len(row.comparisons) - 1
    title = f"{row.title}: {worst['quantity']}" + (f" (worst of {more + 1})" if more else "")
    cells = [title, *(worst[k] for k in ("expected", "computed", "error", "tolerance")),
             row.state, f"{row.seconds:.0f}"]  # fmt: skip
    return ["| " + " | ".join(map(cell, cells)) + " |"]
