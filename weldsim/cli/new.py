"""`weldsim new`: a starter case."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.starters import write_starter


def command(
    kind: Annotated[
        str,
        typer.Argument(
            help="Joint kind: bar, square-tube-tee, square-tube-frame, round-tube-saddle, "
            "round-tube-butt, plate-butt, plate-tee, tube-socket, mesh or step."
        ),
    ],
    out: Annotated[
        Path | None, typer.Option(help="File to write; KIND.toml when left out.")
    ] = None,
):
    """Write a commented starter case."""
    path = write_starter(kind, out)
    typer.echo(f"wrote {path}; look it over, then: weldsim check {path}")
