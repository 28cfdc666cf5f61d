"""`weldsim serve`: the local page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import Device
from weldsim.page.app import serve
from weldsim.system.device import ask_for_device


def command(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port.", min=0, max=65535)] = 8716,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let others on the network in, with a key.")
    ] = False,
    work: Annotated[Path, typer.Option(help="Folder for runs.")] = Path("runs"),
    workers: Annotated[int, typer.Option(help="Runs at a time.", min=1)] = 1,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in the browser.")
    ] = True,
    device: Device = None,
):
    """A local page: choose a joint, weld it on screen, watch it move."""
    ask_for_device(device)
    serve(host=host, port=port, lan=lan, work=work, open_browser=open_browser, workers=workers)
