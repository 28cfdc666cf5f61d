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
from weldsim.validation.catalogue import CHECKS, NEVER_COMPARED
from weldsim.validation.pages import line, typeset, write_pages
from weldsim.validation.rows import GROUPS, NUMBERLESS, Row, summary
from weldsim.validation.runner import validate

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
    page = write_pages(out, rows, quick, version("weldsim"))
    for group, title in GROUPS.items():
        some = [r for r in rows if r.group == group]
        if some:
            show(f"{title}:")
            for row in some:
                show("  " + typeset(_in_words(row)))
    show("Never compared: " + " ".join(NEVER_COMPARED))
    typer.echo(f"page: {page}")
    typer.echo(summary(rows))
    if any(r.state == "fails" for r in rows):
        raise typer.Exit(1)


def _in_words(row: Row) -> str:
    """A row in a line: how it came out, and its worst comparison."""
    start = f"{row.state}: {row.title}"
    if row.state in NUMBERLESS or not row.comparisons:
        return f"{start}; {row.note}" if row.state != "holds" else start
    worst = line(row.comparisons[0])
    return (
        f"{start}; {worst['quantity']}: {worst['computed']}, expected {worst['expected']} "
        f"({worst['error']}, allowed {worst['tolerance']})"
    )
