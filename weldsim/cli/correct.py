"""`weldsim correct`: a heating line or a bead that brings a welded part back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import load_case
from weldsim.cli.options import (
    CaseFile,
    Changes,
    Device,
    Gauge,
    GaugeTolerance,
    Grade,
    UnitsOfText,
    check_grade,
    refuse,
    say,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.study_records import write_correction
from weldsim.studies.correction import LineChoice, find_correction
from weldsim.studies.kept_runs import KeptRuns
from weldsim.studies.targets import SearchOptions, target_of
from weldsim.system.device import ask_for_device
from weldsim.text.cautions import closing
from weldsim.text.correction_words import correction_words
from weldsim.text.grade_words import grade_line
from weldsim.units import parse

KINDS = ("line", "bead")


def command(
    case: CaseFile,
    gauge: Gauge = None,
    kind: Annotated[
        str, typer.Option(help="line: heat without filler; bead: one more bead.")
    ] = "line",
    limit: Annotated[
        str | None,
        typer.Option(
            help='Hottest a line may get, such as "650 degC" (default: the material\'s own).'
        ),
    ] = None,
    tolerance: GaugeTolerance = None,
    grade: Grade = None,
    out: Annotated[
        Path, typer.Option(help="File to write; runs in the folder beside it are used again.")
    ] = Path("correct.json"),
    changes: Changes = None,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """Where a heating line or one more bead would bring a welded part back."""
    ask_for_device(device)
    check_grade(grade)
    if kind not in KINDS:
        refuse(f"--kind {kind!r} is not allowed: write {', '.join(KINDS)}")
    if limit is not None and kind != "line":
        refuse("correct: --limit goes with --kind line")
    try:
        top = None if limit is None else parse(limit, "temperature")
    except ValueError as error:
        refuse(f"--limit: {error}")
    loaded = load_case(case, changes or ())
    target = target_of(loaded, gauge, tolerance, grade)
    with ProgressBar() as tell:
        kept = KeptRuns(out.with_suffix(".runs"))
        options = SearchOptions(progress=tell, kept=kept)
        found = find_correction(loaded, target, LineChoice(kind, top), options)
    say([*correction_words(found), grade_line(target.grade)], units)
    typer.echo(f"all of it in {write_correction(found, out)}; its runs in {kept.folder}")
    say([closing("correct")], units)
