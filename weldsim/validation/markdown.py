"""Rows of a validation as Markdown: what the page says, without its pictures."""

from __future__ import annotations

from typing import Any

from weldsim.text.cautions import APPROVES_NOTHING
from weldsim.validation.catalogue import NEVER_COMPARED
from weldsim.validation.meaning import (
    ALL_KINDS,
    HOW_TO_READ,
    WHAT_IT_IS,
    counted,
    for_kinds,
    not_computed,
    of_parts,
)
from weldsim.validation.rows import ABOUT, AGAINST, GROUPS, NUMBERLESS, Row, summary
from weldsim.validation.shown import blocks, line, linked, worst

COLUMNS = ("hold", "fail", "compared, not claimed", "no numbers")
HEAD = ("row", "compared", "expected", "computed", "error", "tolerance", "")


def markdown(rows: list[Row], about: dict[str, Any]) -> str:
    """The Markdown as text.

    Parameters
    ----------
    rows : list of Row
        In the order of the catalogue.
    about : dict
        `version`, `date`, `which` and `summary`.

    Returns
    -------
    str
        Its last line is the summary.
    """
    out = ["# What weldsim was compared with", "",
           f"Version {about['version']}, {about['date']}, {about['which']}. "
           f"{about['summary']}.", ""]  # fmt: skip
    out += [WHAT_IT_IS, "", *_states(rows)]
    if left := not_computed(rows, about["which"]):
        out += [left, ""]
    groups = {n: t for n, t in GROUPS.items() if any(r.group == n for r in rows)}
    out += _table(["rows about", *COLUMNS],
                  [[t, *map(str, counted(rows, group=n))] for n, t in groups.items()])  # fmt: skip
    out += _table(["rows beside", *COLUMNS],
                  [[t, *map(str, counted(rows, against=n))] for n, t in AGAINST.items()
                   if any(r.against == n for r in rows)])  # fmt: skip
    out += ["## What it means for a joint of yours", "", of_parts(rows), "", ALL_KINDS, ""]
    out += [f"- {label}: {'; '.join(f'{r.title} ({r.state})' for r in own) or 'none'}"
            for label, own in for_kinds(rows)]  # fmt: skip
    out += ["", "## What nothing was compared with", "", *(f"- {t}" for t in NEVER_COMPARED)]
    out += ["", "## How to read a row", "", *(f"- {t}" for t in HOW_TO_READ)]
    for name, title in groups.items():
        out += ["", f"## {title}", "", f"That is, {ABOUT[name]}."]
        for some in blocks(rows, name):
            out += _check(some)
    return "\n".join([*out, "", APPROVES_NOTHING, "", summary(rows), ""])


def _states(rows: list[Row]) -> list[str]:
    """Lists of what does not simply hold."""
    out = []
    for words, states in (("These fail:", ("fails",)),
                          ("Compared and not claimed:", ("not claimed",)),
                          ("These came to no numbers:", NUMBERLESS)):  # fmt: skip
        some = [r for r in rows if r.state in states]
        if some:
            out += [words, "", *(f"- {r.title}: {worst(r)}" for r in some), ""]
    return out


def _check(some: list[Row]) -> list[str]:
    """A check: where its values come from, then a line for each of its rows."""
    first = some[0]
    links = ", ".join(f"[{words}]({address})" for words, address in first.links)
    sources = "".join(f"<{a}>" if a else words for words, a in linked(first.source))
    facts = (
        ("Source", sources), ("How it is known", first.known), ("Public copies", links),
        ("Tolerance", first.tolerance), ("Departs from the defaults", first.deviations),
    )  # fmt: skip
    out = ["", f"### {first.check or first.title}", ""]
    out += [f"- {words}: {text}" for words, text in facts if text] + [""]
    out += _table(HEAD, [_cells(row) for row in some])
    return out + [f"- {r.title}: {r.note}" for r in some if r.note]


def _cells(row: Row) -> list[str]:
    """A row in a line of a table: its worst comparison, and how many more there are."""
    if not row.comparisons:
        return [row.title, worst(row)[:160], "", "", "", "", row.state]
    shown = line(row.comparisons[0])
    more = len(row.comparisons) - 1
    quantity = shown["quantity"] + (f" (worst of {more + 1})" if more else "")
    rest = [shown[k] for k in ("expected", "computed", "error", "tolerance")]
    return [row.title, quantity, *rest, row.state]


def _table(head: Any, body: list[list[str]]) -> list[str]:
    def cell(text: str) -> str:
        return text.replace("|", "\\|").replace("\n", " ")

    lines = [head, ["---"] * len(head), *body]
    return ["| " + " | ".join(map(cell, some)) + " |" for some in lines] + [""]
