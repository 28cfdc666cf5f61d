"""Where the example cases and the lessons lie: in the package, in a clone beside it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Lesson:
    """A notebook of the project.

    Attributes
    ----------
    name : str
        Of its file, without the ending.
    title, summary : str
        Its heading, and the first sentence below it.
    path : Path
        In Jupytext's percent format.
    """

    name: str
    title: str
    summary: str
    path: Path


def examples_folder(kind: str) -> Path | None:
    """Folder of the cases, meshes or notebooks that come with weldsim.

    Parameters
    ----------
    kind : {"cases", "meshes", "notebooks"}
        Which.

    Returns
    -------
    Path or None
        None where an installation lacks them.
    """
    for folder in (PACKAGE / "data" / kind, PACKAGE.parent / kind):
        if folder.is_dir():
            return folder
    return None


def example_cases() -> list[Path]:
    """Case files that come with weldsim.

    Returns
    -------
    list of Path
        By name.
    """
    folder = examples_folder("cases")
    return sorted(folder.glob("*.toml")) if folder else []


def lessons() -> list[Lesson]:
    """Notebooks that come with weldsim.

    Returns
    -------
    list of Lesson
        By name, so in the order in which they are read.
    """
    folder = examples_folder("notebooks")
    return [_lesson(path) for path in sorted(folder.glob("*.py"))] if folder else []


def _lesson(path: Path) -> Lesson:
    text = path.read_text(encoding="utf-8").partition("# %% [markdown]")[2].partition("# %%")[0]
    lines = [line.removeprefix("#").strip() for line in text.splitlines()]
    title = next((line.removeprefix("# ") for line in lines if line.startswith("# ")), path.stem)
    body = " ".join(line for line in lines if line and not line.startswith("#"))
    first = re.split(r"(?<=[.?])\s", body, maxsplit=1)[0]
    return Lesson(path.stem, title, first, path)
