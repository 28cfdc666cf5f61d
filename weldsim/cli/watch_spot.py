"""`weldsim watch-spot`: a film of a light spot into a gauge file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.clips import Marks, Mirrored, sheet_of
from weldsim.cli.options import UnitsOfText, refuse, say
from weldsim.cli.progress import ProgressBar
from weldsim.measurements.spot_record import read_clip, write_spot_file
from weldsim.plots.spot_plot import plot_spot
from weldsim.text.spot_words import record_lines


def command(
    video: Annotated[Path, typer.Argument(help="Film of the target.", show_default=False)],
    out: Annotated[
        Path | None, typer.Option(help="CSV file to write (default: the film's name with .csv).")
    ] = None,
    gauge: Annotated[str, typer.Option(help="Name of the pointer in the case.")] = "pointer",
    marks: Marks = "A4",
    rate: Annotated[float, typer.Option(help="Most readings a second.", min=0.1, max=240.0)] = 10.0,
    mirrored: Mirrored = False,
    units: UnitsOfText = "metric",
):
    """Read a filmed light spot into a gauge file and a picture."""
    out = video.with_suffix(".csv") if out is None else out
    if out.suffix.lower() != ".csv":
        refuse(f"--out {out}: ending {out.suffix!r} is not allowed: write a name ending in .csv")
    if not gauge.replace(" ", "").replace("_", "").replace("-", "").isalnum():
        refuse(f"--gauge {gauge!r} is not allowed: letters, digits, spaces, - and _")
    with ProgressBar() as tell:
        record = read_clip(
            video, sheet_of(marks), rate, mirrored, lambda share: tell(share, "reading the film")
        )
    write_spot_file(out, record, gauge, video.name)
    picture = plot_spot(out.with_suffix(".png"), record, video.name)
    say(record_lines(record), units)
    typer.echo(f"{out}, {picture.name}")
