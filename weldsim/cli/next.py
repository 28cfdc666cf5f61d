"""`weldsim next`: what to weld next after a reading."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.clips import Marks, Mirrored, filmed_readings
from weldsim.cli.options import (
    GRADES_SAID,
    Cluster,
    Device,
    UnitsOfText,
    Workers,
    check_grade,
    refuse,
    say,
)
from weldsim.cli.progress import ProgressBar
from weldsim.cli.terminal import show
from weldsim.studies.next.advice import advise
from weldsim.studies.next.cost import advice_cost
from weldsim.studies.next.given import open_study, read_moves, read_readings
from weldsim.studies.plan.shop_spread import read_spread
from weldsim.system.device import ask_for_device
from weldsim.system.threads import cores
from weldsim.text.cautions import closing
from weldsim.text.grade_words import grade_line
from weldsim.text.next_words import advice_cost_line, advice_lines


def command(
    folder: Annotated[Path, typer.Argument(help="Study folder of weldsim plan, or a run folder.")],
    after: Annotated[
        str,
        typer.Option(help='Welded so far, "front:+x,back:-x", or the last seam of the run\'s own.'),
    ],
    reading: Annotated[
        list[str] | None,
        typer.Option(help="What a gauge reads now, such as pointer.up=-12mm; repeat."),
    ] = None,
    video: Annotated[
        list[Path] | None,
        typer.Option(help="Film of a pointer's spot in place of a reading; one a weld, in turn."),
    ] = None,
    marks: Marks = "A4",
    mirrored: Mirrored = False,
    noise: Annotated[
        float | None, typer.Option(help="How well it is read: standard deviation, in its unit.")
    ] = None,
    tolerance: Annotated[
        str | None,
        typer.Option(help='Tolerance, such as "1 mrad" (default: that of the folder\'s case).'),
    ] = None,
    grade: Annotated[
        str | None,
        typer.Option(help=f"{GRADES_SAID} (default: [plan]'s or coarse; a study has its own)."),
    ] = None,
    band: Annotated[
        Path | None,
        typer.Option(help="Folder of weldsim band of this job: chance and odds count its spread."),
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """After some welds and a reading: what explains it, and what to weld next."""
    ask_for_device(device)
    check_grade(grade)
    if noise is not None and not noise > 0:
        refuse(f"--noise {noise:g}: must be greater than zero")
    study = open_study(folder, tolerance, grade)
    done = read_moves(study.plan, after)
    spread = None if band is None else read_spread(study.plan, band)
    show(advice_cost_line(advice_cost(study, done), workers or (None if cluster else cores())))
    readings = list(reading or ())
    with ProgressBar() as tell:
        if video:
            filmed, noise = filmed_readings(study.plan, video, marks, mirrored, noise, tell, units)
            readings += filmed
        read = read_readings(study.plan, readings, noise)
        advice = advise(study, done, read, workers, cluster, tell, spread)
    lines = (*advice_lines(study.plan, advice), grade_line(study.plan.section.grade))
    say((*lines, closing("next")), units)
