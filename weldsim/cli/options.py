"""Arguments and options that several verbs share, and how a verb refuses them."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from weldsim.cli.terminal import show
from weldsim.errors import SetupError, WeldsimError
from weldsim.geometry.grades import GRADE_USE
from weldsim.physics.gpu.card import refused_without_card
from weldsim.system.device import checked_device
from weldsim.text.quantities import UNITS, Units, as_written

Changes = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change a key of the case, such as part.thickness='8 mm'; repeat."),
]
CaseFile = Annotated[Path, typer.Argument(help="Case file (TOML).", show_default=False)]
RunDir = Annotated[Path, typer.Argument(metavar="run", help="Run folder.", show_default=False)]
Workers = Annotated[int | None, typer.Option(help="Processes (default: one a core).", min=1)]
Cluster = Annotated[
    str | None,
    typer.Option(help='Address of a Dask scheduler, or "local" for one of this machine\'s own.'),
]
Gauge = Annotated[
    str | None, typer.Option(help="Gauge (default: the first that reads a movement).")
]
GaugeTolerance = Annotated[
    str | None,
    typer.Option(help='Such as "0.5 mrad" (default: the gauge\'s own, or 1 mrad or 0.5 mm).'),
]
GRADES_SAID = "How fine: " + "; ".join(f"{g}: {use}" for g, use in GRADE_USE.items())
Grade = Annotated[str | None, typer.Option(help=f"{GRADES_SAID} (default: the case's).")]


def refuse(text: str) -> NoReturn:
    """End a verb with one line and exit code 2."""
    raise WeldsimError(text)


def _known_units(name: str) -> str:
    if name not in UNITS:
        refuse(f"--units {name!r} is not allowed: write {' or '.join(UNITS)}")
    return name


def _known_device(name: str | None) -> str | None:
    """A device, and that it is there, before anything is read or meshed."""
    if name is None:
        return None
    device = checked_device(name, "--device")
    try:
        return refused_without_card(device)
    except SetupError as error:
        refuse(f"--{error}")


Device = Annotated[
    str | None,
    typer.Option(
        callback=_known_device,
        help="Where to compute: auto, cpu or gpu (default: WELDSIM_DEVICE, or auto).",
    ),
]
UnitsOfText = Annotated[
    str,
    typer.Option("--units", callback=_known_units, help="Units of what is printed: metric or us."),
]


def say(lines: Iterable[str], units: Units) -> None:
    """Print lines in the units asked for; on a terminal wrapped and with colours."""
    for line in lines:
        show(as_written(line).text(units))


def say_stopped(what: str) -> None:
    """Say how to resume, where the terminal is still there to read it."""
    with suppress(OSError):
        print(f"stopped; {what}", file=sys.stderr, flush=True)


def at_grade(changes: list[str] | None, grade: str | None, section: str = "solve") -> list[str]:
    """Changes to a case with the grade asked for as the last of them."""
    check_grade(grade)
    return [*(changes or ()), *([f"{section}.grade={grade}"] if grade else ())]


def check_grade(grade: str | None) -> None:
    """Refuse a grade that is not one of those to choose from."""
    if grade is not None and grade not in GRADE_USE:
        refuse(f"--grade {grade!r} is not allowed: write {', '.join(GRADE_USE)}")
