"""`weldsim validate`: what weldsim computes beside what others measured, published or derived."""

from __future__ import annotations

import shlex
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import Workers
from weldsim.cli.progress import ProgressBar
from weldsim.cli.terminal import show
from weldsim.system.signals import exit_code_of
from weldsim.text.cautions import APPROVES_NOTHING
from weldsim.validation.catalogue import CHECKS, NEVER_COMPARED
from weldsim.validation.meaning import QUICK, not_computed
from weldsim.validation.pages import write_pages
from weldsim.validation.rows import GROUPS, Row, summary
from weldsim.validation.runner import validate
from weldsim.validation.shown import typeset, worst

OUT = Path("validation")


def command(
    quick: Annotated[
        bool, typer.Option("--quick", help="What fits into ten minutes on two cores.")
    ] = False,
    only: Annotated[
        list[str] | None,
        typer.Option(
            help="A check or a group; repeat. Groups: "
            + ", ".join(GROUPS)
            + ". Checks: weldsim validate --list."
        ),
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Folder for the page, the Markdown and the finished rows.")
    ] = OUT,
    resume: Annotated[
        bool, typer.Option("--resume", help="Keep the finished rows that the folder holds.")
    ] = False,
    workers: Workers = None,
    listed: Annotated[
        bool, typer.Option("--list", help="Name the checks and compute nothing.")
    ] = False,
):
    """Compute what others measured, published or derived, and say row by row whether it holds."""
    if listed:
        for check in CHECKS:
            long = "" if check.quick else ", full list only"
            show(f"{check.name} ({check.group}{long}): {check.title}")
        return
    try:
        with ProgressBar() as tell:
            rows = validate(only, quick, out, workers, resume, tell)
    except KeyboardInterrupt as stop:
        again = ["weldsim", "validate", "--resume", *(["--quick"] if quick else [])]
        again += [part for name in only or () for part in ("--only", name)]
        print(f"stopped; resume with: {shlex.join([*again, '--out', str(out)])}", file=sys.stderr)
        raise typer.Exit(exit_code_of(stop)) from None
    page = write_pages(out, rows, quick, version("weldsim"), only or ())
    for group, title in GROUPS.items():
        _show_list(f"{title}:", [_in_words(r) for r in rows if r.group == group])
    _show_list("Never compared:", list(NEVER_COMPARED))
    if left := not_computed(rows, QUICK if quick and not only else ""):
        show(left)
    _show_list("These fail:", [_in_words(r) for r in rows if r.state == "fails"])
    show(
        APPROVES_NOTHING + " The page says where each value comes from and why so much is allowed."
    )
    typer.echo(f"page: {page}")
    typer.echo(summary(rows))
    if any(r.state == "fails" for r in rows):
        raise typer.Exit(1)


def _show_list(head: str, lines: list[str]) -> None:
    """A heading with its lines, when there are any."""
    if lines:
        show(head)
        for text in lines:
            show("  " + typeset(text))


def _in_words(row: Row) -> str:
    """A row in a line: how it came out, and its worst comparison."""
    return f"{row.state}: {row.title}; {worst(row)}"
