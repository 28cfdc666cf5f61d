"""Rows of a validation as a page, as Markdown and as a record."""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from weldsim.system.files import whole_file, write_json
from weldsim.system.palette import css
from weldsim.text.cautions import APPROVES_NOTHING
from weldsim.validation.catalogue import NEVER_COMPARED
from weldsim.validation.markdown import markdown
from weldsim.validation.meaning import (
    ALL_KINDS,
    HOW_TO_READ,
    QUICK,
    WHAT_IT_IS,
    counted,
    for_kinds,
    not_computed,
    of_parts,
)
from weldsim.validation.rows import ABOUT, AGAINST, GROUPS, NUMBERLESS, Row, summary
from weldsim.validation.shown import blocks, line, linked, typeset, worst

HTML, MARKDOWN, RECORD = "validation.html", "validation.md", "validation.json"
SHOWN = 3  # comparisons of a row that a record keeps, the worst first


def write_pages(
    folder: Path, rows: list[Row], quick: bool, version: str, only: Sequence[str] = ()
) -> Path:
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
    only : sequence of str, optional
        Checks or groups, where no others were asked for.

    Returns
    -------
    Path
        Of the page.
    """
    folder.mkdir(parents=True, exist_ok=True)
    which = f"these alone: {', '.join(only)}" if only else QUICK if quick else "all"
    about = {"date": time.strftime("%Y-%m-%d"), "version": version, "quick": quick,
             "which": which, "summary": summary(rows)}  # fmt: skip
    record = {**about, "rows": [_short(r) for r in rows]}
    write_json(folder / RECORD, record)
    for name, text in ((MARKDOWN, markdown(rows, about)), (HTML, page(rows, about))):
        with whole_file(folder / name) as beside:
            beside.write_text(typeset(text), encoding="utf-8")
    return folder / HTML


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
    environment.filters["linked"] = linked
    environment.filters["anchor"] = lambda name: name.replace("/", "-").replace("::", "-")
    groups = {n: t for n, t in GROUPS.items() if any(r.group == n for r in rows)}
    return environment.get_template("validation.html").render(
        about=about,
        palette=Markup(css()),
        groups=[(name, title, ABOUT[name], _shown(rows, name)) for name, title in groups.items()],
        by_group=[(t, n, *counted(rows, group=n)) for n, t in groups.items()],
        by_source=[(t, *counted(rows, against=n)) for n, t in AGAINST.items()
                   if any(r.against == n for r in rows)],
        failing=[(r, worst(r)) for r in rows if r.state == "fails"],
        unclaimed=[(r, worst(r)) for r in rows if r.state == "not claimed"],
        left_out=[r for r in rows if r.state in NUMBERLESS],
        kinds=for_kinds(rows),
        all_kinds=ALL_KINDS,
        of_parts=of_parts(rows),
        what_it_is=WHAT_IT_IS,
        not_computed=not_computed(rows, about["which"]),
        how_to_read=HOW_TO_READ,
        never=NEVER_COMPARED,
        approves_nothing=APPROVES_NOTHING,
    )  # fmt: skip


def _shown(rows: list[Row], group: str) -> list[dict[str, Any]]:
    """Checks of a group with their rows, as the template takes them."""
    from markupsafe import Markup

    return [
        {
            "about": some[0],
            "rows": [
                {
                    "row": row,
                    "worst": worst(row),
                    "picture": Markup(row.picture),
                    "caption": _caption(row.picture),
                    "lines": [_line_of(row, c) for c in row.comparisons],
                    "open": row.state in ("fails", "not claimed") or bool(row.picture),
                }
                for row in some
            ],
        }
        for some in blocks(rows, group)
    ]


def _caption(picture: str) -> str:
    """What a picture shows: its label, which a screen reader reads, as a sentence."""
    found = re.search(r'aria-label="([^"]*)"', picture)
    return f"{found[1][:1].upper()}{found[1][1:]}." if found else ""


def _line_of(row: Row, comparison: Any) -> dict[str, str]:
    """A comparison as text; one that is not claimed lies inside what is allowed or outside."""
    out = line(comparison)
    if row.state == "not claimed":
        out["held"] = "inside" if comparison.holds else "outside"
    return out
