"""`weldsim version`."""

from __future__ import annotations

import typer

from weldsim import __version__


def command():
    """Print the version."""
    typer.echo(__version__)
