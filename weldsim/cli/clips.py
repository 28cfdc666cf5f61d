"""Options of the verbs that read a film."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Annotated

import typer

from weldsim.cli.options import refuse, say
from weldsim.measurements.spot_record import LEAST_NOISE, read_clip
from weldsim.measurements.target_sheet import PAPERS, TargetSheet
from weldsim.studies.plan.space import Plan
from weldsim.text.quantities import Units, words
from weldsim.text.spot_words import moved
from weldsim.units import parse

Marks = Annotated[
    str,
    typer.Option(
        help=f"Paper that weldsim target printed ({', '.join(PAPERS)}), or how far the marks are "
        'apart, across and up: "300 mm x 200 mm".'
    ),
]
Mirrored = Annotated[bool, typer.Option("--mirrored", help="The target was filmed from behind.")]


def sheet_of(text: str) -> TargetSheet:
    """The sheet that was filmed.

    Parameters
    ----------
    text : str
        As `Marks` takes it.

    Returns
    -------
    TargetSheet
        Refused in one line where it is neither.
    """
    if text in PAPERS:
        return PAPERS[text].sheet
    parts = text.lower().replace("by", "x").split("x")
    try:
        if len(parts) != 2:
            raise ValueError("two lengths are needed")
        return TargetSheet(*(parse(p.strip(), "length") for p in parts))
    except ValueError as error:
        papers = ", ".join(PAPERS)
        refuse(f'--marks {text!r}: {error}; allowed: {papers}, or such as "300 mm x 200 mm"')


def filmed_readings(
    plan: Plan,
    films: Sequence[Path],
    marks: str,
    mirrored: bool,
    noise: float | None,
    tell: Callable[[float, str], None],
    units: Units = "metric",
) -> tuple[list[str], float]:
    """What a pointer reads after the films of its spot.

    Parameters
    ----------
    plan : Plan
        Its case has the pointer; the first where it has several.
    films : sequence of Path
        One a weld, each from before the arc until the spot rests; their movements add up.
    marks, mirrored
        Of the target.
    noise : float, optional
        Standard deviation where it is stated. [mm]
    tell : callable
        Told the share of the films read, and words.
    units : {"metric", "us"}
        Of what is printed.

    Returns
    -------
    readings : list of str
        As `--reading` takes them.
    noise : float
        Standard deviation. [mm]
    """
    pointer = next((c.gauge for c in plan.measure_columns if c.component in ("up", "right")), None)
    if pointer is None:
        refuse("--video: the plan reads no pointer, allowed: a plan whose measure is a pointer")
    up = right = variance = 0.0
    for film in films:
        record = read_clip(
            film,
            sheet_of(marks),
            mirrored=mirrored,
            progress=lambda share, name=film.name: tell(share, f"reading {name}"),
        )
        a, b, error = record.reading()
        up, right, variance = up + 1e3 * a, right + 1e3 * b, variance + (1e3 * error) ** 2
    found = max(LEAST_NOISE, math.sqrt(variance))
    where = moved(1e-3 * up, 1e-3 * right, 1e-3 * found)
    say([words("films: {} {}", pointer, where)], units)
    said = [f"{pointer}.up={up:.4f} mm", f"{pointer}.right={right:.4f} mm"]
    return said, (found if noise is None else noise)
