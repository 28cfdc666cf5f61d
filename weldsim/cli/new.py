"""`weldsim new`: a starter case."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.starters import starter_kinds, write_starter


def command(
    kind: Annotated[
        str,
        typer.Argument(help=f"Joint kind: {', '.join(starter_kinds())}.", show_default=False),
    ],
    out: Annotated[Path | None, typer.Option(help="File to write (default: KIND.toml).")] = None,
):
    """Write a commented starter case."""
    path = write_starter(kind, out)
    typer.echo(f"wrote {path}; look it over, then: weldsim check {path}")
