"""`weldsim lesson`: the notebooks, opened in Jupyter."""

from __future__ import annotations

import shutil
import subprocess
import sys
from difflib import get_close_matches
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from weldsim.errors import WeldsimError
from weldsim.system.examples import Lesson, examples_folder, lessons

NEEDED = ("jupytext", "jupyterlab")


def command(
    name: Annotated[
        str | None, typer.Argument(help="Name or number of a lesson; without, they are listed.")
    ] = None,
    folder: Annotated[Path, typer.Option(help="Where the notebook and its cases are put.")] = Path(
        "lessons"
    ),
    open_it: Annotated[bool, typer.Option("--open/--no-open", help="Open it in Jupyter.")] = True,
):
    """Open a lesson as a notebook."""
    if name is None:
        for lesson in lessons():
            stop = "" if lesson.title[-1] in "?!" else "."
            typer.echo(f"{lesson.name}: {lesson.title}{stop} {lesson.summary}")
        return
    lesson = _named(name)
    needed = NEEDED if open_it else NEEDED[:1]
    missing = [module for module in needed if find_spec(module) is None]
    if missing:
        raise WeldsimError(
            f"lesson: {' and '.join(missing)} not installed; allowed after: "
            'pip install "weldsim[notebook]"'
        )
    path = _put(lesson, folder)
    typer.echo(f"wrote {path}")
    if open_it:
        subprocess.run([sys.executable, "-m", "jupyterlab", str(path)], check=False)


def _named(name: str) -> Lesson:
    found = lessons()
    chosen = [ls for ls in found if name == ls.name or ls.name.partition("_")[0] == name.zfill(2)]
    if chosen:
        return chosen[0]
    names = [lesson.name for lesson in found]
    near = get_close_matches(name, names, n=1, cutoff=0.4)
    hint = f", did you mean {near[0]}?" if near else ""
    raise WeldsimError(f"lesson: {name}: no such lesson{hint}; allowed: {', '.join(names)}")


def _put(lesson: Lesson, folder: Path) -> Path:
    """The lesson as a notebook in a folder, with the cases it reads; one that is there stays."""
    import jupytext

    path = folder / "notebooks" / f"{lesson.name}.ipynb"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for kind in ("cases", "meshes"):
            if (source := examples_folder(kind)) and not (folder / kind).exists():
                shutil.copytree(source, folder / kind)
        if not path.exists():  # what somebody has written into it is not written over
            jupytext.write(jupytext.read(lesson.path, fmt="py:percent"), path)
    except OSError as error:
        raise WeldsimError(f"lesson: {folder} cannot be written: {error.strerror}") from None
    return path
