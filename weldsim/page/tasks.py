"""What worker processes read and mesh for the page: tasks from plain values to plain values.

A preview is the one task that lies elsewhere, in `preview`: it needs the solvers, which take a
while to load.
"""

from __future__ import annotations

from importlib.resources import files

from weldsim.case.doubts import case_doubts
from weldsim.case.load import parse_case
from weldsim.errors import CaseError
from weldsim.page.case_form import messages_of, read_tables
from weldsim.page.case_text import edited
from weldsim.page.shape import directions, order_table, shape_of
from weldsim.page.worker_process import Tell
from weldsim.text.describe import describe


def check(text: str, source_file: str, tell: Tell | None = None) -> dict:
    """Mistakes of a case beside their fields, or what is known at once.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `ok` and `messages`; if all is well also `title`, `order`, `doubts` (what is hardly meant, a
        sentence each) and what `shape.directions` gives.
    """
    try:
        case = parse_case(text, source_file)
    except CaseError as error:
        return {"ok": False, "messages": messages_of(error, source_file)}
    return {"ok": True, "messages": [], "title": case.title, "order": order_table(case),
            "doubts": [text for _, _, text in case_doubts(case)], **directions(case)}  # fmt: skip


def tables_of(text: str, tell: Tell | None = None) -> dict:
    """Tables of a case file's text, see `case_form.read_tables`.

    Parameters
    ----------
    text : str
        TOML.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        As JSON can hold it.
    """
    return read_tables(text)


def commented(source: str, tables: dict, tell: Tell | None = None) -> str:
    """A case as text with the comments of the text it came from, see `case_text.edited`.

    Parameters
    ----------
    source : str
        A case file, with comments.
    tables : dict
        What it is to hold now.
    tell : callable, optional
        Not used.

    Returns
    -------
    str
        TOML.
    """
    return edited(source, tables)


def words(text: str, source_file: str, tell: Tell | None = None) -> list[str]:
    """What a case means, in lines.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of str
        See `describe`.
    """
    return describe(parse_case(text, source_file))


def shape(text: str, source_file: str, tell: Tell | None = None) -> dict:
    """The part of a case as the page draws it, see `shape.shape_of`.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        Of plain values.
    """
    return shape_of(parse_case(text, source_file))


def warm_words() -> None:
    """Load what words and shapes need."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    words(text, "bar.toml")
    shape(text, "bar.toml")


def warm_check() -> None:
    """Load what reading a case needs."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    check(text, "bar.toml")
