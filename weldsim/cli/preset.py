"""`weldsim preset`: how to tilt a part before welding, or clamp it, so that it ends straight."""

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
    say,
)
from weldsim.cli.progress import ProgressBar
from weldsim.report.study_records import write_clamps, write_preset
from weldsim.studies.clamp_search import find_clamps
from weldsim.studies.kept_runs import KeptRuns
from weldsim.studies.preset import find_preset
from weldsim.studies.targets import SearchOptions, target_of
from weldsim.system.device import ask_for_device
from weldsim.text.cautions import closing
from weldsim.text.clamp_words import clamp_lines, clamp_words
from weldsim.text.grade_words import grade_line
from weldsim.text.preset_words import preset_lines, preset_words


def command(
    case: CaseFile,
    gauge: Gauge = None,
    tolerance: GaugeTolerance = None,
    clamp: Annotated[
        bool,
        typer.Option(
            "--clamp", help="Look for where to clamp, in place of a tilt given before welding."
        ),
    ] = False,
    grade: Grade = None,
    runs: Annotated[int, typer.Option(help="Runs at most.", min=2, max=10)] = 4,
    out: Annotated[
        Path, typer.Option(help="File to write; runs in the folder beside it are used again.")
    ] = Path("preset.json"),
    changes: Changes = None,
    units: UnitsOfText = "metric",
    device: Device = None,
):
    """The tilt to give before welding, or where to clamp, so that the part ends straight;
    checked by a run."""
    ask_for_device(device)
    check_grade(grade)
    loaded = load_case(case, changes or ())
    target = target_of(loaded, gauge, tolerance, grade)
    with ProgressBar() as tell:
        kept = KeptRuns(out.with_suffix(".runs"))
        options = SearchOptions(progress=tell, kept=kept)
        if clamp:
            found = find_clamps(loaded, target, options)
        else:
            found = find_preset(loaded, target, runs, options)
    if clamp:
        lines, paste, path = clamp_words(found), clamp_lines(found), write_clamps(found, out)
    else:
        lines, paste, path = preset_words(found), preset_lines(found), write_preset(found, out)
    say([*lines, grade_line(target.grade)], units)
    for line in paste:
        typer.echo(line)
    typer.echo(f"all of it in {path}; its runs in {kept.folder}")
    say([closing("preset")], units)
